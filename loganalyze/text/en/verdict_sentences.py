"""Every sentence that this program says about a flight, in one place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from loganalyze.events.analysis import Outcome
from loganalyze.results.assessment_results import AssessedExceedance
from loganalyze.results.decisive_exceedance import decisive_first, on_basis
from loganalyze.text.en import quantity_words, report_sentences
from loganalyze.text.en.number_format import count, duration, too_little
from loganalyze.text.en.sentences import quality_text
from loganalyze.text.en.sentences.decision_text import outcome, shortly
from loganalyze.text.en.sentences.finding_text import NAMED, not_judged
from loganalyze.text.en.sentences.reading_text import UNIT_BY
from loganalyze.text.en.sentences.severity_text import LEVELS
from loganalyze.text.en.value_words import UNITS_BY_SUFFIX
from loganalyze.text.facts import UNJUDGED, FlightFacts, Summary
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

OUTCOMES: dict[Outcome, str] = {
    "exceeded": "exceeded", "not exceeded": "not exceeded", "not determined": "not determined",
    "not judged": "not judged",
}
"""The outcomes of a flight in words, by code."""

LISTED = 10
"""How many exceedances a verdict lists before it only counts the rest."""


def headline(flight: FlightFacts, how: Presentation) -> str:
    """Return the verdict on one flight in a few sentences: the same wherever it stands."""
    assessed = flight.assessment.exceedances if flight.assessment else ()
    near = len(flight.assessment.near) if flight.assessment else 0
    return report_sentences.verdict(flight, assessed, near, how)


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
        others = [suspect for suspect in flight.quality.suspects
                  if suspect.limit not in {each.limit for each in flight.exceedances}]
        said += [
            f"{name} not determined" for name in dict.fromkeys(suspect.limit for suspect in others)
        ]
    return "; ".join([", ".join(said), *_quiet_unjudged(flight)])


def _quiet_outcome(flight: FlightFacts, how: Presentation) -> str:
    said = OUTCOMES[flight.outcome]
    assessed = flight.assessment.exceedances if flight.assessment else ()
    if flight.exceedances:
        found = flight.exceedances
        first = decisive_first(
            [exceedance.worst_excess_kt for exceedance in found], assessed, how.basis
        )[0]
        worst = found[first]
        said += f": {worst.limit} by {how.exceeded_by(worst)} at {how.instant(worst.worst_time_s)}"
        sure = on_basis(assessed[first], how.basis).word if assessed else ""
        return f"{said} ({outcome(sure)})" if sure else said
    if flight.quality.suspects:
        return f"{said}: {quality_text.doubted_limits(flight.quality.suspects, how)}, in doubt"
    if flight.assessment and (near := flight.assessment.near):
        limits = dict.fromkeys(near_miss.limit for near_miss in near)
        return f"{said}, but {', '.join(limits)} not proven under"
    closest = report_sentences.smallest_of_all(flight)
    if flight.outcome != "not exceeded" or closest is None:
        return said
    margin = (how.speed(closest.margin_kt) if closest.quantity is None else
              how.published_band(closest.margin or 0.0, closest.quantity))
    return f"{said}, smallest margin {margin} at {how.instant(closest.time_s)}"


def _highest_severity(flight: FlightFacts) -> str:
    """Return the word of the highest severity of a flight; empty where no rule is met."""
    met = {exceedance.severity for exceedance in flight.exceedances}
    return next((word for code, word in reversed(LEVELS.items()) if code in met), "")


def _quiet_unjudged(flight: FlightFacts) -> list[str]:
    """Return what of a flight wasn't judged: how long, and which limits."""
    said = []
    recorded = duration(flight.recorded_s)
    if flight.judged_s <= 0:
        known = flight.exceedances or any(smallest.known for smallest in flight.smallest_margins)
        said.append(f"at no time in {recorded} could every limit be judged" if known else
                    f"nothing of {recorded} could be judged")
    elif flight.unknown_s > 0:
        said.append(f"{duration(flight.unknown_s)} of {recorded} could not be judged")
    limits = dict.fromkeys([*not_judged(flight.taken), *flight.unjudged_limits])
    if flight.judged_s > 0:
        lacking = {limit: flight.lacking_channels[limit] for limit in limits
                   if limit in flight.lacking_channels}
        channels = dict.fromkeys(channel for some in lacking.values() for channel in some)
        for names, why in (
                ([*lacking], f" ({', '.join(channels)} not recorded)"),
                ([limit for limit in limits if limit not in lacking],
                 " (too little of the flight)" if flight.unjudged_limits else "")):
            if names:
                named = ", ".join(names) if len(names) <= NAMED else count(len(names), "limit")
                said.append(f"{named} could not be judged{why}")
    return said


def verdict(flight: FlightFacts, how: Presentation) -> str:
    """Return the verdict on one flight with each exceedance and what qualifies it, in lines."""
    found = flight.exceedances
    assessed = flight.assessment.exceedances if flight.assessment else ()
    lines = [headline(flight, how)]
    listed = decisive_first(
        [exceedance.worst_excess_kt for exceedance in found], assessed, how.basis
    )[:LISTED]
    for i in sorted(listed):
        decided = (f" {shortly(on_basis(assessed[i], how.basis), found[i].quantity, how)}"
                   if assessed else "")
        lines.append(f"{report_sentences.exceedance(found[i], how)}{decided}")
    if len(found) > LISTED:
        lines.append(others(len(found) - LISTED, assessed))
    if unjudged := report_sentences.unjudged(flight):
        lines += [unjudged,
                  *quality_text.bounded(flight.quality.bounded_s, flight.quality.bounded_gaps)]
    lines += quality_text.suspects(flight.quality.suspects, how)
    if flight.judged_s > 0:
        lines.append(judged_too_little(flight) if flight.outcome != "not judged" else "")
        lines += quality_text.screened(flight.quality.airborne_s, flight.quality.screened_s)
    lines += [finding.sentence for finding in flight.taken if finding.code in UNJUDGED]
    return "\n".join(line for line in lines if line)


def judged_too_little(flight: FlightFacts) -> str:
    """Return which limits were judged for too little time; empty for none.

    Those that nothing could judge have a sentence of their own.
    """
    named = not_judged(flight.taken)
    limits = [limit for limit in flight.unjudged_limits if limit not in named]
    return too_little(flight.judged_shares, limits) if limits else ""


def recognised(summary: Summary) -> list[str]:
    """Return what was taken for what in a log, a line each."""
    lines = []
    for channel in summary.channels:
        unit = f", in {channel.unit}" if channel.unit and channel.unit != "discrete" else ""
        lines.append(f"{channel.channel}: column \"{channel.column}\"{unit}"
                     + (f" ({channel.known_by})" if channel.known_by else ""))
    lines += summary.inferred
    lines += [f"{key}: declared as {value:g}" for key, value in summary.declared.items()]
    for flight in summary.flights:
        lines += [finding.sentence for finding in flight.taken
                  if finding.sentence not in lines and finding.code not in UNJUDGED]
    return lines


def assumed(summary: Summary) -> list[str]:
    """Return what was assumed or inferred, and the columns whose unit is in doubt, a line each.

    What the log states itself, and columns known by name and unit, aren't among them.
    """
    lines = [
        f'The column "{channel.column}" is taken as {quantity_words.channel(channel.channel)}, in '
        f"{channel.unit} ({channel.known_by})."
        for channel in summary.channels
        if channel.known_by.endswith(UNIT_BY["inferred"])
    ]
    known = {f"{channel.channel}: column" for channel in summary.channels}
    return lines + [
        sentence if sentence.endswith(".") else f"{sentence}."
        for sentence in recognised(summary)
        if not any(sentence.startswith(start) for start in known)
    ]


def thresholds(settings: Mapping[str, Any]) -> str:
    """Return the thresholds in one line: "join gap 5 s, join margin Mach 0.004"."""
    said = []
    for name, value in settings.items():
        stem, unit = next(((name.removesuffix(end), f" {unit}")
                           for end, unit in UNITS_BY_SUFFIX.items() if name.endswith(end)),
                          (name, ""))
        said.append(f"{quantity_words.setting(stem)} {value:g}{unit}")
    return ", ".join(said)
