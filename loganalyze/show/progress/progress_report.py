"""The report of a trainee's progress, in the sections and blocks of any report."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

from loganalyze.show.progress.progress_figure import progress_figure, shown
from loganalyze.show.report.report_blocks import (
    Block,
    Bullets,
    Column,
    Paragraph,
    Picture,
    Report,
    Section,
    Subheading,
    Table,
)
from loganalyze.text.language import progress_words as words
from loganalyze.training.progress import Progress
from loganalyze.training.progress_trend import IMPROVING, LEAST_FLIGHTS, MANY_FLIGHTS, WORSE
from loganalyze.version import __version__


def progress_report(found: Progress) -> Report:
    """Return the report of a trainee's progress."""
    said = sentences(found)
    blocks: list[Block] = [
        Paragraph(said[0], "lead"),
        *(Paragraph(sentence) for sentence in said[1:]),
    ]
    if shown(found):
        blocks.append(
            Picture(
                "progress",
                partial(progress_figure, found),
                words.PICTURE,
                words.picture_caption(
                    any(measure.course_low == measure.course_low for measure in shown(found))
                ),
            )
        )
    sections = [Section("found", words.SECTIONS["found"], tuple(blocks))]
    if found.measures:
        sections += [
            Section("measures", words.SECTIONS["measures"], tuple(_by_exercise(found, rows)),
                    new_page=True),
            Section("flights", words.SECTIONS["flights"], tuple(_by_exercise(found, flights)))]
    if any(found.grades):
        sections.append(Section("grades", words.SECTIONS["grades"], (
            Paragraph(words.GRADES_ABOUT), _table(graded(found), words.GRADES_CAPTION))))
    sections.append(Section("about", words.SECTIONS["about"], (Bullets(about(found)),)))
    return Report(words.TITLE, words.subtitle(found.trainee, len(found.flown)), tuple(sections),
                  words.FOOTER.format(version=__version__), "")


def sentences(found: Progress) -> list[str]:
    """Return what changes, a sentence for each measure that does, and what limits it."""
    if not found.measures:
        return [words.NOTHING]
    said = [
        words.changes(
            measure.exercise,
            measure.measure,
            measure.direction,
            measure.trend.per_flight,
            measure.trend.low,
            measure.trend.high,
        )
        for measure in found.measures
        if measure.direction in (IMPROVING, WORSE)
    ]
    if not said:
        enough = any(measure.trend.flights >= LEAST_FLIGHTS for measure in found.measures)
        said = [words.NONE_SHOWN if enough else words.TOO_FEW]
    if not found.dated:
        said.append(words.NOT_DATED)
    return said


def about(found: Progress) -> tuple[str, ...]:
    """Return how the figures are to be read, a sentence each."""
    has_course = any(measure.course_low == measure.course_low for measure in found.measures)
    course = (words.COURSE if has_course else words.NO_COURSE).format(least=found.least_others)
    return (*(paragraph.format(compared=found.compared, many=MANY_FLIGHTS, least=LEAST_FLIGHTS)
              for paragraph in words.ABOUT),
            *((course,) if found.others else ()))


def rows(found: Progress, exercise: str) -> tuple[str, list[tuple[str, ...]]]:
    """Return a caption, and a heading and a row for each measure of an exercise."""
    course = any(measure.course_low == measure.course_low for measure in found.measures)
    names = ["measure", "flights", "level", "per_flight", "direction", "spread", "measured",
             *(["course"] if course else [])]
    made = [tuple(words.COLUMNS[name] for name in names)]
    for measure in found.measures:
        if measure.exercise != exercise:
            continue
        trend, name = measure.trend, measure.measure
        made.append((
            words.measure(name), str(trend.flights),
            words.interval(name, trend.level, trend.level_low, trend.level_high),
            words.change(name, trend.per_flight, trend.low, trend.high),
            words.direction(name, measure.direction, trend.low, trend.high),
            words.value(name, trend.flight_sd), words.value(name, trend.measurement_sd),
            *([words.course(name, measure.course_low, measure.course_high)] if course else [])))
    return words.CAPTION, made


def flights(found: Progress, exercise: str) -> tuple[str, list[tuple[str, ...]]]:
    """Return a caption, and a heading and a row for each flight with an exercise."""
    own = [measure for measure in found.measures if measure.exercise == exercise]
    made = [(words.COLUMNS["flight"], *(words.measure(measure.measure) for measure in own))]
    for i, day in enumerate(found.flown):
        if any(measure.values[i] == measure.values[i] for measure in own):
            made.append(
                (
                    words.flight(i + 1, day),
                    *(
                        words.uncertain(
                            measure.measure, measure.values[i], measure.uncertainties[i]
                        )
                        for measure in own
                    ),
                )
            )
    return words.FLIGHTS_CAPTION, made


def graded(found: Progress) -> list[tuple[str, ...]]:
    """Return a heading, and a row for each of the school's words: flight, part, word, rule."""
    made = [tuple(words.COLUMNS[key] for key in ("flight", "part", "word", "rule"))]
    for number, (day, grades) in enumerate(zip(found.flown, found.grades, strict=True), 1):
        made += [(words.flight(number, day), words.heading(grade.part),
                  grade.word or words.NO_RULE_MET, words.asked_and_flown([
                      (criterion.asked_for, criterion.asked, criterion.flown, criterion.outcome)
                      for criterion in grade.criteria])) for grade in grades]
    return made


def exercises(found: Progress) -> list[str]:
    """Return the exercises that have measures, in their order."""
    return list(dict.fromkeys(measure.exercise for measure in found.measures))


def _by_exercise(
    found: Progress, of: Callable[[Progress, str], tuple[str, list[tuple[str, ...]]]]
) -> Iterator[Block]:
    for exercise in exercises(found):
        caption, some = of(found, exercise)
        yield Subheading(words.heading(exercise))
        yield _table(some, caption)


def _table(some: list[tuple[str, ...]], caption: str) -> Table:
    return Table(caption, tuple(Column(name, heads_row=i == 0)
                                for i, name in enumerate(some[0])), tuple(some[1:]))
