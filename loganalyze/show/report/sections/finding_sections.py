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
    notes += [one.sentence for one in facts.taken if one.code in UNJUDGED]
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
    rows = [_row(subject, i, one) for i, one in enumerate(facts.exceedances)]
    near = subject.assessment.near if subject.assessment else ()
    rows += [_near_row(subject, one) for one in near]
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
    return list(dict.fromkeys(decisions.prior(one.flown) for one in assessed
                              if math.isfinite(one.flown.probability)))


def _clock_note(subject: Subject) -> str:
    if subject.how.in_utc:
        return label.TIMES_UTC.format(start=(subject.facts.start_utc or "")[:19].replace("T", " "))
    return label.TIMES_ELAPSED


def _examples(subject: Subject) -> bool:
    some = subject.assessment.exceedances if subject.assessment else ()
    return any(one.severity is not None and one.severity.example for one in some)


def _row(subject: Subject, i: int, one: ExceedanceFacts) -> tuple[str | Link, ...]:
    how, assessed = subject.how, subject.assessed(i)
    number = f"{i + 1}"
    shown = i in subject.worst_first[:PANELS]
    return (
        Link(number, _key(i)) if shown else number,
        one.limit,
        _to_chart(subject, i, how.instant(one.start_s)),
        value_words.over_by(how.exceeded_by(one)),
        value_words.length(one.duration_s),
        value_words.length(one.time_over_s),
        (_sure(on_basis(assessed, how.basis), one.quantity, how) if assessed
         else label.CELL_NOT_ASSESSED),
        value_words.phase(assessed.phase) if assessed else label.CELL_NOT_ASSESSED,
        how.altitude(one.worst_pressure_altitude_ft),
        _graded(assessed),
        causes.why(assessed.contributions if assessed else None, one.began_by, one.quantity),
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
    one = subject.analysis.exceedances[i]
    start, end = panel_span(subject.analysis, i, subject.assessment)
    return ChartLink(text, "glance", start_s=start, end_s=end, worst_s=one.worst_time_s,
                     number=i + 1)


def _sure(one: Assurance, quantity: str, how: Presentation) -> str:
    """How sure it is, in a cell; with the basis where it isn't that of the column."""
    sentence = decisions.sure(one, quantity, how)
    basis = decisions.basis(one.basis)
    return sentence if basis == label.BASES[how.basis] else f"{basis} {sentence}"


def _near_row(subject: Subject, one: NearMiss) -> tuple[str | Link, ...]:
    how = subject.how
    quantity = next(limit.quantity for limit in subject.analysis.sheet.limit
                    if limit.name == one.limit)
    other = none_of_a_speed(quantity)
    basis = one.flown if other or how.reader == "maintenance" else one.displayed
    margin = how.published_band(one.margin, quantity) if other else how.excess(
        one.margin_kt, one.margin if quantity in quantity_words.MACH_WORDS else None)
    return (
        label.CELL_NEAR, one.limit, ChartLink(
            how.instant(one.time_s), "glance", start_s=one.start_s, end_s=one.end_s,
            worst_s=one.time_s),
        value_words.under_by(margin),
        value_words.length(one.end_s - one.start_s), label.CELL_NO_SEVERITY,
        _sure(basis, quantity, how),
        value_words.phase(one.phase),
        how.altitude(one.pressure_altitude_ft), label.CELL_NO_SEVERITY,
        causes.why(one.contributions, "crossed", quantity),
    )


def _key(i: int) -> str:
    return f"exceedance-{i + 1}"


def panels(subject: Subject) -> tuple[Section, ...]:
    """Make each exceedance's own section, in order of time; of many, the worst ones."""
    drawn = sorted(subject.worst_first[:PANELS])
    return tuple(_panel(subject, i, len(drawn)) for i in drawn)


def _panel(subject: Subject, i: int, drawn: int) -> Section:
    facts, how = subject.facts, subject.how
    one, assessed = facts.exceedances[i], subject.assessed(i)
    blocks: list[Block] = []
    if i == min(subject.worst_first[:PANELS]) and drawn < len(facts.exceedances):
        blocks.append(Paragraph(label.NO_PANEL.format(shown=drawn, all=len(facts.exceedances)),
                                "note"))
    blocks.append(Paragraph(wording.exceedance(one, how)))
    start, end = panel_span(subject.analysis, i, subject.assessment)
    blocks.append(Stretch(start, end, one.worst_time_s, i + 1))
    blocks.append(Picture(
        f"panel-{i + 1}", partial(panel_figure, subject.analysis, i, subject.assessment, how),
        wording.panel_words(one, how),
        label.OWN_PANEL_CAPTION if none_of_a_speed(one.quantity) else label.PANEL_CAPTION))
    blocks += crew_view(subject, i)
    if how.reader != "maintenance":
        blocks += _causes(subject, i, assessed)
        if one.ended_by == "recovered":
            blocks.append(Paragraph(_recovery(subject, one)))
    blocks.append(KeyValues(tuple(instant_facts(subject, one, assessed))))
    if assessed is not None:
        blocks.append(_assurance(subject, one, assessed))
        first = on_basis(assessed, how.basis)
        blocks += [Paragraph(owed, "note") for owed in (
            decisions.greatest(first, one.quantity, how),
            decisions.noise_or_gusts(first, one.quantity, how)) if owed]
        blocks.append(Paragraph(severity_text.severity(
            assessed.severity, bool(subject.analysis.sheet.severity), one.quantity, how)))
        blocks += [Subheading(label.EVIDENCE_TITLE),
                   Bullets(tuple(
                       corroboration_text.corroboration(assessed.evidence, one.quantity, how)))]
        if how.reader != "crew":
            blocks += _steps(subject, assessed, one.quantity)
    return Section(_key(i), wording.exceedance_title(i + 1, one, how), tuple(blocks), new_page=True)


def _causes(subject: Subject, i: int, assessed: AssessedExceedance | None) -> list[Block]:
    if assessed is None:
        return []
    found, how = subject.facts.exceedances[i], subject.how
    blocks: list[Block] = [Subheading(label.WHY_TITLE)]
    if other := none_of_a_speed(found.quantity):
        return [*blocks, Paragraph(quantity_words.no_causes(other))]
    sentences = [*causes.explained(found, assessed, how), ""]
    for name, sentence, one, caption in (
            ("contributions", sentences[0], causes.known(assessed.contributions),
             label.CONTRIBUTIONS_CAPTION),
            ("worsening", sentences[1], causes.known(assessed.worsening),
             label.WORSENING_CAPTION)):
        if sentence:
            blocks.append(Paragraph(sentence))
        if one is not None:
            blocks.append(Picture(f"{name}-{i + 1}", partial(contributions_figure, one, how),
                                  sentence, caption))
    return blocks


def _recovery(subject: Subject, one: ExceedanceFacts) -> str:
    def change(name: str) -> float:
        return (subject.column_at(name, one.end_s) - subject.column_at(name, one.worst_time_s))

    still = causes.still_over(one, subject.facts.exceedances)
    if none_of_a_speed(one.quantity):
        nothing = float("nan")
        return causes.recovery(one, still, nothing, change("pressure_altitude_ft"), nothing,
                               subject.how)
    return causes.recovery(one, still,
                         change("calibrated_airspeed_kt"), change("pressure_altitude_ft"),
                         change("limit_airspeed_kt"), subject.how)


def _assurance(subject: Subject, one: ExceedanceFacts, assessed: AssessedExceedance) -> Table:
    how = subject.how
    bases = tuple((name, sure) for name, sure in (
        ("displayed", assessed.displayed), ("flown", assessed.flown))
        if sure.reason != NOT_DISPLAYED)
    if how.reader == "maintenance":
        bases = bases[::-1]
    rows = tuple((
        label.BASES[name], decisions.side(sure.excess, one.quantity, how),
        decisions.between(sure.low, sure.high, one.quantity, how),
        decisions.chance(sure), decisions.with_reason(sure),
        decisions.between(sure.widest.low, sure.widest.high, one.quantity, how) + ", "
        + decisions.outcome(sure.widest.word) if sure.widest else label.NO_BOUND,
    ) for name, sure in bases)
    columns = tuple(Column(label.COLUMNS[name], name in ("excess", "odds"), name == "basis")
                    for name in ("basis", "excess", "interval", "odds", "word", "bound"))
    return Table(label.ASSURANCE_CAPTION.format(
        limit=one.limit, coverage=decisions.coverage(assessed.flown),
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
        blocks = (Bullets(tuple(warning_text.warning(one, how.instant, how.speed)
                                for one in subject.assessment.warnings)),)
    return (Section("warning", label.SECTIONS["warning"], blocks, on_paper=bool(
        subject.assessment and subject.assessment.warnings)),)
