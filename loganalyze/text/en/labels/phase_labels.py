"""Phases of flight, alone and as they're said in a sentence."""

from __future__ import annotations

from collections.abc import Sequence

PHASES: dict[str, str] = {
    "unknown": "unknown",
    "standing": "standing",
    "taxi": "taxi",
    "standing or taxi": "standing or taxi",
    "take-off": "take-off",
    "initial climb": "initial climb",
    "climb": "climb",
    "cruise": "cruise",
    "change of cruise level": "change of cruise level",
    "descent": "descent",
    "holding": "holding",
    "manoeuvring": "manoeuvring",
    "emergency descent": "emergency descent",
    "approach": "approach",
    "landing": "landing",
}
"""Phases of flight in a cell of a table, by code."""
WHILE: dict[str, str] = {
    "unknown": "in an unknown phase",
    "standing": "while standing",
    "taxi": "while taxiing",
    "standing or taxi": "on the ground",
    "take-off": "in the take-off",
    "initial climb": "in the initial climb",
    "climb": "in the climb",
    "cruise": "in the cruise",
    "change of cruise level": "while changing the cruise level",
    "descent": "in the descent",
    "holding": "in the holding pattern",
    "manoeuvring": "while manoeuvring",
    "emergency descent": "in a descent as fast as an emergency descent",
    "approach": "on the approach",
    "landing": "in the landing",
}
"""When something happened, by the phase's code."""


def while_in(phase: str) -> str:
    """Return when something happened: "in the climb".

    Raises KeyError for a phase that has no words: a test holds that each has.
    """
    return WHILE[phase]


PHASES_NAMED = 2
"""How many phases a verdict names at most."""


def while_in_all(phases: Sequence[str]) -> str:
    """Return the phases in which something happened, as they follow on a verb.

    Empty for none, for more than `PHASES_NAMED`, and where one isn't known.
    """
    named = list(dict.fromkeys(phases))
    if not named or len(named) > PHASES_NAMED or not all(
            phase in WHILE and phase != "unknown" for phase in named):
        return ""
    return f" {' and '.join(while_in(phase) for phase in named)}"
