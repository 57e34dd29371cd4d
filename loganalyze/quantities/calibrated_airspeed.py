"""Calibrated airspeed as a limited quantity."""

from __future__ import annotations

from loganalyze.quantities.limited_quantity import AirDataAtRows, PositionCorrection
from loganalyze.quantities.limited_speed import LimitedByAirspeedAlone
from loganalyze.record.arrays import Floats


class CalibratedAirspeed(LimitedByAirspeedAlone):
    """Airspeed free of instrument and position error."""

    name, noun = "calibrated_airspeed", "calibrated airspeed"

    def value(self, at: AirDataAtRows) -> Floats:
        """Return the calibrated airspeed [m/s]."""
        return at.calibrated_airspeed

    def calibrated_equivalent(
        self, maximum: Floats, at: AirDataAtRows, correction: PositionCorrection
    ) -> Floats:
        """Return the maximum itself [m/s]."""
        return maximum

    def follows_from_altitude(self, *, position_varies: bool, corrected: bool) -> bool:
        """Return True."""
        return True
