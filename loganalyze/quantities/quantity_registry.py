"""Registry of the quantities that a limits sheet can limit, by their names there."""

from __future__ import annotations

from loganalyze.quantities.calibrated_airspeed import CalibratedAirspeed
from loganalyze.quantities.equivalent_airspeed import EquivalentAirspeed
from loganalyze.quantities.indicated_airspeed import IndicatedAirspeed
from loganalyze.quantities.indicated_mach import IndicatedMach
from loganalyze.quantities.limited_quantity import LimitedQuantity
from loganalyze.quantities.limited_speed import LimitedMach
from loganalyze.quantities.mach_number import MachNumber
from loganalyze.quantities.true_airspeed import TrueAirspeed

_QUANTITIES: dict[str, LimitedQuantity] = {}


def register(quantity: LimitedQuantity) -> None:
    """Register a quantity for limits sheets, replacing one of the same name."""
    _QUANTITIES[quantity.name] = quantity


def withdraw(name: str) -> None:
    """Remove a quantity: limits sheets read from now on can't limit it."""
    del _QUANTITIES[name]


def quantity_names() -> tuple[str, ...]:
    """Return the names of all registered quantities, in the order of registration."""
    return tuple(_QUANTITIES)


def quantity_of(name: str) -> LimitedQuantity:
    """Return a registered quantity. Raises KeyError for a name that isn't registered."""
    return _QUANTITIES[name]


def only_speeds() -> bool:
    """Whether all registered quantities are speeds.

    Once one isn't, every table of exceedances has the columns ``worst_excess`` and ``unit``.
    """
    return all(quantity.is_speed for quantity in _QUANTITIES.values())


def none_of_a_speed(quantity: str) -> LimitedQuantity | None:
    """Return a registered quantity other than a speed; None for a speed or an unknown name."""
    if quantity not in quantity_names():
        return None
    found = quantity_of(quantity)
    return None if found.is_speed else found


def is_in_mach(quantity: str) -> bool:
    """Whether a quantity is a Mach number."""
    return quantity in quantity_names() and quantity_of(quantity).suffix == LimitedMach.suffix


register(IndicatedAirspeed())
register(CalibratedAirspeed())
register(EquivalentAirspeed())
register(TrueAirspeed())
register(MachNumber())
register(IndicatedMach())
