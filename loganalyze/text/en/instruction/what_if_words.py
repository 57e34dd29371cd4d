"""What is said of what would have helped: intervals and reasons, never a verdict."""

from __future__ import annotations

from loganalyze.text.en.number_format import sentence_case
from loganalyze.text.presentation import Presentation

TITLE = "What would have helped"
NOTE = ("For training: an estimate from this flight's own energy (thrust less drag as flown, "
        "speed and height), not a verdict, and no part of one. Each interval holds the noise of "
        "the speed, what is not known of the drag, and a change of wind with height.")
CAPTION = "Exceedance {number}, {limit}: the greatest speed, had it been flown otherwise"
COLUMNS = {"change": "Had it been flown so", "result": "Greatest speed (95 % interval)",
           "gain": "Against the flight", "from": "From"}
AS_FLOWN = "as flown, smoothed"

REFUSALS: dict[str, str] = {
    "no speed": "the speed, the altitude or the limit is not known about the worst instant",
    "no temperature": "no air temperature was recorded, and with it no true airspeed",
    "gap before": "the recording does not show enough of the flight before the worst instant",
    "gap after": "the recording does not show the speed coming down again",
    "no reduction": "the speed was not brought down within 45 s of the worst instant",
    "several peaks": "the speed did not come down after its worst: it went farther over the same "
                     "limit within 45 s",
    "other changes": "power or path changed in the seconds that would fall away",
    "configuration": "flaps or gear moved, and the drag with them",
    "descent too shallow": "the descent was not that steep",
    "noise": "the recorded speed is too noisy, or the air was too rough",
    "too uncertain": "the interval would be wider than 0.8 kt to either side",
}
"""Why there is no answer, by reason; each follows on "not answered: "."""


def change(kind: str, amount: float, for_s: float, has_onset: bool, how: Presentation) -> str:
    """Return what would have been done otherwise; `has_onset` : whether the speed came down."""
    if kind == "earlier":
        return f"speed reduction begun {amount:g} s earlier"
    rate = (f"{amount:,.0f} ft/min" if how.units.altitude == "ft"
            else f"{amount * 0.3048 / 60:.1f} m/s")
    before = "reduction" if has_onset else "worst instant"
    return f"descent less steep by {rate}, from {for_s:g} s before the {before}"


def result(low_kt: float, high_kt: float, limit: str, how: Presentation) -> str:
    """Return the interval of a greatest excess: "0.4 to 1.2 kt over VMO"."""
    per_knot, unit = how.units.per_knot, how.units.speed
    low, high = low_kt * per_knot, high_kt * per_knot
    if low >= 0:
        return f"{low:.1f} to {high:.1f} {unit} over {limit}"
    if high <= 0:
        return f"{-high:.1f} to {-low:.1f} {unit} under {limit}"
    return f"{-low:.1f} {unit} under to {high:.1f} {unit} over {limit}"


def one_result(excess_kt: float, limit: str, how: Presentation) -> str:
    """Return an excess without an interval."""
    side = "over" if excess_kt >= 0 else "under"
    return f"{how.speed(abs(excess_kt))} {side} {limit}"


def gain(as_flown_kt: float, low_kt: float, high_kt: float, how: Presentation) -> str:
    """Return by how much less, or more: "about 6 kt less"."""
    less = as_flown_kt - (low_kt + high_kt) / 2
    size = round(abs(less) * how.units.per_knot)
    if size == 0:
        return "about the same"
    return f"about {size} {how.units.speed} {'less' if less > 0 else 'more'}"


def refused(reason: str) -> str:
    """Return why a question isn't answered."""
    return f"not answered: {REFUSALS[reason]}"


def all_refused(number: int, limit: str, reason: str) -> str:
    """Return why none of the questions about an exceedance is answered, as a sentence."""
    return f"Exceedance {number}, {limit}: {refused(reason)}."


def group(kind: str) -> str:
    """Return what a kind of change is, where all of it has one reason."""
    return sentence_case("the speed reduction earlier" if kind == "earlier"
                         else "a lower rate of descent")
