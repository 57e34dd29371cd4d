"""Why margin was lost and how it was regained, in plain sentences."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from loganalyze.quantities.quantity_registry import none_of_a_speed
from loganalyze.text.en.labels.report_labels import CAUSES, ENDED
from loganalyze.text.en.number_format import duration
from loganalyze.text.en.quantity_words import NO_CAUSE, UNKNOWN, no_causes
from loganalyze.text.en.report_sentences import listed
from loganalyze.text.presentation import Presentation

if TYPE_CHECKING:
    from loganalyze.results.assessment_results import AssessedExceedance, Contributions
    from loganalyze.text.facts import ExceedanceFacts

LEAST_KT = 0.5
"""Parts smaller than this [kt] are left out of the sentence (the numbers keep them)."""
PULLED_G = 1.3
"""From this load factor [g] on it is worth a word."""

PARTS: dict[str, tuple[str, str, str]] = {
    "limit_moved_kt": ("limit moved", "the limit fell {}", "the limit rose {}"),
    "configuration_kt": ("configuration", "the configuration lowered the limit {}",
                         "the configuration raised the limit {}"),
    "height_trade_kt": ("height trade", "the descent added {}", "the climb took {}"),
    "energy_kt": ("energy", "a gain of energy added {}", "a loss of energy took {}"),
    "air_temperature_kt": ("air temperature", "the change of air temperature cost {}",
                           "the change of air temperature gave back {}"),
    "speed_change_kt": ("speed change", "the speed rose {}", "the speed fell {}"),
}
"""By field: the part's name, and what it did where margin was lost and where it was gained."""


def parts(contributions: Contributions) -> list[tuple[str, float]]:
    """Return the parts that could be separated, by name, in kt; positive took margin away."""
    fields = [name for name in PARTS if name != "speed_change_kt"]
    if not contributions.split:
        fields = ["limit_moved_kt", "configuration_kt", "speed_change_kt"]
    return [(PARTS[name][0], getattr(contributions, name)) for name in fields]


NO_RUN_IN = ("What led to the limit isn't known: airspeed and altitude before it were not "
             "recorded without a break.")
NO_WORSENING = ("What made it worse isn't known: the recording breaks off between the limit and "
                "the worst.")
UNSPLIT = ("The change of speed can't be split further: that takes both air temperature and "
           "pressure altitude.")


def explained(
    found: ExceedanceFacts, assessed: AssessedExceedance, how: Presentation | None = None
) -> list[str]:
    """Return why a limit was exceeded: what led to the limit, then what made it worse."""
    how = how or Presentation()
    if other := none_of_a_speed(found.quantity):
        return [no_causes(other)]
    said = [run_in(found, known(assessed.contributions), how)]
    further = worse(found, assessed, how)
    if further:
        said.append(further)
    if sum(UNSPLIT in sentence for sentence in said) > 1:
        said[0] = said[0].removesuffix(f" {UNSPLIT}")
    return said


def run_in(found: ExceedanceFacts, contributions: Contributions | None, how: Presentation) -> str:
    """Return what took the aircraft to the limit."""
    if contributions is None:
        if found.began_by == "limit applied":
            return f"{found.limit} came into force while the aircraft was faster."
        return NO_RUN_IN
    until, event = found.start_s, f"{found.limit} was passed"
    if contributions.end_s < found.start_s:
        until = contributions.end_s
        event = f"{found.limit} was first passed, at {how.instant(contributions.end_s)}"
    elif found.began_by == "limit applied":
        event = f"{found.limit} came into force"
    lost = f"{how.speed(contributions.lost_kt)} of margin lost" if contributions.lost_kt > 0 else (
        "the margin hardly changed")
    return (f"In the {duration(until - contributions.start_s)} before {event}, "
            f"{_split(contributions, lost, how)}")


def worse(found: ExceedanceFacts, assessed: AssessedExceedance, how: Presentation) -> str:
    """Return what made it worse after the crossing; empty where it was worst at once."""
    contributions = known(assessed.worsening)
    if contributions is None:
        return NO_WORSENING if assessed.crossing_s < found.worst_time_s else ""
    since = ("the first sample over" if contributions.start_s <= assessed.crossing_s
             else how.instant(contributions.start_s))
    grew = (f"{how.speed(contributions.lost_kt)} further over" if contributions.lost_kt > 0 else
            "as airspeed hardly further over")
    later = duration(contributions.end_s - contributions.start_s)
    return f"From {since} to the worst, {later} later, {_split(contributions, grew, how)}"


def known(contributions: Contributions | None) -> Contributions | None:
    """Return contributions of which the span and the loss are known, else None."""
    if contributions is None or not math.isfinite(
        contributions.lost_kt + contributions.start_s + contributions.end_s
    ):
        return None
    return contributions


def _split(contributions: Contributions, total: str, how: Presentation) -> str:
    named = [
        (name, getattr(contributions, name))
        for name in PARTS
        if abs(getattr(contributions, name)) >= LEAST_KT
    ]
    named.sort(key=lambda part: -abs(part[1]))
    said = []
    for name, kt in named:
        only = "only " if name == "limit_moved_kt" and kt < 0 < contributions.lost_kt else ""
        said.append(PARTS[name][1 if kt > 0 else 2].format(only + how.speed(abs(kt))))
    lines = [f"{'; '.join(said)}: {total}." if said else f"{total}: no cause stands out."]
    if abs(contributions.wind_kt) >= LEAST_KT:
        side = "came from" if contributions.wind_kt > 0 else "went to"
        lines.append(
            f"Of the energy, {how.speed(abs(contributions.wind_kt))} {side} a change of wind."
        )
    if contributions.greatest_load_factor >= PULLED_G:
        lines.append(f"The load factor reached {contributions.greatest_load_factor:.2f} g.")
    if not contributions.split:
        lines.append(UNSPLIT)
    return " ".join(lines)


def why(contributions: Contributions | None, began_by: str, quantity: str) -> str:
    """Return the main cause in a few words."""
    if none_of_a_speed(quantity):
        return NO_CAUSE
    if began_by == "limit applied":
        return "the limit began to apply"
    if contributions is None:
        return UNKNOWN
    fields = ("limit_moved_kt", "configuration_kt", "height_trade_kt", "energy_kt",
              "air_temperature_kt") if contributions.split else (
              "limit_moved_kt", "configuration_kt", "speed_change_kt")
    taken = [
        (getattr(contributions, name), name) for name in fields if getattr(contributions, name) > 0
    ]
    return CAUSES[max(taken)[1]][1] if taken else UNKNOWN


def still_over(exceedance: ExceedanceFacts, found: Sequence[ExceedanceFacts]) -> list[str]:
    """Return the other limits that were exceeded when an exceedance ended."""
    names = [other.limit for other in found
             if other.limit != exceedance.limit and other.start_s <= exceedance.end_s < other.end_s]
    return list(dict.fromkeys(names))


def recovery(exceedance: ExceedanceFacts, still: Sequence[str], speed_kt: float, altitude_ft: float,
             limit_kt: float, how: Presentation) -> str:
    """Return how it came back under the limit, from the worst instant to the end of it.

    `still` are the limits that were exceeded beyond its end.
    """
    if exceedance.ended_by != "recovered":
        return ENDED[exceedance.ended_by]
    parts = []
    if math.isfinite(speed_kt):
        parts.append(_moved("calibrated airspeed", speed_kt, how.speed(abs(speed_kt))))
    if math.isfinite(limit_kt) and abs(limit_kt) >= 0.5:
        parts.append(_moved("limit airspeed", limit_kt, how.speed(abs(limit_kt))))
    if math.isfinite(altitude_ft):
        parts.append("the aircraft kept its altitude" if abs(altitude_ft) < 50 else
                     f"the aircraft {'climbed' if altitude_ft > 0 else 'descended'} "
                     f"{how.altitude(abs(altitude_ft))}")
    after = duration(exceedance.end_s - exceedance.worst_time_s)
    back = f"{how.instant(exceedance.end_s)}, {after} after the worst"
    said = (f"Back under {exceedance.limit}, still over {listed(still)}, at {back}" if still else
            f"Back under {exceedance.limit} at {back}")
    return said + (f": {listed(parts)}." if parts else ".")


def _moved(what: str, by: float, said: str) -> str:
    return f"the {what} {'rose' if by > 0 else 'fell'} {said}"
