"""Equivalent airspeed as a limited quantity."""

from __future__ import annotations

import numpy as np

from loganalyze.air import airspeed, atmosphere
from loganalyze.quantities.limited_quantity import AirDataAtRows, Floats, PositionCorrection
from loganalyze.quantities.limited_speed import LimitedAirspeed
from loganalyze.quantities.speed_relations import cas_at_mach, within


class EquivalentAirspeed(LimitedAirspeed):
    """Airspeed of the same dynamic pressure at sea level."""

    name, noun = "equivalent_airspeed", "equivalent airspeed"
    needs_altitude = True

    def value(self, at: AirDataAtRows) -> Floats:
        """Return the equivalent airspeed [m/s]."""
        return within(airspeed.eas_from_mach, at.mach, at.pressure_altitude)

    def calibrated_equivalent(
        self, maximum: Floats, at: AirDataAtRows, correction: PositionCorrection
    ) -> Floats:
        """Return the calibrated airspeed [m/s] at which the maximum lies."""
        altitude = at.pressure_altitude
        root = np.sqrt(within(atmosphere.pressure_ratio, altitude))
        return cas_at_mach(np.asarray(maximum / (atmosphere.A0 * root)), altitude)

    def follows_from_altitude(self, *, position_varies: bool, corrected: bool) -> bool:
        """Tell that it always does."""
        return True
