"""Times, speeds and counts, as the trade writes them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence


def rate(value: float) -> str:
    """Return a rate to three digits and never less than a hundredth, or a dash where not known."""
    if not math.isfinite(value):
        return "–"
    return f"{value:,.{0 if value >= 99.95 else 1 if value >= 9.995 else 2}f}"


def clock(seconds: float | None) -> str:
    """Return a time from the log's first sample as h:mm:ss.s, or "unknown"."""
    if seconds is None:
        return "unknown"
    tenths = round(abs(seconds) * 10)
    sign = "-" if seconds < 0 and tenths else ""
    hours, rest = divmod(tenths, 36000)
    minutes, rest = divmod(rest, 600)
    return f"{sign}{hours}:{minutes:02d}:{rest / 10:04.1f}"


def duration(seconds: float) -> str:
    """Return a length of time in the words of a debrief: 0.4 s, 12.3 s, 3 min 05 s, 1 h 52 min."""
    if seconds == 0:
        return "0 s"
    if seconds < 0.0005:
        return "less than 0.001 s"
    if seconds < 0.05:
        return f"{seconds:.3f} s"
    if round(seconds, 1) < 60:
        return f"{seconds:.1f} s"
    if round(seconds) < 3600:
        minutes, rest = divmod(round(seconds), 60)
        return f"{minutes} min {rest:02d} s"
    hours, minutes = divmod(round(seconds / 60), 60)
    return f"{hours} h {minutes:02d} min"


def in_judged(recorded_s: float, judged_s: float) -> str:
    """Return what part of a recording a verdict holds for, as it follows on a verb."""
    if judged_s > 0:
        return f" in the {duration(judged_s)} that could be judged"
    if recorded_s > 0:
        return ", though at no time could every limit be judged"
    return " in the one sample recorded"


def too_little(shares: Mapping[str, float], limits: Sequence[str]) -> str:
    """Return which limits count as not judged, and why, as a sentence."""
    listed = [f"{name} (judged for {100 * shares[name]:.0f} % of the airborne time)"
              for name in limits]
    several = ", ".join(listed[:-1]) + " and " + listed[-1] if len(listed) > 1 else listed[0]
    return f"Too little for a verdict on the flight: {several}."


def knots(value: float | None) -> str:
    """Return a speed to a tenth of a knot; three digits after the point where that is nothing."""
    if value is None:
        return "an unknown speed"
    return f"{value:.1f} kt" if abs(value) >= 0.05 or value == 0 else f"{value:.2g} kt"


def mach(value: float | None) -> str:
    """Return a Mach number as the trade writes it: .482, 1.05."""
    if value is None:
        return "unknown"
    digits = f"{abs(value):.3f}" if abs(value) >= 0.0005 or value == 0 else f"{abs(value):.2g}"
    return ("-" if value < 0 else "") + (digits[1:] if digits.startswith("0.") else digits)


def feet(value: float | None) -> str:
    """Return a pressure altitude in whole feet."""
    return "an unknown altitude" if value is None else f"{value:,.0f} ft"


def count(number: int, one: str, many: str = "") -> str:
    """Return "1 exceedance" or "3 exceedances"."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def ordinal(number: int) -> str:
    """Return a number as an ordinal: 1st, 2nd, 3rd, 4th."""
    ending = "th" if number % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(
        number % 10, "th")
    return f"{number}{ending}"


def sentence_case(text: str) -> str:
    """Return `text` with its first letter in upper case, the rest as it is."""
    return text[:1].upper() + text[1:]
