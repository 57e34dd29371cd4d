"""Indicated airspeed as a limited quantity."""

from __future__ import annotations

from loganalyze.quantities.limited_quantity import AirDataAtRows, PositionCorrection
from loganalyze.quantities.limited_speed import LimitedByAirspeedAlone
from loganalyze.record.arrays import Floats


class IndicatedAirspeed(LimitedByAirspeedAlone):
    """Airspeed corrected for instrument error but not for position error."""

    name, noun = "indicated_airspeed", "indicated airspeed"
    as_indicated = True

    def value(self, at: AirDataAtRows) -> Floats:
        """Return the indicated airspeed [m/s]."""
        return at.indicated_airspeed

    def calibrated_equivalent(
        self, maximum: Floats, at: AirDataAtRows, correction: PositionCorrection
    ) -> Floats:
        """Return the maximum with the position correction at that speed [m/s]."""
        return correction.calibrated_from_indicated(maximum, at.rows)

    def follows_from_altitude(self, *, position_varies: bool, corrected: bool) -> bool:
        """Return True unless the position correction varies."""
        return not position_varies
