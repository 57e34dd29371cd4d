"""The evidence: the flight at a glance, margins, the envelope, quality, method and cautions."""

from __future__ import annotations

from functools import partial
from typing import Any

from loganalyze.events.analysis import Analysis
from loganalyze.record.findings import Finding
from loganalyze.results.assessment_results import LimitMeasure
from loganalyze.show.figures.margin_figure import margin_figure
from loganalyze.show.figures.margin_histogram import histogram_figure
from loganalyze.show.report.report_blocks import (
    Block,
    Bullets,
    Caution,
    Chart,
    Column,
    KeyValues,
    Link,
    Paragraph,
    Picture,
    Section,
    Subheading,
    Table,
)
from loganalyze.show.report.report_subject import Subject
from loganalyze.text.facts import FlightFacts, SmallestFacts
from loganalyze.text.language import (
    assurance_text,
    check_text,
    decision_text,
    finding_text,
    number_format,
    quantity_words,
    reading_text,
    recording_text,
    step_labels,
    value_words,
)
from loganalyze.text.language import report_labels as label
from loganalyze.text.language import report_sentences as wording

Row = tuple[str | Link, ...]


def _columns(heading: str, *numeric: str, text: tuple[str, ...] = ()) -> tuple[Column, ...]:
    return (Column(label.COLUMNS[heading], heads_row=True),
            *(Column(label.COLUMNS[name], numeric=True) for name in numeric),
            *(Column(label.COLUMNS[name]) for name in text))


def glance(subject: Subject) -> tuple[Section, ...]:
    """Make the flight at a glance: its key facts, and the chart."""
    facts, how = subject.facts, subject.how
    pairs = list(_key_facts(subject, facts))
    picture = Picture(
        "flight", partial(margin_figure, subject.analysis, how, subject.assessment,
                          alone=False),
        wording.glance_words(facts, how), label.GLANCE_CAPTION)
    return (Section("glance", label.SECTIONS["glance"], (
        KeyValues(tuple(pairs)),
        Chart(subject.analysis, subject.assessment, how, picture)), new_page=True),)


def _key_facts(subject: Subject, facts: FlightFacts) -> list[tuple[str, str]]:
    how = subject.how
    pairs = [(label.KEY["aircraft"], subject.aircraft)]
    if facts.start_utc and not how.deidentified:
        pairs.append((label.KEY["start"], facts.start_utc[:19].replace("T", " ") + " UTC"))
    pairs += [(label.KEY["recorded"], value_words.length(facts.recorded_s)),
              (label.KEY["judged"], value_words.length(facts.judged_s)),
              (label.KEY["unknown"], value_words.length(facts.unknown_s)),
              (label.KEY["sampling"], value_words.sampling(facts.samples, facts.interval_s))]
    assessment = subject.assessment
    if assessment is None:
        return pairs
    pairs += [(label.KEY["highest_cas"], how.speed(assessment.highest_calibrated_airspeed_kt,
                                                  "calibrated_airspeed")),
              (label.KEY["highest_mach"], how.published(assessment.highest_mach, "mach"))]
    nearest = assessment.shortest_time_to_limit
    if nearest is not None and how.reader != "maintenance":
        pairs.append((label.KEY["time_to_limit"], wording.time_to_limit(nearest, how)))
    return pairs


def margins(subject: Subject) -> tuple[Section, ...]:
    """Make the smallest margins by limit and phase, and how the margin was spread."""
    blocks: list[Block] = []
    by_limit = {measure.limit: measure for measure in subject.assessment.measures} if (
        subject.assessment) else {}
    smallest = subject.facts.smallest_margins
    rows = tuple(_margin_row(subject, margin, by_limit.get(margin.limit or ""))
                 for margin in smallest if margin.known)
    never = [margin.limit for margin in smallest if not margin.known and margin.limit]
    speeds = _speeds_only(subject)
    blocks.append(Table(label.MARGINS_CAPTION if speeds else label.OWN_MARGINS_CAPTION, _columns(
        "limit", "margin", "in_mach", "limit_speed", "altitude", "when",
        text=("phase", "within")), rows))
    if never:
        blocks.append(Paragraph(label.NOT_MET.format(limits=wording.listed(never)), "note"))
    blocks += _by_phase(subject)
    together = by_limit.get("")
    if together is None or not together.histogram:
        blocks.append(Paragraph(label.NO_HISTOGRAM, "note"))
    else:
        blocks.append(Picture("histogram", partial(histogram_figure, together, subject.how),
                              wording.histogram_words(together.within_s, subject.how),
                              label.HISTOGRAM_CAPTION))
    return (Section("margins", label.SECTIONS["margins"], tuple(blocks), on_paper=False),)


def _speeds_only(subject: Subject) -> bool:
    return all(limit.kind.is_speed for limit in subject.analysis.sheet.limit)


def _margin_row(subject: Subject, smallest: SmallestFacts, measure: LimitMeasure | None) -> Row:
    how = subject.how
    quantity = next((limit.quantity for limit in subject.analysis.sheet.limit
                     if limit.name == smallest.limit), "calibrated_airspeed")
    within = [value_words.within(time, band, quantity, how) for band, time in measure.within_s] if (
        measure) else []
    return (
        smallest.limit or (label.ALL_LIMITS if _speeds_only(subject) else label.ALL_SPEED_LIMITS),
        wording.closest(smallest, how),
        decision_text.side(-smallest.margin_mach, "mach", how)
        if smallest.margin_mach is not None
        else "",
        how.speed(smallest.limit_airspeed_kt) if smallest.quantity is None else "",
        how.altitude(smallest.pressure_altitude_ft),
        how.instant(smallest.time_s),
        value_words.phase(measure.phase) if measure else label.CELL_NOT_ASSESSED,
        "; ".join(within) if within else label.CELL_NOT_ASSESSED,
    )


def _by_phase(subject: Subject) -> list[Block]:
    """Make the smallest margin in each phase, over all limits."""
    if subject.assessment is None or not subject.assessment.phases:
        return [Paragraph(label.NO_PHASES, "note")]
    rows: list[Row] = []
    for stretch in subject.assessment.phases:
        least, at = subject.least_margin(stretch.start_s, stretch.end_s)
        rows.append((value_words.phase(stretch.phase), subject.how.instant(stretch.start_s),
                     value_words.length(stretch.end_s - stretch.start_s),
                     subject.how.speed(least), subject.how.instant(at)))
    caption = label.PHASES_CAPTION if _speeds_only(subject) else label.SPEED_PHASES_CAPTION
    return [Table(caption, _columns("phase", "from", "length", "margin", "when"),
                  tuple(rows))]


def quality(subject: Subject) -> tuple[Section, ...]:
    """Make the sections on the recording, its quality, and the time without a verdict."""
    how, facts = subject.how, subject.facts
    blocks: list[Block] = [_channels(subject), Subheading(label.DOUBTS_TITLE)]
    rows: list[Row] = [(
        number_format.sentence_case(recording_text.FLAGS[flag.name]),
        value_words.channel_words(flag.channel) if flag.channel else label.WHOLE_RECORDING,
        value_words.length(flag.raised_s), _first_stretches(flag.stretches, subject),
        value_words.yes_no(flag.screened_out),
    ) for flag in facts.quality.flags if flag.raised_s > 0]
    if rows:
        blocks.append(Table(label.QUALITY_CAPTION, _columns(
            "doubt", text=("channel", "length", "when", "screened_out")), tuple(rows)))
    else:
        blocks.append(Paragraph(label.NO_FLAG))
    blocks.append(Subheading(label.UNJUDGED_TITLE))
    if facts.longest_unknown_s:
        blocks.append(Table(
            wording.unknown_caption(len(facts.longest_unknown_s), facts.unknown_stretches),
            _columns("from", "to", "length"),
            tuple((how.instant(a), how.instant(b), value_words.length(b - a))
                  for a, b in facts.longest_unknown_s)))
    else:
        blocks.append(Paragraph(label.NO_UNKNOWN))
    if subject.assessment is not None and how.reader != "crew":
        blocks += _checks(subject)
    return (Section("quality", label.SECTIONS["quality"], tuple(blocks)),)


def _channels(subject: Subject) -> Table:
    names: tuple[str, ...] = ("every", "resolution", "missing")
    hidden = subject.how.deidentified
    rows: list[Row] = []
    for channel in subject.summary.channels:
        row: list[str] = [value_words.channel_words(channel.channel)]
        if not hidden:
            row.append(channel.column)
        unknown = quantity_words.UNKNOWN
        unit = "" if channel.resolution_unit == "discrete" else channel.resolution_unit
        row += [f"{channel.interval_s:g} s" if channel.interval_s else unknown,
                f"{channel.resolution:.4g} {unit}".rstrip() if channel.resolution else unknown,
                f"{channel.missing:,}"]
        if not hidden:
            row.append(channel.known_by)
        rows.append(tuple(row))
    columns = [Column(label.COLUMNS["channel"], heads_row=True)]
    columns += [] if hidden else [Column(label.COLUMNS["column"])]
    columns += [Column(label.COLUMNS[name], numeric=True) for name in names]
    columns += [] if hidden else [Column(label.COLUMNS["known_by"])]
    return Table(label.CHANNELS_CAPTION, tuple(columns), tuple(rows))


def _first_stretches(stretches: list[list[float]], subject: Subject, shown: int = 3) -> str:
    parts = [f"{subject.how.instant(a)} to {subject.how.instant(b)}"
             for a, b in stretches[:shown]]
    return "; ".join(parts) + (label.AND_MORE if len(stretches) > shown else "")


def _checks(subject: Subject) -> list[Block]:
    assert subject.assessment is not None
    sentences = tuple(check_text.check(check, subject.how) for check in subject.assessment.checks)
    return [Subheading(label.CHECKS_TITLE), Bullets(sentences)] if sentences else []


def method(subject: Subject) -> tuple[Section, ...]:
    """Make the method, how the inputs were interpreted, the settings, and the files' hashes."""
    summary, how = subject.summary, subject.how
    how_sure = () if subject.assessment is None else (
        *assurance_text.BASES.values(), *assurance_text.MEANING)
    blocks: list[Block] = [Bullets((*label.ASSUMPTIONS, *how_sure))]
    taken = _taken(subject)
    if taken:
        blocks += [Subheading(label.TAKEN_TITLE), Bullets(taken)]
    blocks.append(_limits(subject.analysis, subject))
    if subject.assessment is not None and how.reader != "crew":
        blocks += _tolerances(subject)
    settings = [value_words.named_value(name, value, how)
                for name, value in summary.settings.items()]
    settings += [(value_words.declared(name), f"{value:g}")
                 for name, value in summary.declared.items()]
    steps: list[tuple[str, Any]] = [
        (step_labels.step_count(step.name, name, how.deidentified), value)
        for step in subject.facts.steps
        for name, value in step.counts.items()]
    blocks.append(Subheading(label.SETTINGS_TITLE))
    blocks.append(KeyValues(tuple(settings)))
    if how.reader == "safety" and steps:
        blocks.append(KeyValues(tuple(
            (name, f"{value:,}" if isinstance(value, int) else str(value))
            for name, value in steps)))
    files = tuple(
        (label.ROLES.get(source.role, source.role), source.file, f"{source.size:,}", source.sha256)
        for source in summary.inputs
        if not how.deidentified
    )
    if files:
        blocks.append(Table(label.FILES_CAPTION, (
            Column(label.COLUMNS["role"], heads_row=True), Column(label.COLUMNS["file"]),
            Column(label.COLUMNS["bytes"], numeric=True), Column(label.COLUMNS["sha256"])), files))
    blocks.append(Paragraph(wording.versions(summary.versions), "note"))
    return (Section("method", label.SECTIONS["method"], tuple(blocks), folded=True),)


def _taken(subject: Subject) -> tuple[str, ...]:
    """Return how the inputs were interpreted, a sentence each, without names if hidden."""
    hidden = subject.how.deidentified
    inferred = reading_text.sentences(
        (Finding(finding.code, finding.values) for finding in subject.summary.inferred_codes),
        hidden,
    )
    return (
        *inferred,
        *(
            finding_text.finding(finding.code, finding.values, hidden, subject.how.origin_s)
            for finding in subject.facts.taken
        ),
    )


def _limits(analysis: Analysis, subject: Subject) -> Table:
    how = subject.how
    rows: list[Row] = []
    for limit in analysis.sheet.limit:
        maximum = (how.published(limit.constant, limit.quantity)
                   if limit.constant is not None else
                   value_words.by_altitude(len(limit.by_pressure_altitude or ())))
        when = [value_words.condition(name, condition.model_dump(by_alias=True, exclude_none=True))
                for name, condition in limit.when.items()]
        rows.append((limit.name, value_words.quantity(limit.quantity), maximum,
                     "; ".join(when) or label.ALWAYS))
    return Table(label.LIMITS_CAPTION, _columns("limit", text=("quantity", "maximum", "applies")),
                 tuple(rows))


def _tolerances(subject: Subject) -> list[Block]:
    assert subject.assessment is not None
    tables: list[Block] = []
    for some, caption in ((subject.assessment.tolerances, label.TOLERANCES_CAPTION),
                          (subject.assessment.widest, label.WIDEST_CAPTION)):
        rows = []
        for sensor, source, u in some:
            words, size = value_words.tolerance(sensor, u, subject.how)
            rows.append((words, size, decision_text.tolerance_source(source)))
        if rows:
            tables.append(Table(caption, _columns("sensor", "u", text=("source",)), tuple(rows)))
    return tables


def cautions(subject: Subject) -> tuple[Section, ...]:
    """Make the cautions."""
    box = Caution(label.CAUTION_TITLE, tuple(subject.summary.cautions))
    return (Section("cautions", label.SECTIONS["cautions"], (box,)),)
