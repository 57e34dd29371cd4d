"""Mach number as a limited quantity."""

from __future__ import annotations

from loganalyze.quantities.limited_quantity import AirDataAtRows, Floats, PositionCorrection
from loganalyze.quantities.limited_speed import LimitedMach
from loganalyze.quantities.speed_relations import cas_at_mach


class MachNumber(LimitedMach):
    """Mach number, free of instrument and position error."""

    name, noun = "mach", "Mach number"
    needs_altitude = True

    def value(self, at: AirDataAtRows) -> Floats:
        """Return the Mach number."""
        return at.mach

    def calibrated_equivalent(
        self, maximum: Floats, at: AirDataAtRows, correction: PositionCorrection
    ) -> Floats:
        """Return the calibrated airspeed [m/s] at which the maximum lies."""
        return cas_at_mach(maximum, at.pressure_altitude)

    def follows_from_altitude(self, *, position_varies: bool, corrected: bool) -> bool:
        """Tell that it always does."""
        return True
