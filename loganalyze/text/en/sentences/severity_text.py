"""How serious an exceedance is, and how long it lay beyond each step."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from loganalyze.text.en.number_format import duration, mach
from loganalyze.text.en.sentences.decision_text import probability as odds
from loganalyze.text.presentation import Presentation

if TYPE_CHECKING:
    from loganalyze.results.assessment_results import Criterion, Severity

LEVELS: dict[str, str] = {"low": "low", "medium": "medium", "high": "high"}
"""The levels in words, rising."""

NO_RULES = "The limits sheet states no rules of severity."


def severity(
    rated: Severity | None, rules: bool = True, quantity: str = "",
    how: Presentation | None = None,
) -> str:
    """Return an exceedance's severity as a sentence.

    `rules` : whether the sheet has any; `quantity` : in which its limit is published.
    """
    if not rules:
        return NO_RULES
    if rated is None:
        return "No severity: none of the limits sheet's rules is met."
    return f"Severity {level(rated)}, {reason(rated, quantity, how)}."


def level(rated: Severity) -> str:
    """Return the level, and how likely it was truly reached: "medium (about 9 in 10)"."""
    sure = f" ({odds(rated.probability)})" if math.isfinite(rated.probability) else ""
    return f"{LEVELS[rated.level]}{sure}"


def reason(rated: Severity, quantity: str, how: Presentation | None = None) -> str:
    """Return the rule that was met, what it asks for and what was recorded, as a clause."""
    said = asked(rated, quantity, how or Presentation())
    return f'by the rule "{rated.rule}"' + (f": {said}" if said else "")


def asked(rated: Severity, quantity: str, how: Presentation) -> str:
    """Return what was recorded, and the least that the rule asks for; empty where not known."""
    return ", ".join(_criterion(each, quantity, how) for each in rated.criteria)


def _criterion(criterion: Criterion, quantity: str, how: Presentation) -> str:
    match criterion.key:
        case "time_s":
            return f"for {duration(criterion.value)} ({duration(criterion.least)} or more)"
        case "integral_kt_s":
            value, least = (f"{part * how.units.per_knot:,.0f} {how.units.speed} s"
                            for part in (criterion.value, criterion.least))
            return f"excess times time {value} ({least} or more)"
        case "excess_kt":
            return f"{how.speed(criterion.value)} over ({how.step(criterion.least)} or more)"
        case _:
            return (f"{how.published_band(criterion.value, quantity)} over "
                    f"({how.published_band(criterion.least, quantity)} or more)")


def reached(
    kt: Sequence[tuple[float, float]], by_mach: Sequence[tuple[float, float]] = (),
    step: Callable[[float], str] | None = None, own: Sequence[tuple[str, float]] = (),
) -> str:
    """Return how likely each step of the ladder was truly reached, as a sentence.

    `own` : steps in words, of a limit that is none of a speed.
    """
    steps = [((step or _step)(value), share) for value, share in kt if value > 0]
    steps += [(_mach_step(value), share) for value, share in by_mach] + [*own]
    if not steps:
        return ""
    listed = ", ".join(f"{name} {odds(share)}" for name, share in steps)
    return f"Probability, as flown, of having been over by more than: {listed}."


def _step(value: float) -> str:
    return f"{value:g} kt"


def _mach_step(value: float) -> str:
    return f"Mach {mach(value)}"


def _first_not_reached(steps: Sequence[tuple[str, float]]) -> list[str]:
    """Return the name of the least step that was never passed, in a list of one or none."""
    return [name for name, seconds in steps if name and not seconds > 0][:1]


def ladder(
    kt: Sequence[tuple[float, float]], by_mach: Sequence[tuple[float, float]] = (),
    step: Callable[[float], str] = _step, own: Sequence[tuple[str, float]] = (),
) -> str:
    """Return the time beyond each step as a sentence.

    Of the steps that weren't reached, the least in each unit is named, last.
    """
    steps = [(step(value) if value else "", seconds) for value, seconds in kt]
    steps += [(_mach_step(value), seconds) for value, seconds in by_mach] + [*own]
    if not steps:
        return "No steps of excess are set."
    reached = [f"{f'by more than {name} ' if name else ''}for {duration(seconds)}"
               for name, seconds in steps if seconds > 0]
    never = " or ".join(name for kind in (
        [(step(value) if value else "", seconds) for value, seconds in kt],
        [(_mach_step(value), seconds) for value, seconds in by_mach],
        own,
    ) for name in _first_not_reached(kind))
    if not reached:
        return f"Never over by more than {never}."
    rest = f"; never by more than {never}" if never else ""
    return f"Over {', '.join(reached)}{rest}."
