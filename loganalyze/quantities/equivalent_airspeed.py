"""Equivalent airspeed as a limited quantity."""

from __future__ import annotations

import numpy as np

from loganalyze.air import airspeed, atmosphere, sensitivity
from loganalyze.quantities.limited_quantity import AirDataAtRows, PositionCorrection
from loganalyze.quantities.limited_speed import LimitedAirspeed
from loganalyze.quantities.speed_relations import cas_at_mach, skip_nan
from loganalyze.record.arrays import Floats


class EquivalentAirspeed(LimitedAirspeed):
    """Airspeed of the same dynamic pressure at sea level."""

    name, noun = "equivalent_airspeed", "equivalent airspeed"

    def value(self, at: AirDataAtRows) -> Floats:
        """Return the equivalent airspeed [m/s]."""
        return skip_nan(airspeed.eas_from_mach, at.mach, at.pressure_altitude)

    def value_slopes(
        self, at: AirDataAtRows, recovery_factor: float
    ) -> tuple[Floats, Floats, Floats]:
        """Return the derivatives by airspeed, altitude and probe temperature, float64[m]."""
        speed, height = at.calibrated_airspeed, at.pressure_altitude
        by_speed = skip_nan(sensitivity.mach_by_cas, speed, height)
        by_height = skip_nan(sensitivity.mach_by_altitude, speed, height)
        by_mach = skip_nan(lambda m, h: sensitivity.eas_by_mach(m, h)[0], at.mach, height)
        own = skip_nan(lambda m, h: sensitivity.eas_by_mach(m, h)[1], at.mach, height)
        return by_mach * by_speed, by_mach * by_height + own, np.zeros(at.rows.shape)

    def mach_slope(self, own: Floats, cas: Floats, altitude: Floats) -> Floats:
        """Return how a limit changes with pressure altitude as a Mach number [1/m]."""
        root = atmosphere.A0 * np.sqrt(skip_nan(atmosphere.pressure_ratio, altitude))
        mach = skip_nan(airspeed.mach_from_cas, cas, altitude)
        lapse = skip_nan(sensitivity.relative_pressure_lapse, altitude)
        return np.asarray(own / root + 0.5 * mach * lapse)

    def calibrated_equivalent(
        self, maximum: Floats, at: AirDataAtRows, correction: PositionCorrection
    ) -> Floats:
        """Return the calibrated airspeed [m/s] at which the maximum lies."""
        altitude = at.pressure_altitude
        root = np.sqrt(skip_nan(atmosphere.pressure_ratio, altitude))
        return cas_at_mach(np.asarray(maximum / (atmosphere.A0 * root)), altitude)

    def follows_from_altitude(self, *, position_varies: bool, corrected: bool) -> bool:
        """Return True."""
        return True
