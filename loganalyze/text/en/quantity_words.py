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
QUANTITIES: Mapping[str, str] = {
    "indicated_airspeed": "indicated airspeed", "calibrated_airspeed": "calibrated airspeed",
    "equivalent_airspeed": "equivalent airspeed", "true_airspeed": "true airspeed", **MACH_WORDS,
}
"""The quantities in which limits are published; one that is none of a speed names itself."""
STATES: Mapping[str, str] = {"gear_down": "landing gear"}
"""What a channel of states is the state of, where the channel's name is that of one state."""
SETTINGS: Mapping[str, str] = {
    "at_rest": "at rest",
    "excursion": "excursion",
    "excursion_rate_factor": "excursion rate factor",
    "floor": "floor",
    "frozen": "frozen",
    "frozen_drift": "frozen, drift",
    "frozen_moved": "frozen, others moved",
    "frozen_p_value": "frozen, p value",
    "ground": "ground",
    "ground_roll": "ground roll",
    "gust_load": "gust, load factor",
    "gust_pitch": "gust, pitch",
    "hole_greatest_rate": "greatest rate across a hole",
    "hole_least_rate": "least rate across a hole",
    "hole_longest": "longest hole",
    "join_gap": "join gap",
    "join_margin": "join margin",
    "judged_least": "least share judged",
    "lost_channels": "lost frame, channels",
    "lost_frame": "lost frame",
    "minimum_duration": "minimum duration",
    "plausible_rate": "plausible rate",
    "ride_gap": "gap while riding on the limit",
    "ride_noise": "noise while riding on the limit",
    "sources_apart": "sources apart",
    "spike_least": "least spike",
    "spike_noise": "spike, noise",
    "stale": "stale",
    "stale_least": "stale, least share",
    "stale_min_count": "stale, least count",
    "steadiest": "steadiest",
    "tolerance": "tolerance",
}
"""The settings of the evaluation, without the unit at the end of the name."""
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
    return known.words if known else QUANTITIES.get(name, name)


def recorded(name: str) -> str:
    """Return what a channel is recorded of, as it follows on "the": "landing gear"."""
    return STATES.get(name) or channel(name)


def quantity(name: str) -> str:
    """Return the quantity in which a limit is published, in words."""
    if name in QUANTITIES:
        return QUANTITIES[name]
    other = none_of_a_speed(name)
    return other.noun if other else name


def setting(name: str) -> str:
    """Return a setting's name, without its unit, in words; a name with none stands as it is."""
    stem = name.removesuffix("_mach")
    return SETTINGS.get(stem, stem) + (" Mach" if stem != name else "")


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
