"""How limited quantities are put in words: their names, and amounts in their own unit."""

from __future__ import annotations

import math
from collections.abc import Mapping

from loganalyze.quantities.limited_quantity import LimitedQuantity
from loganalyze.quantities.quantity_registry import none_of_a_speed
from loganalyze.record.channels import kind

SPEED_LETTERS: Mapping[str, str] = {
    "indicated_airspeed": "IAS", "calibrated_airspeed": "CAS", "equivalent_airspeed": "EAS",
    "true_airspeed": "TAS",
}
MACH_WORDS: Mapping[str, str] = {"mach": "Mach", "indicated_mach": "indicated Mach"}
UNKNOWN = "not known"
NO_CAUSE = "not computed"
"""The cell of the cause of an exceedance that is none of a speed."""


def noun(quantity: str) -> str:
    """Return what may rise over a limit: "speed", or the name of a quantity that is none."""
    other = none_of_a_speed(quantity)
    return other.noun if other else "speed"


def channel(name: str) -> str:
    """Return a channel's name in words, without the number of a second source.

    The English words stand with the channel (`record/channels.py`), the nouns of quantities with
    their classes: the messages of the packages below need them. Another language has a table here.
    """
    known = kind(name)
    return known.words if known else name.replace("_", " ")


def amount(value: float | None, quantity: LimitedQuantity, sign: bool = False) -> str:
    """Return a value or a difference in a quantity's own unit: "2.80 g"."""
    if value is None or not math.isfinite(value):
        return UNKNOWN
    plus = "+" if sign and value > 0 else ""
    return f"{plus}{value:.{quantity.decimals}f} {quantity.unit.name}"


def no_causes(quantity: LimitedQuantity) -> str:
    """Return that nothing is said of why a limit of it was exceeded."""
    return f"Causes are not computed for limits of {quantity.noun}."


def no_other_channel(quantity: LimitedQuantity) -> str:
    """Return that nothing is compared with an exceedance of a limit of it."""
    return f"No other channel is compared with the recorded {quantity.noun}."


def panel_words(quantity: LimitedQuantity) -> str:
    """Return what the picture of an exceedance of a limit of it shows."""
    return f"{quantity.noun[:1].upper()}{quantity.noun[1:]} against its limit"
