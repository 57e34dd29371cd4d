"""What the limited airspeeds have in common, and what the limited Mach numbers have."""

from __future__ import annotations

from abc import abstractmethod

from loganalyze.quantities.limited_quantity import (
    AirDataAtRows,
    Floats,
    LimitedQuantity,
    PositionCorrection,
    Thresholds,
)
from loganalyze.record.units import UNITS


class LimitedSpeed(LimitedQuantity):
    """A quantity that rises with the calibrated airspeed, so that its limits can be compared."""

    is_speed = True

    @abstractmethod
    def calibrated_equivalent(
        self, maximum: Floats, at: AirDataAtRows, correction: PositionCorrection
    ) -> Floats:
        """Return the calibrated airspeed [m/s] at which a maximum lies."""


class LimitedAirspeed(LimitedSpeed):
    """An airspeed, stated in knots."""

    unit = UNITS["kt"]
    suffix = "kt"
    decimals = 1
    maximum_key = "maximum_kt"
    article_noun, row_unit = "an airspeed", "knots"
    example = 245
    lowest, highest = 20.0, 1200.0
    usual = (60.0, 400.0)

    def tolerance(self, settings: Thresholds) -> float:
        """Return by how much more than its limit is over [kt]."""
        return settings.tolerance_kt

    def join_margin(self, settings: Thresholds) -> float:
        """Return the margin [kt] below which two stretches over the limit may be one event."""
        return settings.join_margin_kt


class LimitedMach(LimitedSpeed):
    """A Mach number."""

    unit = UNITS["Mach"]
    suffix = "mach"
    decimals = 3
    article_noun, row_unit = "a Mach number", "Mach"
    example = 0.48
    lowest, highest = 0.05, 3.0
    usual = (0.2, 1.0)

    def tolerance(self, settings: Thresholds) -> float:
        """Return by how much more than its limit is over [Mach]."""
        return settings.tolerance_mach

    def join_margin(self, settings: Thresholds) -> float:
        """Return the margin [Mach] below which two stretches over the limit may be one event."""
        return settings.join_margin_mach
