"""Cross-checks between two ways to the same quantity, a sentence each."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from loganalyze.text.en.number_format import count, mach
from loganalyze.text.en.quantity_words import recorded
from loganalyze.text.presentation import Presentation

if TYPE_CHECKING:
    from loganalyze.results.assessment_results import Check


def _kelvin(value: float) -> str:
    return f"{value:.1f} K"


_SPEEDS = ("true_airspeed", "indicated_airspeed", "calibrated_airspeed", "limit_pointer")

_SUBJECTS = {
    "recorded_mach": "The recorded Mach number",
    "recorded_true_airspeed": "The recorded true airspeed",
    "recorded_limit_pointer": "The recorded limit pointer",
    "two_sources": "The first source of {channel}",
}
_OTHERS = {
    "recorded_mach": "the reconstructed one",
    "recorded_true_airspeed": "the reconstructed one",
    "recorded_limit_pointer": "the reconstructed one",
    "two_sources": "the second one",
}
"""What each is compared with: as many as there are subjects."""

CODES = (*_SUBJECTS, "turns")
"""Every code that a cross-check may have."""


def _put(channel: str, how: Presentation) -> Callable[[float], str]:
    """Return how a difference of a channel is written."""
    if channel in _SPEEDS:
        return how.speed
    if channel == "pressure_altitude":
        return how.altitude
    return (lambda value: f"Mach {mach(value)}") if channel == "mach" else _kelvin


def check(result: Check, how: Presentation | None = None) -> str:
    """Return one cross-check as a sentence or two, in the units of `how`.

    Raises KeyError for a code that has no sentence: a test holds that each code has one.
    """
    how = how or Presentation()
    if result.code == "turns":
        return _turns(result, how)
    values = result.values
    subject = _SUBJECTS[result.code].format(channel=recorded(str(values["channel"])))
    if "median_difference" not in values:
        return (f"{subject} could not be compared: only {count(values['samples'], 'sample')} "
                "with both.")
    said = _put(values["channel"], how)
    middle = values["median_difference"]
    other = _OTHERS[result.code]
    side = "above" if middle >= 0 else "below"
    return (f"{subject} lies {said(abs(middle))} {side} {other} (median of "
            f"{count(values['samples'], 'sample')}, spread {said(values['spread'])}): "
            f"{_verdict(result, said)}.")


def _verdict(result: Check, said: Callable[[float], str]) -> str:
    against = result.values.get("contradicted", 0)
    if against:
        return (f"whatever this median, it contradicts {count(against, 'exceedance')}, as is said "
                "there")
    if result.consistent is None:
        return "no tolerance is known to hold that against"
    if result.consistent:
        return f"consistent within {said(result.values['allowed'])}"
    return f"more than the {said(result.values['allowed'])} that uncertainty allows"


def _turns(result: Check, how: Presentation) -> str:
    values = result.values
    high = values["reads_high_kt"]
    side = "high" if high >= 0 else "low"
    lines = [f"Ground speed in {count(values['turns'], 'turn')} says that the reconstructed true "
             f"airspeed reads {how.speed(abs(high))} {side} (standard uncertainty "
             f"{how.speed(values['reads_high_u_kt'])}): {_verdict(result, how.speed)}. "
             "Offered, not applied."]
    if "airspeed_reads_high_kt" in values:
        lines.append("Split: airspeed "
                     f"{how.published_difference(values['airspeed_reads_high_kt'], '')} (u "
                     f"{how.speed(values['airspeed_u_kt'])}), temperature "
                     f"{values['temperature_reads_high_k']:+.1f} K (u "
                     f"{values['temperature_u_k']:.1f} K).")
    else:
        lines.append("The turns can't separate an airspeed error from a temperature error.")
    return " ".join(lines)
