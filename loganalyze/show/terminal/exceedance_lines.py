"""Terminal output on exceedances: a table, a few sentences on each, or all details."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from loganalyze.results.assessment_results import NOT_DISPLAYED, AssessedExceedance, Assurance
from loganalyze.results.decisive_exceedance import on_basis
from loganalyze.show.terminal.printed_line import WIDTH, Line
from loganalyze.text.facts import ExceedanceFacts
from loganalyze.text.language import assurance_text as sure
from loganalyze.text.language import contribution_text as causes
from loganalyze.text.language import (
    corroboration_text,
    phase_labels,
    severity_text,
    value_words,
)
from loganalyze.text.language import decision_text as decisions
from loganalyze.text.language import report_sentences as wording
from loganalyze.text.language import terminal_labels as label
from loganalyze.text.presentation import Presentation

Assessed = AssessedExceedance | None


def exceedance_rows(
    found: Sequence[ExceedanceFacts], assessed: Sequence[Assessed], how: Presentation
) -> Iterator[Line]:
    """Give the table of exceedances; a sentence each where it would be too wide."""
    rows = [(f"{exceedance.number}", exceedance.limit, how.instant(exceedance.start_s),
             value_words.length(exceedance.duration_s), value_words.length(exceedance.time_over_s),
             how.exceeded_by(exceedance),
             severity_text.LEVELS[assessment.severity.level]
             if assessment and assessment.severity else label.NONE)
            for exceedance, assessment in zip(found, assessed, strict=True)]
    widths = [max(map(len, column)) for column in zip(label.HEADING, *rows, strict=True)]
    if sum(widths) + 2 * len(widths) > WIDTH:
        for number, *cells in rows:
            yield Line(label.row(cells), "", 2, f"{number}  ")
        return
    for row in (label.HEADING, *rows):
        yield Line("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True))
                   .rstrip(), "faint" if row is label.HEADING else "", 2, row=True)


def short_lines(
    exceedance: ExceedanceFacts, assessed: Assessed, how: Presentation
) -> Iterator[Line]:
    """Yield the cause, the certainty, and the evidence against an exceedance, a sentence each."""
    if assessed is None:
        return
    yield Line(causes.explained(exceedance, assessed, how)[0], "", 2, f"{exceedance.number}  ")
    yield Line(decisions.shortly(on_basis(assessed, how.basis), exceedance.quantity, how), "", 5)
    for reason in corroboration_text.decisive(assessed.evidence, exceedance.quantity, how):
        yield Line(reason, "", 5)


def severities(
    found: Sequence[ExceedanceFacts], assessed: Sequence[Assessed], how: Presentation
) -> str:
    """Return the rules that the levels come from, in a line; empty where none is met."""
    rated = [
        (exceedance, assessment.severity)
        for exceedance, assessment in zip(found, assessed, strict=True)
        if assessment and assessment.severity
    ]
    rules: dict[str, list[str]] = {}
    for exceedance, rating in rated:
        rules.setdefault(rating.rule, []).append(label.numbered(
            exceedance.number, severity_text.level(rating),
            severity_text.asked(rating, exceedance.quantity, how)))
    return label.severities(rules, any(rating.example for _, rating in rated))


def whole_lines(
    exceedance: ExceedanceFacts, assessed: Assessed, how: Presentation
) -> Iterator[Line]:
    """Give all that is known of an exceedance."""
    phase = phase_labels.while_in(assessed.phase) if assessed else ""
    yield Line(label.title(exceedance.limit, phase), "strong", 2, f"{exceedance.number}  ")
    pointer = exceedance.worst_limit_pointer_kt
    yield Line(wording.exceedance(exceedance, how)
               + (f" {label.pointer(how.speed(pointer, 'indicated_airspeed'))}"
                  if pointer is not None else ""), "", 5)
    if assessed is None:
        return
    yield from how_sure(assessed.displayed, assessed.flown, exceedance.quantity, how)
    noise = decisions.noise_or_gusts(on_basis(assessed, "displayed"), exceedance.quantity, how)
    if noise:
        yield Line(noise, "", 5)
    decided = corroboration_text.decisive(assessed.evidence, exceedance.quantity, how)
    for sentence in (*decided, *causes.explained(exceedance, assessed, how)):
        yield Line(sentence, "", 5)
    if assessed.severity is not None:
        yield Line(severity_text.severity(assessed.severity, True, exceedance.quantity, how), "", 5)
    for basis in (assessed.displayed, assessed.flown):
        owed = decisions.greatest(basis, exceedance.quantity, how)
        if owed:
            yield Line(owed, "faint", 5)
    for evidence in corroboration_text.corroboration(assessed.evidence, exceedance.quantity, how):
        if evidence not in decided:
            yield Line(evidence, "faint", 5)
    own, likely = (
        [(how.own_step(step, exceedance.quantity) if step else "", value) for step, value in steps]
        for steps in (assessed.ladder, assessed.ladder_probability[1:]))
    yield Line(severity_text.ladder(assessed.ladder_kt, assessed.ladder_mach, how.step, own),
               "faint", 5)
    if reached := severity_text.reached(
            assessed.ladder_probability_kt, assessed.ladder_probability_mach, how.step, likely):
        yield Line(reached, "faint", 5)
    yield Line(sure.missed_peak(assessed.missed_peak, exceedance.quantity, how.speed), "faint", 5)


def how_sure(
    displayed: Assurance, flown: Assurance, quantity: str, how: Presentation, whole: bool = True
) -> Iterator[Line]:
    """Give how sure an excess is: on both bases with their bounds, or on the reader's alone."""
    bases = (flown, displayed) if how.reader == "maintenance" else (displayed, flown)
    known = [assurance for assurance in bases if assurance.reason != NOT_DISPLAYED]
    if not whole:
        yield Line(decisions.shortly(known[0], quantity, how), "", 5)
        return
    for basis in known:
        yield Line(" ".join(filter(None, (
            decisions.likely(basis, quantity, how),
            decisions.widest(basis, quantity, how)))), "", 5)
