"""Terminal output on a log: lines for 80 columns, with and without colour."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from loganalyze.quantities.quantity_registry import is_in_mach, none_of_a_speed
from loganalyze.results.assessment_results import (
    AssessedExceedance,
    NearMiss,
)
from loganalyze.results.decisive_exceedance import decisive_first
from loganalyze.sheets.evaluation_settings import DEFAULTS
from loganalyze.show.terminal.exceedance_lines import (
    exceedance_rows,
    how_sure,
    severities,
    short_lines,
    whole_lines,
)
from loganalyze.show.terminal.printed_line import Level, Line, Tone
from loganalyze.text.facts import UNJUDGED, AssessmentFacts, FlightFacts, Summary
from loganalyze.text.language import (
    ceiling_sentences,
    check_text,
    measure_text,
    number_format,
    phase_labels,
    quality_text,
    value_words,
    verdict_sentences,
    warning_text,
)
from loganalyze.text.language import decision_text as decisions
from loganalyze.text.language import report_sentences as wording
from loganalyze.text.language import terminal_labels as label
from loganalyze.text.presentation import Presentation


def log_lines(
    name: str, limits: str, summary: Summary, how: Presentation, level: Level = "normal",
) -> list[Line]:
    """Return what is printed about one log.

    Parameters
    ----------
    name, limits : str
        The log's file and the limits sheet's, as the user named them.
    summary : Summary
        What was found.
    how : Presentation
        In which units, on which clock.
    level : {"quiet", "normal", "verbose"}
        One short line a flight; the verdict with its reasons; or all that was measured, too.

    Returns
    -------
    list of Line
        From top to bottom, without line ends; colour and width are the terminal's affair.
    """
    several = len(summary.flights) > 1
    if level == "quiet":
        return [
            Line(
                f"{name}: "
                + (label.flight(flight.flight, flight.files) + ", " if several else "")
                + verdict_sentences.quiet(flight, how.timed(flight.start_s, flight.start_utc)),
                _tone(flight),
            )
            for flight in summary.flights
        ]
    quantities = {limit.name: limit.quantity for limit in summary.limits}
    lines = [Line(label.judged(name, limits, summary.aircraft), "strong")]
    for flight in summary.flights:
        lines.append(Line(""))
        if several:
            lines.append(
                Line(
                    number_format.sentence_case(label.flight(flight.flight, flight.files)), "strong"
                )
            )
        lines += _flight_lines(
            flight, how.timed(flight.start_s, flight.start_utc), level, quantities
        )
    if level == "verbose":
        lines += [Line(""), Line(label.TAKEN_AS, "faint")]
        lines += [Line(sentence, "faint", 2) for sentence in verdict_sentences.recognised(summary)]
    else:
        assumed = verdict_sentences.assumed(summary)
        lines += [Line(label.assumed(assumed), "faint")] if assumed else []
    shown = {name: value for name, value in summary.settings.items()
             if level == "verbose" or value != DEFAULTS.get(name)}
    if shown:
        lines.append(Line(label.thresholds(verdict_sentences.thresholds(shown)), "faint"))
    return lines


def _tone(flight: FlightFacts) -> Tone:
    return "over" if flight.exceedances else "strong"


def _headline(flight: FlightFacts, how: Presentation) -> str:
    return verdict_sentences.headline(flight, how)


def _assessed(flight: FlightFacts) -> Sequence[AssessedExceedance]:
    return flight.assessment.exceedances if flight.assessment else ()


def _flight_lines(
    flight: FlightFacts, how: Presentation, level: Level, quantities: Mapping[str, str]
) -> Iterator[Line]:
    yield Line(_headline(flight, how), _tone(flight))
    assessed = (
        flight.assessment.exceedances if flight.assessment else (None,) * len(flight.exceedances)
    )
    worst = decisive_first(
        [found.worst_excess_kt for found in flight.exceedances], _assessed(flight), how.basis
    )
    listed = sorted(worst[:verdict_sentences.LISTED])
    if level == "verbose":
        for i in listed:
            yield from whole_lines(flight.exceedances[i], assessed[i], how)
    elif listed:
        yield from exceedance_rows([flight.exceedances[i] for i in listed],
                                   [assessed[i] for i in listed], how)
        for i in listed:
            yield from short_lines(flight.exceedances[i], assessed[i], how)
        if said := severities([flight.exceedances[i] for i in listed],
                              [assessed[i] for i in listed], how):
            yield Line(said, "", 2)
    if len(worst) > verdict_sentences.LISTED:
        yield Line(
            verdict_sentences.others(len(worst) - verdict_sentences.LISTED, _assessed(flight)),
            "",
            2,
        )
    for near in _worst_near(flight.assessment):
        yield from _near_lines(near, quantities[near.limit], how, level)
    if level == "verbose" and _flat(flight.assessment):
        yield Line(label.PRIOR.format(prior=decisions.EQUALLY), "", 2)
    more = len(flight.assessment.near) - verdict_sentences.LISTED if flight.assessment else 0
    if more > 0:
        yield Line(label.fewer_near(more), "", 2)
    for note in (*_doubts(flight, how), *(
            found.sentence for found in flight.taken if found.code in UNJUDGED)):
        yield Line(note, "", 2)
    if flight.assessment:
        for finding in flight.assessment.warnings:
            yield Line(warning_text.warning(finding, how.instant, how.speed), "", 2)
        if level == "verbose":
            yield from _measured(flight.assessment, how, quantities)
    for ceiling in flight.ceilings:
        yield Line(ceiling_sentences.ceiling(ceiling, how), "", 2)


def _unjudged(flight: FlightFacts) -> Iterator[str]:
    """The time without a verdict, and the limits that count as not judged for it."""
    if flight.outcome != "not judged" and (little := verdict_sentences.judged_too_little(flight)):
        yield little
    if unjudged := wording.unjudged(flight):
        yield unjudged


def _doubts(flight: FlightFacts, how: Presentation) -> Iterator[str]:
    """The time without a verdict, the suspects, and the samples rejected by screening."""
    yield from _unjudged(flight)
    if wording.unjudged(flight):
        yield from quality_text.bounded(flight.quality.bounded_s, flight.quality.bounded_gaps)
    yield from quality_text.suspects(flight.quality.suspects, how)
    if flight.judged_s > 0:
        yield from quality_text.screened(flight.quality.airborne_s, flight.quality.screened_s)


def _flat(assessment: AssessmentFacts | None) -> bool:
    """Whether any probability assumes no more than the flat prior."""
    assessed: tuple[AssessedExceedance | NearMiss, ...] = (
        (*assessment.exceedances, *assessment.near) if assessment else ())
    return any(basis.prior == "flat" and math.isfinite(basis.probability)
               for each in assessed for basis in (each.displayed, each.flown))


def _worst_near(assessment: AssessmentFacts | None) -> Sequence[NearMiss]:
    """The near ones that were most likely over, in the order of time."""
    if assessment is None:
        return ()
    likely = sorted(assessment.near, key=lambda near: -_known(near.flown.probability))
    return sorted(likely[:verdict_sentences.LISTED], key=lambda near: near.time_s)


def _known(value: float) -> float:
    return value if math.isfinite(value) else 0.0


def _near_lines(
    near_miss: NearMiss, quantity: str, how: Presentation, level: Level
) -> Iterator[Line]:
    yield Line(
        label.near(
            near_miss.limit,
            how.instant(near_miss.time_s),
            how.altitude(near_miss.pressure_altitude_ft),
            how.published_band(near_miss.margin, quantity)
            if none_of_a_speed(quantity)
            else how.excess(
                near_miss.margin_kt, near_miss.margin if is_in_mach(quantity) else None
            ),
            phase_labels.while_in(near_miss.phase),
        ),
        "",
        2,
        "-  ",
    )
    yield from how_sure(near_miss.displayed, near_miss.flown, quantity, how, level == "verbose")


def _measured(
    assessment: AssessmentFacts, how: Presentation, quantities: Mapping[str, str]
) -> Iterator[Line]:
    yield Line(label.MEASURED, "strong", 2)
    for phase in assessment.phases:
        yield Line(label.phase(how.instant(phase.start_s), how.instant(phase.end_s),
                               value_words.phase(phase.phase)), "faint", 4)
    others = [name for name, quantity in quantities.items() if none_of_a_speed(quantity)]
    together = measure_text.ANY_SPEED_LIMIT if others else measure_text.ANY_LIMIT
    for measure in assessment.measures:
        if not measure.limit and len(others) == len(quantities):
            continue  # There is none that it could be the smallest of.
        quantity = quantities.get(measure.limit, "")
        yield Line(measure_text.smallest(measure, how, quantity, together), "", 4)
    yield Line(measure_text.time_to_limit(assessment.shortest_time_to_limit, how), "", 4)
    for compared in assessment.checks:
        yield Line(check_text.check(compared, how), "", 4)
    for some, at_most in ((assessment.tolerances, ""), (assessment.widest, decisions.WIDEST)):
        for sensor, source, u in some:
            words, size = value_words.tolerance(sensor, u, how)
            origin = decisions.tolerance_source(source)
            yield Line(label.tolerance(words, size, origin, at_most), "faint", 4)
