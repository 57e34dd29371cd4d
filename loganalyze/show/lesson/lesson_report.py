"""A lesson as a report: the sections of its page and its paper."""

from __future__ import annotations

import math
from functools import partial

from loganalyze.air.crossover import crossover_steps
from loganalyze.comparison.flight_comparison import Comparison
from loganalyze.record.units import KNOT
from loganalyze.sheets.lesson.schedule_file import Profile
from loganalyze.show.comparison.comparison_report import sentences
from loganalyze.show.lesson.lesson_figures import course_figure, track_figure
from loganalyze.show.report.crossover_handout import worked_blocks
from loganalyze.show.report.report_blocks import (
    Block,
    Bullets,
    Caution,
    Column,
    Paragraph,
    Picture,
    Report,
    Section,
    Subheading,
    Table,
)
from loganalyze.text.flight_account import presented
from loganalyze.text.language import (
    exercise_words,
    moment_words,
    number_format,
    page_labels,
    quantity_words,
    value_words,
)
from loganalyze.text.language import lesson_words as words
from loganalyze.text.presentation import Presentation
from loganalyze.training import (
    ExactRow,
    Exercise,
    Lesson,
    Schedule,
    Segment,
    calibrated,
    flown_exactly,
)
from loganalyze.training.exact_schedule import WARMER_K
from loganalyze.version import __version__

MEASURES_SHOWN = 1
"""So many numbers are shown of an exercise, the one that tells most; lesson.json has all."""


def lesson_report(
    lesson: Lesson, how: Presentation | None = None, *, demonstration: Lesson | None = None,
    comparison: Comparison | None = None, other: Schedule | None = None,
) -> Report:
    """Return the report of a lesson.

    Parameters
    ----------
    lesson : Lesson
    how : Presentation, optional
        In which units, on which clock.
    demonstration : Lesson, optional
        The instructor's flight of the same schedule.
    comparison : Comparison, optional
        The demonstration and this flight, aligned.
    other : Schedule, optional
        Another schedule, shown as if flown exactly.
    """
    analysis = lesson.assessment.analysis
    how = presented(analysis, how)
    sections = (
        _found(lesson, how), _pictures(lesson, demonstration, how), _change(lesson, how),
        _moments(lesson, how), _margins(lesson, how), _grades(lesson, how), _exercises(lesson, how),
        _turns(lesson, how),
        _demonstration(lesson, demonstration, comparison, how), _exact(lesson, how),
        _other(lesson, other, how), *_handouts(lesson, how))
    name = "" if how.deidentified else f" · {analysis.log.source.path.name}"
    return Report(
        f"{words.TITLE}: {lesson.schedule.lesson}",
        f"{analysis.sheet.aircraft}{name}" if not how.deidentified else words.TITLE,
        tuple(section for section in sections if section is not None),
        words.FOOTER.format(version=__version__),
        "" if how.deidentified else analysis.log.source.sha256, page_labels.LANGUAGE)


def _columns(*keys: str, numeric: tuple[str, ...] = ()) -> tuple[Column, ...]:
    return tuple(Column(words.COLUMNS[key], key in numeric, i == 0) for i, key in enumerate(keys))


def segment_rows(lesson: Lesson, how: Presentation) -> list[tuple[str, ...]]:
    """Return the parts of the flight against the schedule, a row each."""
    graded = bool(lesson.schedule.grade)
    return [
        (
            words.part(segment),
            words.briefed(segment, how),
            words.error(segment.mean, segment.unit, how),
            words.within(segment),
            words.longest(segment.longest),
            words.furthest(segment.furthest, segment.unit, how),
            words.settled(segment, how),
            *((words.school(segment),) if graded else ()),
        )
        for segment in lesson.segments
    ]


def segment_heads(lesson: Lesson) -> tuple[str, ...]:
    """Return the names of the columns of `segment_rows`."""
    keys = ["part", "briefed", "mean", "within", "longest", "furthest", "settled"]
    return tuple(words.COLUMNS[key] for key in (
        *keys, *(("grade",) if lesson.schedule.grade else ())))


def _found(lesson: Lesson, how: Presentation) -> Section:
    heads = segment_heads(lesson)
    blocks: list[Block] = [Paragraph(words.lead(lesson, how), "lead")]
    if lesson.segments:
        blocks += [Table(words.SEGMENTS_CAPTION, tuple(
            Column(name, heads_row=i == 0) for i, name in enumerate(heads)),
            tuple(segment_rows(lesson, how))), Paragraph(" ".join((
                words.READ_ALONE, words.WHERE_MEASURED, *words.sources(lesson, how))), "note")]
    else:
        blocks.append(Bullets(tuple(words.sources(lesson, how))))
    blocks.append(Caution(words.CAUTION_TITLE, words.CAUTION))
    return Section("found", words.SECTIONS["found"], tuple(blocks))


def _pictures(lesson: Lesson, demonstration: Lesson | None, how: Presentation) -> Section:
    return Section("course", words.SECTIONS["course"], (
        Picture("course", partial(course_figure, lesson, how), words.COURSE_WORDS,
                words.COURSE_CAPTION), *_numbers(lesson, how),
        Subheading(words.SECTIONS["track"]),
        Picture("track", partial(track_figure, lesson, how, demonstration), words.TRACK_WORDS,
                words.TRACK_CAPTION)))


def _numbers(lesson: Lesson, how: Presentation) -> tuple[Block, ...]:
    """Return what each number on the charts is, in small print: when, and what was there."""
    if not lesson.moments:
        return ()
    return (Paragraph(moment_words.numbers(lesson.moments, lesson.segments, how), "note"),)


def _change(lesson: Lesson, how: Presentation) -> Section | None:
    if not lesson.changes:
        return None
    return Section("change", words.SECTIONS["change"], (
        Bullets(tuple(words.change(change, how) for change in lesson.changes)),))


def _moments(lesson: Lesson, how: Presentation) -> Section:
    said = tuple(f"{number}: {moment_words.moment(moment, lesson.segments, how)}"
                 for number, moment in enumerate(lesson.moments, 1))
    block = Bullets(said) if said else Paragraph(words.NO_MOMENTS)
    return Section("moments", words.SECTIONS["moments"], (block,))


def _margins(lesson: Lesson, how: Presentation) -> Section | None:
    """Make the section of what else was measured in each part, the margins among it."""
    if not lesson.segments:
        return None
    limits = list(dict.fromkeys(
        kept.limit for segment in lesson.segments for kept in segment.margins))
    near = how.step(lesson.schedule.near_kt)
    names = [words.COLUMNS[key] for key in ("part", "rms", "largest", "steady")]
    names += [words.COLUMNS["to_limit"].format(limit=name) for name in limits]
    rows = []
    for part in lesson.segments:
        kept = {margin.limit: margin for margin in part.margins}
        rows.append((words.part(part), words.size(part.rms.value, part.unit, how),
                     words.size(part.largest.value, part.unit, how, signed=True),
                     words.size(part.unsteadiness.value, part.unit, how),
                     *(words.kept(kept.get(name), how) for name in limits)))
    return Section("margins", words.SECTIONS["margins"], (
        Table(words.MARGINS_CAPTION.format(near=near), tuple(
            Column(name, heads_row=i == 0) for i, name in enumerate(names)), tuple(rows)),))


def _grades(lesson: Lesson, how: Presentation) -> Section | None:
    rows = [(words.part(segment), name, *words.criterion(criterion, how))
            for segment in lesson.segments if segment.grade is not None
            for name, criteria in segment.grade.tried for criterion in criteria]
    if not rows:
        return None
    return Section("grades", words.SECTIONS["grades"], (
        Table(words.GRADES_CAPTION, _columns("part", "rule", "asked", "flown", "outcome"),
              tuple(rows)),), on_paper=False, folded=True)


def _exercises(lesson: Lesson, how: Presentation) -> Section:
    rows = []
    for number, exercise in enumerate(lesson.exercises.exercises, 1):
        told = [(exercise_words.MEASURES.get(each.name, each.name),
                 value_words.named_value(each.name, each.value, how)[1])
                for each in exercise.measures if math.isfinite(each.value)][:MEASURES_SHOWN]
        rows.append((
            str(number), number_format.sentence_case(exercise_words.named(
                exercise.kind, exercise.confidence, exercise.origin, *_by(exercise, how))),
            how.second(exercise.start_s), how.second(exercise.end_s),
            "; ".join(f"{name} {value}" for name, value in told)))
    missed = Paragraph(" ".join(
        exercise_words.unsearched(lesson.exercises.unsearched)) or words.EVERY_EXERCISE, "note")
    taken_out = exercise_words.deleted(
        [
            (exercise.kind, exercise.start_s, exercise.end_s, *_by(exercise, how))
            for exercise in lesson.exercises.deleted
        ]
    )
    deleted = [Bullets(tuple(taken_out))] if taken_out else []
    if not rows:
        return Section("exercises", words.SECTIONS["exercises"], (
            Paragraph(exercise_words.summary([])), *deleted, missed))
    return Section("exercises", words.SECTIONS["exercises"], (
        Table(words.EXERCISES_CAPTION, _exercise_columns(), tuple(rows)), *deleted, missed))


def _exercise_columns() -> tuple[Column, ...]:
    return tuple(Column(words.COLUMNS[key], heads_row=key == "exercise")
                 for key in ("number", "exercise", "from", "to", "how"))


def _by(exercise: Exercise, how: Presentation) -> tuple[str, str]:
    """Return who corrected an exercise and when; blank where de-identified."""
    return ("", "") if how.deidentified else (exercise.by, exercise.at)


def _turns(lesson: Lesson, how: Presentation) -> Section | None:
    """Make the section of the steep turns against their tolerance."""
    rows = [(how.second(turn.start_s), *words.criterion(criterion, how))
            for turn in lesson.turns for criterion in turn.criteria]
    if not rows:
        return None
    return Section("turns", words.SECTIONS["turns"], (
        Table(words.TURNS_CAPTION, _columns("from", "asked", "flown", "outcome"), tuple(rows)),
        Paragraph(words.TURNS_NOTE.format(source=lesson.turns[0].tolerance_source), "note")))


def paired(lesson: Lesson, demonstration: Lesson) -> list[tuple[Segment, Segment]]:
    """Return the parts that both flights have, the demonstration's first."""
    left = list(demonstration.segments)
    found = []
    for segment in lesson.segments:
        same = next((other for other in left if (other.kind, other.part, other.name) == (
            segment.kind, segment.part, segment.name)), None)
        if same is not None:
            left.remove(same)
            found.append((same, segment))
    return found


def _demonstration(lesson: Lesson, demonstration: Lesson | None, comparison: Comparison | None,
                   how: Presentation) -> Section | None:
    if demonstration is None:
        return None

    def told(segment: Segment) -> str:
        within = (quantity_words.UNKNOWN if math.isnan(segment.within.value)
                  else f"{100 * segment.within.value:.0f} %")
        rms = words.size(segment.rms.value, segment.unit, how)
        return f"{rms}, {within}" if segment.has_tolerance else rms

    blocks: list[Block] = [Table(
        words.DEMONSTRATION_CAPTION, _columns("part", "before", "after"),
        tuple((words.part(segment), told(before), told(segment))
              for before, segment in paired(lesson, demonstration)))]
    if comparison is not None:
        blocks += [Paragraph(" ".join((words.LETTERS, *sentences(comparison, how))))]
    return Section("demonstration", words.SECTIONS["demonstration"], tuple(blocks))


def _exact_table(lesson: Lesson, kind: str, profile: Profile, how: Presentation) -> Table | None:
    flown = [segment for segment in lesson.segments if segment.kind == kind] or list(
        lesson.segments
    )
    if not flown:
        return None
    heights = [height for segment in flown for height in (segment.start_ft, segment.end_ft)]
    rows = flown_exactly(lesson.assessment.analysis, profile, min(heights), max(heights))
    if not rows:
        return None
    columns = tuple(Column(words.COLUMNS[key].format(warmer=WARMER_K), True, key == "altitude")
                    for key in ("altitude", "cas", "mach", "tas", "warmer", "stated", "margin"))
    return Table(words.EXACT_CAPTION[kind], columns,
                 tuple(_exact_row(row, how) for row in rows))


def _exact_row(row: ExactRow, how: Presentation) -> tuple[str, ...]:
    return (how.altitude(row.altitude_ft), how.speed(row.cas_kt), number_format.mach(row.mach),
            how.speed(row.tas_kt), how.speed(row.tas_warmer_kt), how.speed(row.limit_kt),
            how.speed(row.margin_kt))


def _exact(lesson: Lesson, how: Presentation) -> Section | None:
    tables = _exact_tables(lesson, lesson.schedule, how)
    if not tables:
        return None
    return Section("exact", words.SECTIONS["exact"], (*tables, Paragraph(words.EXACT_NOTE)))


def _exact_tables(lesson: Lesson, schedule: Schedule, how: Presentation) -> list[Table]:
    kinds = (("climb", schedule.climb), ("descent", schedule.descent))
    return [table for kind, profile in kinds if profile is not None
            and (table := _exact_table(lesson, kind, profile, how)) is not None]


def _other(lesson: Lesson, other: Schedule | None, how: Presentation) -> Section | None:
    if other is None:
        return None
    return Section("other", words.SECTIONS["other"], (
        Paragraph(words.OTHER_NOTE.format(other=f'"{other.lesson}"')),
        *_exact_tables(lesson, calibrated(lesson, other), how)))


def _handouts(lesson: Lesson, how: Presentation) -> tuple[Section, ...]:
    """Return the crossovers of the briefed speeds worked step by step; not on the same paper."""
    return tuple(
        Section(f"handout-{kind}", _handout_title(profile, how), blocks, on_paper=False,
                folded=True) for kind, profile, blocks in worked(lesson.schedule, how))


def _handout_title(profile: Profile, how: Presentation) -> str:
    title: str = words.SECTIONS["handout"].format(
        cas=how.speed(profile.airspeed_kt), mach=f"{profile.mach:g}")
    return title


def worked(schedule: Schedule, how: Presentation) -> list[tuple[str, Profile, tuple[Block, ...]]]:
    """Return the crossover of each climb and descent with two speeds, worked step by step."""
    found = []
    for kind, profile in (("climb", schedule.climb), ("descent", schedule.descent)):
        if profile is None or profile.airspeed_kt is None or profile.mach is None:
            continue
        steps = crossover_steps(profile.airspeed_kt * KNOT, profile.mach)
        found.append((kind, profile, tuple(worked_blocks(steps, *words.BRIEFED_SPEEDS, how))))
    return found


def handout_report(schedule: Schedule, how: Presentation) -> Report | None:
    """Return the handout of a schedule's crossovers, a page each; None where it has none."""
    sections = tuple(
        Section(kind, _handout_title(profile, how), blocks, new_page=True)
        for kind, profile, blocks in worked(schedule, how))
    if not sections:
        return None
    return Report(f"{words.TITLE}: {schedule.lesson}", schedule.set_by, sections,
                  words.FOOTER.format(version=__version__), "", page_labels.LANGUAGE)
