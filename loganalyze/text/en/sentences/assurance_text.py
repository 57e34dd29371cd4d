"""How sure an excess is, as sentences."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

from loganalyze.quantities.quantity_registry import is_in_mach, none_of_a_speed
from loganalyze.text.en.labels import report_labels as label
from loganalyze.text.en.number_format import clock, feet, knots, mach, sentence_case
from loganalyze.text.en.quantity_words import amount
from loganalyze.text.en.sentences.decision_text import basis as basis_words
from loganalyze.text.en.sentences.decision_text import (
    chance,
    decision,
    noise_or_gusts,
    outcome,
    prior,
)
from loganalyze.text.presentation import Presentation

if TYPE_CHECKING:
    from loganalyze.results.assessment_results import Assurance, MissedPeak, NearMiss

BASES: dict[str, str] = {
    "as displayed": "As displayed is what the crew saw: the recorder's steps and skew, the "
    "display's steps and lag, and what recorder and display may differ by. Debrief a crew by "
    "it.",
    "as flown": "As flown is what the air did: it adds the errors of the air data, of the static "
    "source and of the position correction. Decide on an inspection by it.",
}
"""What each basis means."""

MEANING: tuple[str, ...] = (
    "The decision rule is guarded rejection and guarded acceptance (JCGM 106:2012, 8.3): proven "
    "over means that the whole interval, 95 % unless set otherwise, lies over the limit; proven "
    "under, that the whole of it lies under. Else it is said to which side the reading lies, and "
    "that it isn't proven.",
    "An error that is common to the flight is one error: more samples don't make it smaller.",
    "Unless a prior is named, a probability takes every excess for equally likely beforehand. "
    "Where most flights stay well under the limit it reads high; the fleet's own margins can be "
    "given as a prior.",
    "The interval is of what was recorded: a gap may hide more, and gusts faster than the sampling "
    "can't be bounded.",
)
"""What is said once beside the probabilities."""


def assurance(
    found: Assurance, limit: str, quantity: str, how: Presentation | None = None
) -> str:
    """Return how sure it is that a limit was truly exceeded: interval, outcome, probability."""
    basis = sentence_case(basis_words(found.basis))
    if not math.isfinite(found.probability):
        return f"{basis}: {outcome(found.word)}, for {label.REASONS[found.reason]}."
    how = how or Presentation()
    said = (f"{basis}: {decision(found, quantity, how)}. The probability that {limit} was truly "
            f"exceeded is {chance(found)} ({prior(found)}).")
    noise = noise_or_gusts(found, quantity, how)
    return f"{said} {noise}" if noise else said


def _amount(excess: float, quantity: str, speed: Callable[[float], str] = knots) -> str:
    if other := none_of_a_speed(quantity):
        return amount(excess, other)
    return f"Mach {mach(excess)}" if is_in_mach(quantity) else speed(excess)


def near(near_miss: NearMiss, quantity: str) -> str:
    """Return a stretch that stayed under a limit but may have been over, as sentences."""
    return (f"{near_miss.limit} may have been exceeded at {clock(near_miss.time_s)}, "
            f"{feet(near_miss.pressure_altitude_ft)}, though the recording stays "
            f"{_amount(near_miss.margin, quantity)} under it. "
            f"{assurance(near_miss.displayed, near_miss.limit, quantity)} "
            f"{assurance(near_miss.flown, near_miss.limit, quantity)}")


def _least_shown(quantity: str) -> float:
    """Return the least amount that a sentence shows as other than zero."""
    if other := none_of_a_speed(quantity):
        return 10.0**-other.decimals / 2
    return 0.0005 if is_in_mach(quantity) else 0.05


def missed_peak(
    peak: MissedPeak, quantity: str, speed: Callable[[float], str] = knots
) -> str:
    """Return what a peak between samples may have added; `speed` puts knots in words."""
    if not math.isfinite(peak.bound):
        return "What a peak between samples may have added isn't known: too few samples about it."
    bound = _amount(peak.bound, quantity, speed)
    said = f"A peak between samples may have added up to {bound}"
    if peak.interpolated >= _least_shown(quantity):
        said += f", {_amount(peak.interpolated, quantity, speed)} by interpolation"
    return f"{said}; gusts faster than the sampling can't be bounded."
