"""Every sentence that this program says about a flight, in one place."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from loganalyze.quantities.quantity_registry import none_of_a_speed
from loganalyze.results.assessment_results import (
    NOT_DISPLAYED,
    PROVEN_OVER,
    AssessedExceedance,
)
from loganalyze.results.decisive_exceedance import decisive_first, on_basis
from loganalyze.text.en.number_format import (
    clock,
    count,
    duration,
    excess,
    feet,
    in_judged,
    in_quantity,
    knots,
    mach,
    sentence_case,
    too_little,
)
from loganalyze.text.en.quantity_words import amount
from loganalyze.text.en.report_sentences import smallest_of_all
from loganalyze.text.en.sentences import quality_text
from loganalyze.text.en.sentences.decision_text import outcome, with_reason
from loganalyze.text.en.sentences.finding_text import (
    NAMED,
    but_not_judged,
    not_judged,
)
from loganalyze.text.en.sentences.reading_text import UNIT_BY
from loganalyze.text.en.sentences.severity_text import LEVELS
from loganalyze.text.facts import UNJUDGED, ExceedanceFacts, FlightFacts, SmallestFacts, Summary
from loganalyze.text.presentation import Presentation

CAUTIONS: tuple[str, ...] = (
    "Not for use in flight, and not for the release of an aircraft to service.",
    "The flight manual, the maintenance manual, the operator and the authority prevail.",
    "A flag is not proof of an exceedance, and the absence of one is no clearance.",
    "Not for punitive use.",
)

CAUTIONS_IN_SHORT: tuple[str, ...] = (
    "Not for use in flight, for release to service, or for punitive use.",
    "A flag is no proof, no flag no clearance; manuals, operator, authority prevail.",
)
"""All four where there is little space, on the terminal and in a picture: at most 80 columns."""

OUTCOMES: dict[str, str] = {
    "exceeded": "exceeded", "not exceeded": "not exceeded", "not determined": "not determined",
    "not judged": "not judged",
}
"""The outcomes of a flight in words, by code."""

LISTED = 10
"""How many exceedances a verdict lists before it only counts the rest."""


def exceedance(one: ExceedanceFacts, origin_s: float = 0.0) -> str:
    """Return one exceedance as a sentence; `origin_s` : time 0 of its clock."""
    pointer = ""
    if one.worst_limit_pointer_kt is not None:
        pointer = f"; the limit pointer stood at {one.worst_limit_pointer_kt:.1f} KIAS"
    ends = []
    if one.began_by != "crossed":
        ends.append(f"began by {one.began_by}")
    if one.ended_by != "recovered":
        ends.append(f"ended by {one.ended_by}")
    if one.brief:
        ends.append("brief")
    return (
        f"{one.limit} exceeded at {clock(one.start_s - origin_s)} for {duration(one.duration_s)}"
        f"{_touches(one)}"
        f"{' (' + ', '.join(ends) + ')' if ends else ''}, at worst by "
        f"{excess(one)}: "
        f"{in_quantity(one.worst_value, one.quantity)} against "
        f"{in_quantity(one.limit_value, one.quantity)} at "
        f"{feet(one.worst_pressure_altitude_ft)}, {clock(one.worst_time_s - origin_s)}{pointer}."
    )


def _touches(one: ExceedanceFacts) -> str:
    if one.touches < 2:
        return ""
    return f" ({one.touches:,} touches, {duration(one.time_over_s)} over in all)"


def closest(one: SmallestFacts, origin_s: float = 0.0) -> str:
    """Return how close it came, as a sentence; `origin_s` : time 0 of its clock."""
    at = clock(None if one.time_s is None else one.time_s - origin_s)
    name = f" to {one.limit}" if one.limit else ""
    other = none_of_a_speed(one.quantity or "")
    if other and one.margin is not None:
        side = "under" if one.margin >= 0 else "over"
        return (f"Closest{name}: {amount(abs(one.margin), other)} {side} it at "
                f"{at}, {feet(one.pressure_altitude_ft)}.")
    if one.margin_kt is None:
        return f"Closest{name}: unknown."
    side = "under" if one.margin_kt >= 0 else "over"
    by_mach = f" (Mach {mach(abs(one.margin_mach))})" if one.margin_mach is not None else ""
    return (f"Closest{name}: {knots(abs(one.margin_kt))}{by_mach} {side} the limit of "
            f"{knots(one.limit_airspeed_kt)} CAS at {at}, "
            f"{feet(one.pressure_altitude_ft)}.")


def headline(
    found: Sequence[Any], recorded_s: float, judged_s: float,
    margins: Iterable[float | None] = (), suspects: Sequence[Any] = (),
    assessed: Sequence[AssessedExceedance] = (), unjudged: Sequence[str] = (),
) -> str:
    """Return the verdict in one sentence.

    `found` are exceedances with their `episode`, `assessed` how sure each is; `margins` the
    smallest to each limit, of which one that is known tells that this limit could be judged, if
    others could not; `suspects` the stretches over a limit whose samples are in doubt; `unjudged`
    the limits that nothing could judge.
    """
    if suspects and not found:
        return quality_text.not_determined(suspects)
    if judged_s <= 0 and not found and not any(math.isfinite(one or math.nan) for one in margins):
        return f"Nothing of the {duration(recorded_s)} recorded could be judged."
    within = f"{in_judged(recorded_s, judged_s)}{but_not_judged(unjudged)}."
    if not found:
        return f"No limit was exceeded{within}"
    episodes = len({one.episode for one in found})
    said = count(len(found), "exceedance")
    proven = sum(on_basis(one, "displayed").word == PROVEN_OVER for one in assessed)
    if assessed and proven < len(found):
        which = "not" if len(found) == 1 else f"{proven:,} of them" if proven else "none of them"
        seen = any(one.displayed.reason != NOT_DISPLAYED for one in assessed)
        said += f" ({which} proven over as {'displayed' if seen else 'flown'})"
    if episodes != len(found):
        said += f" in {count(episodes, 'episode')}"
    return f"{said}{within}"


def outcomes(one: AssessedExceedance) -> str:
    """Return what was decided of an exceedance on either basis, as a sentence."""
    said = [f"{basis.basis} {with_reason(basis)}" for basis in (one.displayed, one.flown)
            if basis.reason != NOT_DISPLAYED]
    return f"{sentence_case(', '.join(said))}."


def others(number: int, assessed: Sequence[AssessedExceedance]) -> str:
    """Return that more exceedances weren't listed."""
    return f"The other {number:,} are {'smaller or less sure' if assessed else 'smaller'}."


def quiet(flight: FlightFacts, how: Presentation) -> str:
    """Return the verdict on one flight in a short line.

    The outcome; the exceedance that decides, and how sure; how many there are; the highest
    severity; and what wasn't judged. It has the numbers of `report_sentences.verdict`.
    """
    said = [_quiet_outcome(flight, how)]
    if flight.exceedances:
        if len(flight.exceedances) > 1:
            said.append(count(len(flight.exceedances), "exceedance"))
        if level := _highest_severity(flight):
            said.append(f"severity {level}")
        others = [one for one in flight.quality.suspects
                  if one.limit not in {each.limit for each in flight.exceedances}]
        said += [f"{name} not determined" for name in dict.fromkeys(one.limit for one in others)]
    return "; ".join([", ".join(said), *_quiet_unjudged(flight)])


def _quiet_outcome(flight: FlightFacts, how: Presentation) -> str:
    said = OUTCOMES[flight.outcome]
    assessed = flight.assessment.exceedances if flight.assessment else ()
    if flight.exceedances:
        found = flight.exceedances
        first = decisive_first([one.worst_excess_kt for one in found], assessed, how.basis)[0]
        worst = found[first]
        said += f": {worst.limit} by {how.exceeded_by(worst)} at {how.instant(worst.worst_time_s)}"
        sure = on_basis(assessed[first], how.basis).word if assessed else ""
        return f"{said} ({outcome(sure)})" if sure else said
    if flight.quality.suspects:
        return f"{said}: {quality_text.doubted_limits(flight.quality.suspects, how)}, in doubt"
    if flight.assessment and (near := flight.assessment.near):
        limits = dict.fromkeys(one.limit for one in near)
        return f"{said}, but {', '.join(limits)} not proven under"
    closest = smallest_of_all(flight)
    if flight.outcome != "not exceeded" or closest is None:
        return said
    margin = (how.speed(closest.margin_kt) if closest.quantity is None else
              how.published_band(closest.margin or 0.0, closest.quantity))
    return f"{said}, smallest margin {margin} at {how.instant(closest.time_s)}"


def _highest_severity(flight: FlightFacts) -> str:
    """Return the word of the highest severity of a flight; empty where no rule is met."""
    met = {one.severity for one in flight.exceedances}
    return next((word for code, word in reversed(LEVELS.items()) if code in met), "")


def _quiet_unjudged(flight: FlightFacts) -> list[str]:
    """Return what of a flight wasn't judged: how long, and which limits."""
    said = []
    recorded = duration(flight.recorded_s)
    if flight.judged_s <= 0:
        known = flight.exceedances or any(one.known for one in flight.smallest_margins)
        said.append(f"at no time in {recorded} could every limit be judged" if known else
                    f"nothing of {recorded} could be judged")
    elif flight.unknown_s > 0:
        said.append(f"{duration(flight.unknown_s)} of {recorded} could not be judged")
    limits = list(dict.fromkeys([*not_judged(flight.taken), *flight.unjudged_limits]))
    if limits and flight.judged_s > 0:
        named = ", ".join(limits) if len(limits) <= NAMED else count(len(limits), "limit")
        said.append(f"{named} could not be judged")
    return said


def verdict(flight: FlightFacts) -> str:
    """Return the short plain verdict on one flight, a sentence a line."""
    found, origin = flight.exceedances, flight.start_s or 0.0
    how = Presentation(origin_s=origin)
    assessed = flight.assessment.exceedances if flight.assessment else ()
    lines = [headline(found, flight.recorded_s, flight.judged_s,
                      [one.margin if one.margin_kt is None else one.margin_kt
                       for one in flight.smallest_margins],
                      flight.quality.suspects, assessed, not_judged(flight.taken))]
    if doubted := flight.quality.suspects:
        lines.append(
            quality_text.also_in_doubt(doubted, [one.limit for one in found]) if found else
            quality_text.nothing_else(in_judged(flight.recorded_s, flight.judged_s)))
    listed = decisive_first([one.worst_excess_kt for one in found], assessed, "displayed")[:LISTED]
    for i in sorted(listed):
        decided = f" {outcomes(assessed[i])}" if assessed else ""
        lines.append(f"{exceedance(found[i], origin)}{decided}")
    if len(found) > LISTED:
        lines.append(others(len(found) - LISTED, assessed))
    combined = [one for one in flight.smallest_margins if one.limit is None]
    if not flight.exceedances:
        lines += [closest(one, origin) for one in combined if one.margin_kt is not None]
    if flight.unknown_s > 0 and flight.judged_s > 0:
        lines.append(f"{sentence_case(duration(flight.unknown_s))} could not be judged "
                     f"({count(flight.unknown_stretches, 'stretch', 'stretches')}).")
        lines += quality_text.bounded(flight.quality.bounded_s, flight.quality.bounded_gaps)
    lines += quality_text.suspects(flight.quality.suspects, how)
    if flight.judged_s > 0:
        lines.append(judged_too_little(flight))
    if flight.judged_s > 0:
        lines += quality_text.screened(flight.quality.airborne_s, flight.quality.screened_s)
    lines += [one.sentence for one in flight.taken if one.code in UNJUDGED]
    return "\n".join(line for line in lines if line)


def judged_too_little(flight: FlightFacts) -> str:
    """Return which limits were judged for too little time; empty for none.

    Those that nothing could judge have a sentence of their own.
    """
    named = not_judged(flight.taken)
    limits = [one for one in flight.unjudged_limits if one not in named]
    return too_little(flight.judged_shares, limits) if limits else ""


def recognised(summary: Summary) -> list[str]:
    """Return what was taken for what in a log, a line each."""
    lines = []
    for one in summary.channels:
        unit = f", in {one.unit}" if one.unit and one.unit != "discrete" else ""
        lines.append(f"{one.channel}: column \"{one.column}\"{unit}"
                     + (f" ({one.known_by})" if one.known_by else ""))
    lines += summary.inferred
    lines += [f"{key}: declared as {value:g}" for key, value in summary.declared.items()]
    for flight in summary.flights:
        lines += [one.sentence for one in flight.taken
                  if one.sentence not in lines and one.code not in UNJUDGED]
    return lines


def assumed(summary: Summary) -> list[str]:
    """Return what was assumed or inferred, and the columns whose unit is in doubt, a line each.

    What the log states itself, and columns known by name and unit, aren't among them.
    """
    lines = [f'The column "{one.column}" is taken as {one.channel.replace("_", " ")}, in '
             f"{one.unit} ({one.known_by})." for one in summary.channels
             if one.known_by.endswith(UNIT_BY["inferred"])]
    known = {f"{one.channel}: column" for one in summary.channels}
    return lines + [one if one.endswith(".") else f"{one}." for one in recognised(summary)
                    if not any(one.startswith(start) for start in known)]


_UNITS = (("_kt_s", "kt/s"), ("_ft_s", "ft/s"), ("_fpm", "ft/min"), ("_kt", "kt"), ("_ft", "ft"),
          ("_s", "s"), ("_g", "g"), ("_deg", "deg"), ("_degc", "degC"), ("_pct", "%"))


def thresholds(settings: Mapping[str, Any]) -> str:
    """Return the thresholds in one line: "join gap 5 s, join margin Mach 0.004"."""
    said = []
    for name, value in settings.items():
        stem, unit = next(((name.removesuffix(end), f" {unit}") for end, unit in _UNITS
                           if name.endswith(end)), (name, ""))
        words = stem.replace("_", " ").replace("mach", "Mach")
        said.append(f"{words} {value:g}{unit}")
    return ", ".join(said)
