"""A quantity that the program doesn't know: what it takes to limit a load factor."""

from __future__ import annotations

from loganalyze.quantities.limited_quantity import (
    AirDataAtRows,
    Floats,
    LimitedQuantity,
    Thresholds,
)
from loganalyze.quantities.quantity_registry import register
from loganalyze.record.units import UNITS


class LoadFactor(LimitedQuantity):
    """The normal load factor."""

    name, noun = "load_factor", "load factor"
    unit, suffix, decimals = UNITS["g"], "g", 2
    channels = ("load_factor",)
    article_noun, row_unit = "a load factor", "g"
    ladder, bands = (0.0, 0.25, 0.5), (0.0, 0.25)
    example, lowest, highest, usual = 2.5, 1.0, 12.0, (2.0, 9.0)

    def value(self, at: AirDataAtRows) -> Floats:
        """Return the recorded load factor [g]."""
        return at.others["load_factor"]

    def tolerance(self, settings: Thresholds) -> float:
        """Return the noise of conversions [g]."""
        return 1e-9

    def join_margin(self, settings: Thresholds) -> float:
        """Return the margin [g] below which two stretches may be one event."""
        return 0.1


def register_load_factor() -> None:
    """Register it."""
    register(LoadFactor())
