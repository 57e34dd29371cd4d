"""What is printed about a log: lines that read well at 80 columns, with and without colour."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from loganalyze.quantities.quantity_registry import none_of_a_speed
from loganalyze.results.assessment_results import (
    NOT_DISPLAYED,
    AssessedExceedance,
    Assurance,
    NearMiss,
)
from loganalyze.results.decisive_exceedance import decisive_first, on_basis
from loganalyze.sheets.evaluation_settings import DEFAULTS
from loganalyze.text.facts import UNJUDGED, AssessmentFacts, ExceedanceFacts, FlightFacts, Summary
from loganalyze.text.language import assurance_text as sure
from loganalyze.text.language import (
    ceiling_sentences,
    check_text,
    corroboration_text,
    measure_text,
    number_format,
    phase_labels,
    quality_text,
    severity_text,
    verdict_sentences,
    warning_text,
)
from loganalyze.text.language import contribution_text as causes
from loganalyze.text.language import decision_text as decisions
from loganalyze.text.language import report_sentences as wording
from loganalyze.text.language import terminal_labels as label
from loganalyze.text.presentation import Presentation

Tone = Literal["", "strong", "over", "faint"]
Level = Literal["quiet", "normal", "verbose"]
WIDTH = 80


@dataclass(frozen=True, slots=True)
class Line:
    """One line of text, how it is meant, and how far it stands in; ``hang`` : what leads it."""

    text: str
    tone: Tone = ""
    indent: int = 0
    hang: str = ""

    def wrapped(self, width: int = WIDTH) -> str:
        """Return the line within `width` columns."""
        lead = " " * self.indent + self.hang
        return textwrap.fill(self.text, max(width, len(lead) + 20), initial_indent=lead,
                             subsequent_indent=" " * len(lead), break_long_words=False,
                             break_on_hyphens=False)


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
        One line a flight; the verdict with its reasons; or all that was measured, too.
    """
    several = len(summary.flights) > 1
    if level == "quiet":
        return [Line(f"{name}: " + (label.flight(one.flight, one.files) + ", " if several else "")
                     + " ".join(filter(None, (
                         _headline(one, how.timed(one.start_s, one.start_utc)),
                         *_never_judged(one), *_unjudged(one)))),
                     _tone(one)) for one in summary.flights]
    quantities = {limit.name: limit.quantity for limit in summary.limits}
    lines = [Line(label.judged(name, limits, summary.aircraft), "strong")]
    for one in summary.flights:
        lines.append(Line(""))
        if several:
            lines.append(
                Line(number_format.sentence_case(label.flight(one.flight, one.files)), "strong")
            )
        lines += _flight_lines(one, how.timed(one.start_s, one.start_utc), level, quantities)
    lines += [Line(""), Line(label.TAKEN_AS, "faint")]
    lines += [Line(one, "faint", 2) for one in verdict_sentences.recognised(summary)]
    shown = {name: value for name, value in summary.settings.items()
             if level == "verbose" or value != DEFAULTS.get(name)}
    if shown:
        lines.append(Line(label.thresholds(verdict_sentences.thresholds(shown)), "faint"))
    return lines


def _tone(one: FlightFacts) -> Tone:
    return "over" if one.exceedances else "strong"


def _headline(one: FlightFacts, how: Presentation) -> str:
    near = one.assessment.near if one.assessment else ()
    return wording.verdict(one, _assessed(one), len(near), how)


def _assessed(one: FlightFacts) -> Sequence[AssessedExceedance]:
    return one.assessment.exceedances if one.assessment else ()


def _flight_lines(
    one: FlightFacts, how: Presentation, level: Level, quantities: Mapping[str, str]
) -> Iterator[Line]:
    yield Line(_headline(one, how), _tone(one))
    assessed = one.assessment.exceedances if one.assessment else (None,) * len(one.exceedances)
    worst = decisive_first([found.worst_excess_kt for found in one.exceedances], _assessed(one),
                           how.basis)
    for i in sorted(worst[:verdict_sentences.LISTED]):
        yield from _exceedance_lines(i, one.exceedances[i], assessed[i], how, level)
    if len(worst) > verdict_sentences.LISTED:
        yield Line(
            verdict_sentences.others(len(worst) - verdict_sentences.LISTED, _assessed(one)), "", 2
        )
    for near in _worst_near(one.assessment):
        yield from _near_lines(near, quantities[near.limit], how)
    if _flat(one.assessment):
        yield Line(label.PRIOR.format(prior=decisions.EQUALLY), "", 2)
    more = len(one.assessment.near) - verdict_sentences.LISTED if one.assessment else 0
    if more > 0:
        yield Line(label.fewer_near(more), "", 2)
    for note in (*_doubts(one, how), *(
            found.sentence for found in one.taken if found.code in UNJUDGED)):
        yield Line(note, "", 2)
    if one.assessment:
        for finding in one.assessment.warnings:
            yield Line(warning_text.warning(finding, how.instant, how.speed), "", 2)
        if level == "verbose":
            yield from _measured(one.assessment, how, quantities)
    for ceiling in one.ceilings:
        yield Line(ceiling_sentences.ceiling(ceiling, how), "", 2)


def _unjudged(one: FlightFacts) -> Iterator[str]:
    """What couldn't be judged, and which limits count as not judged for it."""
    if one.outcome != "not judged" and (little := verdict_sentences.judged_too_little(one)):
        yield little
    if unjudged := wording.unjudged(one):
        yield unjudged


def _never_judged(one: FlightFacts) -> Iterator[str]:
    """Why limits could not be judged, where the headline doesn't name them."""
    if one.exceedances or one.judged_s <= 0:
        yield from (found.sentence for found in one.taken if found.code in UNJUDGED)


def _doubts(one: FlightFacts, how: Presentation) -> Iterator[str]:
    """What couldn't be judged, what wasn't counted, and what was screened out."""
    yield from _unjudged(one)
    if wording.unjudged(one):
        yield from quality_text.bounded(one.quality.bounded_s, one.quality.bounded_gaps)
    yield from quality_text.suspects(one.quality.suspects, how)
    if one.judged_s > 0:
        yield from quality_text.screened(one.quality.airborne_s, one.quality.screened_s)


def _exceedance_lines(
    i: int, one: ExceedanceFacts, assessed: AssessedExceedance | None, how: Presentation,
    level: Level,
) -> Iterator[Line]:
    phase = phase_labels.while_in(assessed.phase) if assessed else ""
    yield Line(label.title(one.limit, phase), "strong", 2, f"{i + 1}  ")
    pointer = one.worst_limit_pointer_kt
    yield Line(wording.exceedance(one, how)
               + (f" {label.pointer(how.speed(pointer, 'indicated_airspeed'))}"
                  if pointer is not None else ""), "", 5)
    if assessed is None:
        return
    yield from _sure(assessed.displayed, assessed.flown, one.quantity, how)
    noise = decisions.noise_or_gusts(on_basis(assessed, "displayed"), one.quantity, how)
    if noise:
        yield Line(noise, "", 5)
    for reason in corroboration_text.decisive(assessed.evidence, one.quantity, how):
        yield Line(reason, "", 5)
    for sentence in causes.explained(one, assessed, how):
        yield Line(sentence, "", 5)
    if assessed.severity is not None:
        yield Line(severity_text.severity(
            assessed.severity, True, one.quantity, how), "", 5)
    if level == "verbose":
        for basis in (assessed.displayed, assessed.flown):
            owed = decisions.greatest(basis, one.quantity, how)
            if owed:
                yield Line(owed, "faint", 5)
        decided = corroboration_text.decisive(assessed.evidence, one.quantity, how)
        for evidence in corroboration_text.corroboration(assessed.evidence, one.quantity, how):
            if evidence not in decided:
                yield Line(evidence, "faint", 5)
        own, likely = (
            [(how.own_step(step, one.quantity), value) for step, value in steps]
            for steps in (assessed.ladder, assessed.ladder_probability[1:]))
        yield Line(severity_text.ladder(assessed.ladder_kt, assessed.ladder_mach, how.step, own),
                   "faint", 5)
        if reached := severity_text.reached(
                assessed.ladder_probability_kt, assessed.ladder_probability_mach, how.step, likely):
            yield Line(reached, "faint", 5)
        yield Line(sure.missed_peak(assessed.missed_peak, one.quantity, how.speed), "faint", 5)


def _sure(
    displayed: Assurance, flown: Assurance, quantity: str, how: Presentation
) -> Iterator[Line]:
    bases = (flown, displayed) if how.reader == "maintenance" else (displayed, flown)
    for basis in (one for one in bases if one.reason != NOT_DISPLAYED):
        yield Line(" ".join(filter(None, (decisions.likely(basis, quantity, how),
                                          decisions.widest(basis, quantity, how)))), "", 5)


def _flat(one: AssessmentFacts | None) -> bool:
    """Whether any probability assumes no more than the flat prior."""
    assessed: tuple[AssessedExceedance | NearMiss, ...] = (
        (*one.exceedances, *one.near) if one else ())
    return any(basis.prior == "flat" and math.isfinite(basis.probability)
               for each in assessed for basis in (each.displayed, each.flown))


def _worst_near(one: AssessmentFacts | None) -> Sequence[NearMiss]:
    """The near ones that were most likely over, in the order of time."""
    if one is None:
        return ()
    likely = sorted(one.near, key=lambda near: -_known(near.flown.probability))
    return sorted(likely[:verdict_sentences.LISTED], key=lambda near: near.time_s)


def _known(value: float) -> float:
    return value if math.isfinite(value) else 0.0


def _near_lines(one: NearMiss, quantity: str, how: Presentation) -> Iterator[Line]:
    yield Line(label.near(one.limit, how.instant(one.time_s),
                          how.altitude(one.pressure_altitude_ft),
                          how.published_band(one.margin, quantity)
                          if none_of_a_speed(quantity) else how.speed(one.margin_kt),
                          phase_labels.while_in(one.phase)), "", 2, "-  ")
    yield from _sure(one.displayed, one.flown, quantity, how)


def _measured(
    one: AssessmentFacts, how: Presentation, quantities: Mapping[str, str]
) -> Iterator[Line]:
    yield Line(label.MEASURED, "strong", 2)
    for phase in one.phases:
        yield Line(label.phase(how.instant(phase.start_s), how.instant(phase.end_s),
                               wording.phase(phase.phase)), "faint", 4)
    others = [name for name, quantity in quantities.items() if none_of_a_speed(quantity)]
    together = measure_text.ANY_SPEED_LIMIT if others else measure_text.ANY_LIMIT
    for measure in one.measures:
        if not measure.limit and len(others) == len(quantities):
            continue  # There is none that it could be the smallest of.
        quantity = quantities.get(measure.limit, "")
        yield Line(measure_text.smallest(measure, how, quantity, together), "", 4)
    yield Line(measure_text.time_to_limit(one.shortest_time_to_limit, how), "", 4)
    for compared in one.checks:
        yield Line(check_text.check(compared, how), "", 4)
    for some, at_most in ((one.tolerances, ""), (one.widest, decisions.WIDEST)):
        for sensor, source, u in some:
            words, size = wording.tolerance(sensor, u, how)
            yield Line(label.tolerance(words, size, source, at_most), "faint", 4)
