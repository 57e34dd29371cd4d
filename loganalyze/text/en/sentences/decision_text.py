"""What was decided of an excess: its interval, the outcome, and how likely it is."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from loganalyze.quantities.quantity_registry import none_of_a_speed
from loganalyze.record.channels import CHANNELS
from loganalyze.results.assessment_results import (
    NOT_DETERMINABLE,
    OVER_NOT_PROVEN,
    PROVEN_OVER,
    PROVEN_UNDER,
    UNDER_NOT_PROVEN,
)
from loganalyze.text.en.labels import report_labels as label
from loganalyze.text.en.number_format import sentence_case
from loganalyze.text.en.quantity_words import MACH_WORDS, UNKNOWN, amount
from loganalyze.text.presentation import Presentation

if TYPE_CHECKING:
    from loganalyze.results.assessment_results import Assurance

MUCH_KT, MUCH_MACH = 0.5, 0.001
"""So far apart the greatest sample and the estimate of the worst are both worth a word."""

EQUALLY = "no excess is taken as likelier than another before the flight"

OUTCOMES: dict[str, str] = {
    PROVEN_OVER: "proven over", OVER_NOT_PROVEN: "over but not proven",
    UNDER_NOT_PROVEN: "under but not proven", PROVEN_UNDER: "proven under",
    NOT_DETERMINABLE: "not determinable",
}
"""The outcomes of the decision rule in words, by code."""


def probability(value: float) -> str:
    """Return a probability as roughly as it is known: "about 9 in 10", "more than 99 %"."""
    if not math.isfinite(value):
        return UNKNOWN
    for edge in (0.99, 0.95):
        if value >= edge:
            return f"more than {100 * edge:.0f} %"
        if value <= 1 - edge:
            return f"less than {100 * (1 - edge):.0f} %"
    return f"about {min(max(round(10 * value), 1), 9)} in 10"


def chance(assurance: Assurance) -> str:
    """Return the probability of an assurance, as a lower bound where it is only one."""
    said = probability(assurance.probability)
    if not assurance.at_least or said == UNKNOWN or said.startswith("more"):
        return said
    if said.startswith("about"):
        return f"at least {said.removeprefix('about ')}"
    per_cent = round(100 * assurance.probability)
    return f"at least {per_cent} %" if per_cent else UNKNOWN


def prior(assurance: Assurance) -> str:
    """Return what a probability assumes beforehand."""
    return EQUALLY if assurance.prior == "flat" else f"prior: {assurance.prior}"


def span(assurance: Assurance, quantity: str, how: Presentation) -> str:
    """Return the interval of an excess in words: "2.1 kt under to 8.0 kt over (95 %)"."""
    said = between(assurance.low, assurance.high, quantity, how)
    return f"{said} ({coverage(assurance)})" if said != UNKNOWN else said


def coverage(assurance: Assurance) -> str:
    """Return the probability with which an interval holds the true excess."""
    return f"{100 * assurance.coverage:g} %" if math.isfinite(assurance.coverage) else UNKNOWN


def between(low: float, high: float, quantity: str, how: Presentation) -> str:
    """Return a span of excesses in words, of which the upper end may be unknown."""
    if not math.isfinite(low):
        return UNKNOWN
    if not math.isfinite(high):
        least = side(low, quantity, how)
        return f"at least {least}" if low >= 0 else f"from {least} upwards"
    if low * high < 0:
        return f"{side(low, quantity, how)} to {side(high, quantity, how)}"
    near, far = sorted((abs(low), abs(high)))
    other = none_of_a_speed(quantity)
    unit = other.unit.name if other else how.units.speed
    least = _size(near, quantity, how).removesuffix(f" {unit}")
    most = _size(far, quantity, how).removeprefix(f"{MACH_WORDS.get(quantity, '')} ")
    return f"{least} to {most} {'over' if high > 0 else 'under'}"


def side(excess: float, quantity: str, how: Presentation) -> str:
    """Return an excess in words: "2.1 kt over", or "under" where it is negative."""
    if not math.isfinite(excess):
        return UNKNOWN
    return f"{_size(abs(excess), quantity, how)} {'over' if excess >= 0 else 'under'}"


def _size(value: float, quantity: str, how: Presentation) -> str:
    """Return a width to a tenth or to .001, however small: more digits would claim too much."""
    if other := none_of_a_speed(quantity):
        return amount(value, other)
    if quantity in MACH_WORDS:
        return f"{MACH_WORDS[quantity]} {f'{value:.3f}'.removeprefix('0')}"
    return f"{value * how.units.per_knot:.1f} {how.units.speed}"


def sure(assurance: Assurance, quantity: str, how: Presentation) -> str:
    """Return interval, outcome and probability in a cell of a table."""
    if not math.isfinite(assurance.probability):
        return outcome(assurance.word)
    said = between(assurance.low, assurance.high, quantity, how)
    begun = outcome(assurance.word) if said == UNKNOWN else f"{said}: {outcome(assurance.word)}"
    return f"{begun} ({chance(assurance)})"


def shortly(assurance: Assurance, quantity: str, how: Presentation) -> str:
    """Return the same as a sentence that begins with the basis, with the reason where one is."""
    reason = f", as {label.REASONS[assurance.reason]}" if assurance.reason else ""
    return f"{sentence_case(basis(assurance.basis))}: {sure(assurance, quantity, how)}{reason}."


def basis(code: str) -> str:
    """Return on which basis something is said, by its code (`Assurance.basis`)."""
    return label.BASES[code.removeprefix("as ")]


def outcome(code: str) -> str:
    """Return the outcome of the decision rule, a code of `results.assessment_results.OUTCOMES`."""
    return OUTCOMES[code]


def with_reason(assurance: Assurance) -> str:
    """Return the outcome with the reason why it is no other, where there is one."""
    said = outcome(assurance.word)
    return f"{said}: {label.REASONS[assurance.reason]}" if assurance.reason else said


def decision(assurance: Assurance, quantity: str, how: Presentation) -> str:
    """Return the interval and the outcome, as they follow on a basis or a sentence."""
    said = span(assurance, quantity, how)
    if said == UNKNOWN:
        return with_reason(assurance)
    return f"{said}, {outcome(assurance.word)}" + (
        f", as {label.REASONS[assurance.reason]}" if assurance.reason else "")


def likely(assurance: Assurance, quantity: str, how: Presentation) -> str:
    """Return interval, outcome and probability as a sentence that begins with the basis.

    A prior is named unless it is the flat one, which is said once for all.
    """
    begun = f"{sentence_case(basis(assurance.basis))}: {decision(assurance, quantity, how)}"
    if not math.isfinite(assurance.probability):
        return f"{begun}."
    assumed = "" if assurance.prior == "flat" else f" ({prior(assurance)})"
    return f"{begun}; probability {chance(assurance)}{assumed}."


def noise_or_gusts(assurance: Assurance, quantity: str, how: Presentation) -> str:
    """Return what the excess is freed of noise, or if what may be noise is noise.

    Empty where the greatest sample and the estimate of the worst are nearly one, and where the
    samples themselves are in doubt.
    """
    if assurance.word == NOT_DETERMINABLE:
        return ""
    if assurance.if_noise is None or not math.isfinite(assurance.if_noise):
        other = none_of_a_speed(quantity)
        much = (10.0 ** -other.decimals if other else
                MUCH_MACH if quantity in MACH_WORDS else MUCH_KT)
        apart = assurance.reading - assurance.excess
        if not (apart > much or (apart > much / 4 and assurance.reading > 0 > assurance.excess)):
            return ""
        return (
            f"The greatest reading is {side(assurance.reading, quantity, how)}; the estimate of "
            f"the worst, free of noise, is {side(assurance.excess, quantity, how)}."
        )
    return (f"Gusts and sensor noise can't be separated here: the worst is "
            f"{side(assurance.excess, quantity, how)} if the fluctuation was gusts, "
            f"{side(assurance.if_noise, quantity, how)} if it was noise; the interval covers both.")


WIDEST = "at the widest tolerances that the rules allow"


def widest(assurance: Assurance, quantity: str, how: Presentation) -> str:
    """Return the interval's widest bound, as a sentence; empty where it has none."""
    if assurance.widest is None:
        return ""
    said = between(assurance.widest.low, assurance.widest.high, quantity, how)
    return f"{WIDEST[:1].upper()}{WIDEST[1:]}: {said}, {outcome(assurance.widest.word)}."


def tolerance_words(code: str) -> str:
    """Return what an uncertainty is of."""
    if code in label.TOLERANCES:
        return label.TOLERANCES[code][0]
    stem = code.removesuffix("_resolution")
    what = CHANNELS[stem].words
    return f"Recorded {what}" if stem == code else f"Steps of the recorded {what}"


def greatest(assurance: Assurance, quantity: str, how: Presentation) -> str:
    """Return which error an interval owes most to and what stating it would gain."""
    if assurance.greatest is None:
        return ""
    suffix = label.TOLERANCES.get(assurance.greatest.code, ("", ""))[1]
    words = tolerance_words(assurance.greatest.code)
    part = "Most" if assurance.greatest.share > 0.5 else "The largest part"
    said = (
        f"{part} of the uncertainty {basis(assurance.basis)} comes from one error "
        f"({100 * assurance.greatest.share:.0f} % of the variance): {words[:1].lower()}{words[1:]}"
    )
    if assurance.greatest.supposed is None or assurance.greatest.half_width is None:
        return f"{said}."
    supposed = assurance.greatest.supposed
    size = {"_kt": how.step(supposed), "_ft": how.altitude(supposed)}.get(
        suffix, f"{supposed:g} degC")
    return (f"{said}. With a tolerance of {size} stated for it, the interval would be "
            f"{chr(177)}{_size(assurance.greatest.half_width, quantity, how)}.")


def tolerance_source(source: str) -> str:
    """Return where a tolerance is from.

    The English of the program's own sources stands beside their numbers
    (`sheets/sensor_tolerances.py`); another language has a table here, by the English, and gives
    what a limits sheet names as it is.
    """
    return source
