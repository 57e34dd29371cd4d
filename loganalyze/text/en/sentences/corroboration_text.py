"""What other channels and its edges say of an exceedance, a sentence each."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, assert_never

from loganalyze.quantities.quantity_registry import is_in_mach, none_of_a_speed
from loganalyze.results.evidence import CONFIRMS_LESS, CONTRADICTS
from loganalyze.text.en.number_format import mach
from loganalyze.text.en.quantity_words import amount, no_other_channel, noun
from loganalyze.text.en.value_words import channel_words
from loganalyze.text.presentation import Presentation

if TYPE_CHECKING:
    from loganalyze.results.evidence import Edge, Evidence, Reference, Stepping

NOTHING = "No other channel was recorded that could confirm or contradict it."
UNSEEN = ("It is short, and its start or its end wasn't recorded: by itself it can't be "
          "distinguished from a corrupt value.")
STEPS: dict[Stepping, str] = {
    "airspeed": "The airspeed", "pressure altitude": "The pressure altitude",
    "flap": "The flap angle", "slat": "The slat angle"}
"""What steps at an edge of an exceedance."""


def corroboration(evidence: Evidence, quantity: str, how: Presentation | None = None) -> list[str]:
    """Return what speaks for and against an exceedance of a limit published in `quantity`."""
    how = how or Presentation()
    other = none_of_a_speed(quantity)
    said = [_reference(part, quantity, how) for part in evidence.references] or [
        no_other_channel(other) if other else NOTHING]
    return [*said, *decisive_edges(evidence, how)]


def decisive(evidence: Evidence, quantity: str, how: Presentation | None = None) -> list[str]:
    """Return only what keeps an exceedance, or its size, from being proven; empty for nothing."""
    if not evidence.reason:
        return []
    how = how or Presentation()
    said = [_reference(part, quantity, how) for part in evidence.references
            if part.verdict in (CONTRADICTS, CONFIRMS_LESS)]
    return [*said, *decisive_edges(evidence, how)]


def decisive_edges(evidence: Evidence, how: Presentation) -> list[str]:
    """Return the steps that no aircraft flies, and whether an end wasn't recorded."""
    return [*(_edge(part, how) for part in evidence.edges), *([UNSEEN] if evidence.unseen else [])]


def _reference(reference: Reference, quantity: str, how: Presentation) -> str:
    name = f"The recorded {_lower(channel_words(reference.channel))}"
    by = _excess(reference.excess, quantity, how)
    more = (
        f"the {reference.quantity} reads "
        f"{_size(abs(reference.difference), reference.quantity, how)} "
        f"{'more' if reference.difference >= 0 else 'less'} than it says, of which noise, steps, "
        f"lag and drift explain at most {_size(reference.allowed, reference.quantity, how)}"
    )
    match reference.verdict:
        case "confirms":
            return f"{name} confirms it: by that, {by}."
        case "confirms less":
            return (f"{name} confirms that the limit was exceeded, but by less: {more}; "
                    f"by that, {by}.")
        case "contradicts":
            return f"{name} contradicts it: {more}; by that, {by}."
        case "can't tell":
            return (
                f"{name} is inconclusive: by that, {by}, give or take "
                f"{_size(reference.allowed, reference.quantity, how)} of the {reference.quantity}."
            )
        case _:
            assert_never(reference.verdict)


def _lower(words: str) -> str:
    return words if words.startswith("Mach") else words[0].lower() + words[1:]


def _excess(excess: float, quantity: str, how: Presentation) -> str:
    if not math.isfinite(excess):
        return "the excess isn't known"
    other = none_of_a_speed(quantity)
    size = (amount(abs(excess), other) if other else f"Mach {mach(abs(excess))}"
            if is_in_mach(quantity) else how.speed(abs(excess)))
    return (f"the limit was exceeded by {size}" if excess > 0
            else f"the {noun(quantity)} stayed {size} under")


def _size(value: float, of: Stepping, how: Presentation) -> str:
    match of:
        case "airspeed":
            return how.speed(value)
        case "pressure altitude":
            return how.altitude(value)
        case "flap" | "slat":
            return f"{value:.0f} deg"
        case _:
            assert_never(of)


def _edge(edge: Edge, how: Presentation) -> str:
    way = "rises" if edge.step > 0 else "falls"
    return (f"{STEPS[edge.quantity]} {way} by {_size(abs(edge.step), edge.quantity, how)} within "
            f"{edge.seconds:.3g} s at {how.instant(edge.time_s)}, where at most "
            f"{_size(edge.allowed, edge.quantity, how)} can be flown.")
