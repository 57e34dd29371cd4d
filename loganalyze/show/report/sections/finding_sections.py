"""Sections of the verdict, the table of findings, and a panel per exceedance."""

from __future__ import annotations

import math
from functools import partial

from loganalyze.quantities.quantity_registry import none_of_a_speed
from loganalyze.results.assessment_results import (
    NOT_DISPLAYED,
    AssessedExceedance,
    Assurance,
    NearMiss,
)
from loganalyze.results.decisive_exceedance import on_basis
from loganalyze.show.figures.contribution_bars import contributions_figure
from loganalyze.show.figures.exceedance_figure import panel_figure, panel_span
from loganalyze.show.figures.margin_figure import overview_figure
from loganalyze.show.report.crew_view import crew_view
from loganalyze.show.report.instant_facts import instant_facts
from loganalyze.show.report.report_blocks import (
    Block,
    Bullets,
    ChartLink,
    Column,
    KeyValues,
    Link,
    Paragraph,
    Picture,
    Section,
    Stretch,
    Subheading,
    Table,
)
from loganalyze.show.report.report_subject import Subject
from loganalyze.text.facts import UNJUDGED, ExceedanceFacts
from loganalyze.text.language import contribution_text as causes
from loganalyze.text.language import (
    corroboration_text,
    quality_text,
    quantity_words,
    severity_text,
    value_words,
    warning_text,
)
from loganalyze.text.language import decision_text as decisions
from loganalyze.text.language import report_labels as label
from loganalyze.text.language import report_sentences as wording
from loganalyze.text.presentation import Presentation

PANELS = 8
"""How many exceedances get a panel, the worst first."""

def verdict(subject: Subject) -> tuple[Section, ...]:
    """Make the verdict: one or two sentences, then their qualifications."""
    facts, how = subject.facts, subject.how
    near = len(subject.assessment.near) if subject.assessment else 0
    lead = wording.verdict(facts, subject.all_assessed, near, how)
    notes = [wording.unjudged(facts)]
    if notes[0]:
        notes += quality_text.bounded(facts.quality.bounded_s, facts.quality.bounded_gaps)
    notes += quality_text.suspects(facts.quality.suspects, how)
    if facts.judged_s > 0:
        notes += quality_text.screened(facts.quality.airborne_s, facts.quality.screened_s)
    notes += [finding.sentence for finding in facts.taken if finding.code in UNJUDGED]
    if subject.assessment is None:
        notes.append(label.NOT_ASSESSED)
    if how.clock == "utc" and not how.in_utc:
        notes.append(label.NO_DATE)
    if how.deidentified:
        notes.append(label.DEIDENTIFIED)
    blocks: list[Block] = [Paragraph(lead, "lead")]
    blocks += [Paragraph(note) for note in notes if note]
    if len(subject.analysis.time) > 1:
        blocks.append(Picture("overview", partial(
            overview_figure, subject.analysis, how, subject.assessment),
            wording.glance_words(facts, how), label.OVERVIEW_CAPTION))
    return (Section("verdict", label.SECTIONS["verdict"], tuple(blocks)),)


def found(subject: Subject) -> tuple[Section, ...]:
    """Make the table of exceedances and near ones."""
    facts = subject.facts
    rows = [_row(subject, i, exceedance) for i, exceedance in enumerate(facts.exceedances)]
    near = subject.assessment.near if subject.assessment else ()
    rows += [_near_row(subject, near_miss) for near_miss in near]
    blocks: list[Block] = []
    if rows:
        names = ("number", "limit", "when", "worst", "long", "over", "sure", "phase", "altitude",
                 "severity", "why")
        basis = label.BASES["flown" if subject.how.reader == "maintenance" else "displayed"]
        columns = tuple(
            Column(label.COLUMNS[name].format(basis=basis),
                   name in ("worst", "altitude", "long", "over"), name == "number")
            for name in names)
        blocks.append(Table(label.FOUND_CAPTION, columns, tuple(rows)))
    else:
        blocks.append(Paragraph(
            label.ONLY_IN_DOUBT if facts.quality.suspects else label.NO_FINDING))
    if priors := _priors(subject):
        blocks.append(Paragraph(label.PRIORS.format(priors=wording.listed(priors)), "note"))
    blocks.append(Paragraph(_clock_note(subject), "note"))
    if _examples(subject):
        blocks.append(Paragraph(label.EXAMPLE_SEVERITY, "note"))
    return (Section("found", label.SECTIONS["found"], tuple(blocks)),)


def _priors(subject: Subject) -> list[str]:
    """Return the prior assumptions of the table's probabilities, each once."""
    assessment = subject.assessment
    assessed: tuple[AssessedExceedance | NearMiss, ...] = (
        (*assessment.exceedances, *assessment.near) if assessment else ())
    return list(dict.fromkeys(decisions.prior(event.flown) for event in assessed
                              if math.isfinite(event.flown.probability)))


def _clock_note(subject: Subject) -> str:
    if subject.how.in_utc:
        return label.TIMES_UTC.format(start=(subject.facts.start_utc or "")[:19].replace("T", " "))
    return label.TIMES_ELAPSED


def _examples(subject: Subject) -> bool:
    some = subject.assessment.exceedances if subject.assessment else ()
    return any(
        exceedance.severity is not None and exceedance.severity.example for exceedance in some
    )


def _row(subject: Subject, i: int, exceedance: ExceedanceFacts) -> tuple[str | Link, ...]:
    how, assessed = subject.how, subject.assessed(i)
    number = f"{i + 1}"
    shown = i in subject.worst_first[:PANELS]
    return (
        Link(number, _key(i)) if shown else number,
        exceedance.limit,
        _to_chart(subject, i, how.instant(exceedance.start_s)),
        value_words.over_by(how.exceeded_by(exceedance)),
        value_words.length(exceedance.duration_s),
        value_words.length(exceedance.time_over_s),
        (
            _sure(on_basis(assessed, how.basis), exceedance.quantity, how)
            if assessed
            else label.CELL_NOT_ASSESSED
        ),
        value_words.phase(assessed.phase) if assessed else label.CELL_NOT_ASSESSED,
        how.altitude(exceedance.worst_pressure_altitude_ft),
        _graded(assessed),
        causes.why(
            assessed.contributions if assessed else None, exceedance.began_by, exceedance.quantity
        ),
    )


def _graded(assessed: AssessedExceedance | None) -> str:
    """Return the severity in a cell, its shape before the word."""
    if assessed is None:
        return label.CELL_NOT_ASSESSED
    said = value_words.severity(assessed.severity)
    return said if assessed.severity is None else (
        f"{label.SEVERITY_SHAPES[assessed.severity.level]} {said}")


def _to_chart(subject: Subject, i: int, text: str) -> ChartLink:
    """Return a cell that leads to exceedance `i` in the chart."""
    exceedance = subject.analysis.exceedances[i]
    start, end = panel_span(subject.analysis, i, subject.assessment)
    return ChartLink(text, "glance", start_s=start, end_s=end, worst_s=exceedance.worst_time_s,
                     number=i + 1)


def _sure(assurance: Assurance, quantity: str, how: Presentation) -> str:
    """How sure it is, in a cell; with the basis where it isn't that of the column."""
    sentence = decisions.sure(assurance, quantity, how)
    basis = decisions.basis(assurance.basis)
    return sentence if basis == label.BASES[how.basis] else f"{basis} {sentence}"


def _near_row(subject: Subject, near_miss: NearMiss) -> tuple[str | Link, ...]:
    how = subject.how
    quantity = next(limit.quantity for limit in subject.analysis.sheet.limit
                    if limit.name == near_miss.limit)
    other = none_of_a_speed(quantity)
    basis = near_miss.flown if other or how.reader == "maintenance" else near_miss.displayed
    margin = how.published_band(near_miss.margin, quantity) if other else how.excess(
        near_miss.margin_kt, near_miss.margin if quantity in quantity_words.MACH_WORDS else None)
    return (
        label.CELL_NEAR,
        near_miss.limit,
        ChartLink(
            how.instant(near_miss.time_s),
            "glance",
            start_s=near_miss.start_s,
            end_s=near_miss.end_s,
            worst_s=near_miss.time_s,
        ),
        value_words.under_by(margin),
        value_words.length(near_miss.end_s - near_miss.start_s),
        label.CELL_NO_SEVERITY,
        _sure(basis, quantity, how),
        value_words.phase(near_miss.phase),
        how.altitude(near_miss.pressure_altitude_ft),
        label.CELL_NO_SEVERITY,
        causes.why(near_miss.contributions, "crossed", quantity),
    )


def _key(i: int) -> str:
    return f"exceedance-{i + 1}"


def panels(subject: Subject) -> tuple[Section, ...]:
    """Make each exceedance's own section, in order of time; of many, the worst ones."""
    drawn = sorted(subject.worst_first[:PANELS])
    return tuple(_panel(subject, i, len(drawn)) for i in drawn)


def _panel(subject: Subject, i: int, drawn: int) -> Section:
    facts, how = subject.facts, subject.how
    exceedance, assessed = facts.exceedances[i], subject.assessed(i)
    blocks: list[Block] = []
    if i == min(subject.worst_first[:PANELS]) and drawn < len(facts.exceedances):
        blocks.append(Paragraph(label.NO_PANEL.format(shown=drawn, all=len(facts.exceedances)),
                                "note"))
    blocks.append(Paragraph(wording.exceedance(exceedance, how)))
    start, end = panel_span(subject.analysis, i, subject.assessment)
    blocks.append(Stretch(start, end, exceedance.worst_time_s, i + 1))
    blocks.append(Picture(
        f"panel-{i + 1}", partial(panel_figure, subject.analysis, i, subject.assessment, how),
        wording.panel_words(exceedance, how),
        label.OWN_PANEL_CAPTION if none_of_a_speed(exceedance.quantity) else label.PANEL_CAPTION))
    blocks += crew_view(subject, i)
    if how.reader != "maintenance":
        blocks += _causes(subject, i, assessed)
        if exceedance.ended_by == "recovered":
            blocks.append(Paragraph(_recovery(subject, exceedance)))
    blocks.append(KeyValues(tuple(instant_facts(subject, exceedance, assessed))))
    if assessed is not None:
        blocks.append(_assurance(subject, exceedance, assessed))
        first = on_basis(assessed, how.basis)
        blocks += [Paragraph(owed, "note") for owed in (
            decisions.greatest(first, exceedance.quantity, how),
            decisions.noise_or_gusts(first, exceedance.quantity, how)) if owed]
        blocks.append(Paragraph(severity_text.severity(
            assessed.severity, bool(subject.analysis.sheet.severity), exceedance.quantity, how)))
        blocks += [
            Subheading(label.EVIDENCE_TITLE),
            Bullets(
                tuple(corroboration_text.corroboration(assessed.evidence, exceedance.quantity, how))
            ),
        ]
        if how.reader != "crew":
            blocks += _steps(subject, assessed, exceedance.quantity)
    return Section(
        _key(i), wording.exceedance_title(i + 1, exceedance, how), tuple(blocks), new_page=True
    )


def _causes(subject: Subject, i: int, assessed: AssessedExceedance | None) -> list[Block]:
    if assessed is None:
        return []
    found, how = subject.facts.exceedances[i], subject.how
    blocks: list[Block] = [Subheading(label.WHY_TITLE)]
    if other := none_of_a_speed(found.quantity):
        return [*blocks, Paragraph(quantity_words.no_causes(other))]
    sentences = [*causes.explained(found, assessed, how), ""]
    for name, sentence, contributions, caption in (
            ("contributions", sentences[0], causes.known(assessed.contributions),
             label.CONTRIBUTIONS_CAPTION),
            ("worsening", sentences[1], causes.known(assessed.worsening),
             label.WORSENING_CAPTION)):
        if sentence:
            blocks.append(Paragraph(sentence))
        if contributions is not None:
            blocks.append(
                Picture(
                    f"{name}-{i + 1}",
                    partial(contributions_figure, contributions, how),
                    sentence,
                    caption,
                )
            )
    return blocks


def _recovery(subject: Subject, exceedance: ExceedanceFacts) -> str:
    def change(name: str) -> float:
        return subject.column_at(name, exceedance.end_s) - subject.column_at(
            name, exceedance.worst_time_s
        )

    still = causes.still_over(exceedance, subject.facts.exceedances)
    if none_of_a_speed(exceedance.quantity):
        nothing = float("nan")
        return causes.recovery(exceedance, still, nothing, change("pressure_altitude_ft"), nothing,
                               subject.how)
    return causes.recovery(exceedance, still,
                         change("calibrated_airspeed_kt"), change("pressure_altitude_ft"),
                         change("limit_airspeed_kt"), subject.how)


def _assurance(
    subject: Subject, exceedance: ExceedanceFacts, assessed: AssessedExceedance
) -> Table:
    how = subject.how
    bases = tuple((name, sure) for name, sure in (
        ("displayed", assessed.displayed), ("flown", assessed.flown))
        if sure.reason != NOT_DISPLAYED)
    if how.reader == "maintenance":
        bases = bases[::-1]
    rows = tuple((
        label.BASES[name], decisions.side(sure.excess, exceedance.quantity, how),
        decisions.between(sure.low, sure.high, exceedance.quantity, how),
        decisions.chance(sure), decisions.with_reason(sure),
        decisions.between(sure.widest.low, sure.widest.high, exceedance.quantity, how) + ", "
        + decisions.outcome(sure.widest.word) if sure.widest else label.NO_BOUND,
    ) for name, sure in bases)
    columns = tuple(Column(label.COLUMNS[name], name in ("excess", "odds"), name == "basis")
                    for name in ("basis", "excess", "interval", "odds", "word", "bound"))
    return Table(label.ASSURANCE_CAPTION.format(
        limit=exceedance.limit, coverage=decisions.coverage(assessed.flown),
        prior=decisions.prior(assessed.flown)), columns, rows)


def _steps(subject: Subject, assessed: AssessedExceedance, quantity: str) -> list[Block]:
    how = subject.how
    own = [(how.own_step(step, quantity), time) for step, time in assessed.ladder
           if step > 0 or how.reader == "maintenance"]
    if how.reader != "maintenance":
        beyond = [pair for pair in assessed.ladder_kt if pair[0] != 0]
        return [Paragraph(severity_text.ladder(beyond, assessed.ladder_mach, how.speed, own))]
    rows = [(how.speed(step), value_words.length(time)) for step, time in assessed.ladder_kt]
    rows += [(how.published(step, "mach"), value_words.length(time))
             for step, time in assessed.ladder_mach]
    rows += [(step, value_words.length(time)) for step, time in own]
    if not rows:
        return [Paragraph(label.NO_LADDER, "note")]
    columns = (Column(label.COLUMNS["step"], heads_row=True),
               Column(label.COLUMNS["time"], numeric=True))
    reached = severity_text.reached(
        assessed.ladder_probability_kt, assessed.ladder_probability_mach, how.speed,
        [(how.own_step(step, quantity), share)
         for step, share in assessed.ladder_probability if step > 0])
    return [Table(label.LADDER_CAPTION, columns, tuple(rows)),
            *([Paragraph(reached)] if reached else [])]


def ladder(subject: Subject) -> tuple[Section, ...]:
    """Make the worst excess with its interval, for those who decide on an inspection."""
    worst = subject.worst
    if worst is None:
        return ()
    assessed = subject.assessed(subject.worst_first[0])
    how = subject.how
    pairs = [(label.INSTANT["worst"], f"{worst.limit}, "
              + value_words.over_by(how.exceeded_by(worst)))]
    if assessed is not None:
        pairs.append((label.INSTANT["interval"],
                      decisions.span(assessed.flown, worst.quantity, how)))
    pairs.append((label.INSTANT["over_all"],
                  value_words.length(subject.facts.time_over_s)))
    blocks: list[Block] = [KeyValues(tuple(pairs))]
    greater = wording.greater_readings(subject.facts.exceedances, subject.all_assessed,
                                    subject.worst_first[0], how)
    if greater:
        blocks.append(Paragraph(greater))
    return (Section("worst", label.SECTIONS["worst"], tuple(blocks)),)


def warning(subject: Subject) -> tuple[Section, ...]:
    """Make the section on how the overspeed warning behaved."""
    blocks: tuple[Block, ...]
    if "overspeed_warning" not in subject.analysis.log:
        blocks = (Paragraph(label.NO_WARNING),)
    elif subject.assessment is None:
        blocks = (Paragraph(label.NOT_ASSESSED),)
    elif not subject.assessment.warnings:
        blocks = (Paragraph(label.WARNING_SOUND),)
    else:
        how = subject.how
        blocks = (Bullets(tuple(warning_text.warning(finding, how.instant, how.speed)
                                for finding in subject.assessment.warnings)),)
    return (Section("warning", label.SECTIONS["warning"], blocks, on_paper=bool(
        subject.assessment and subject.assessment.warnings)),)
