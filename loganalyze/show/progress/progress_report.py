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
    blocks: list[Block] = [Paragraph(said[0], "lead"), *(Paragraph(one) for one in said[1:])]
    if shown(found):
        blocks.append(Picture("progress", partial(progress_figure, found), words.PICTURE,
                              words.picture_caption(any(
                                  one.course_low == one.course_low for one in shown(found)))))
    sections = [Section("found", words.SECTIONS["found"], tuple(blocks))]
    if found.measures:
        sections += [
            Section("measures", words.SECTIONS["measures"], tuple(_by_exercise(found, rows)),
                    new_page=True),
            Section("flights", words.SECTIONS["flights"], tuple(_by_exercise(found, flights)))]
    sections.append(Section("about", words.SECTIONS["about"], (Bullets(about(found)),)))
    return Report(words.TITLE, words.subtitle(found.trainee, len(found.flown)), tuple(sections),
                  words.FOOTER.format(version=__version__), "")


def sentences(found: Progress) -> list[str]:
    """Return what changes, a sentence for each measure that does, and what limits it."""
    if not found.measures:
        return [words.NOTHING]
    said = [words.changes(one.exercise, one.measure, one.direction, one.trend.per_flight,
                          one.trend.low, one.trend.high)
            for one in found.measures if one.direction in (IMPROVING, WORSE)]
    if not said:
        enough = any(one.trend.flights >= LEAST_FLIGHTS for one in found.measures)
        said = [words.NONE_SHOWN if enough else words.TOO_FEW]
    if not found.dated:
        said.append(words.NOT_DATED)
    return said


def about(found: Progress) -> tuple[str, ...]:
    """Return how the figures are to be read, a sentence each."""
    has_course = any(one.course_low == one.course_low for one in found.measures)
    course = (words.COURSE if has_course else words.NO_COURSE).format(least=found.least_others)
    return (*(one.format(compared=found.compared, many=MANY_FLIGHTS, least=LEAST_FLIGHTS)
              for one in words.ABOUT),
            *((course,) if found.others else ()))


def rows(found: Progress, exercise: str) -> tuple[str, list[tuple[str, ...]]]:
    """Return a caption, and a heading and a row for each measure of an exercise."""
    course = any(one.course_low == one.course_low for one in found.measures)
    names = ["measure", "flights", "level", "per_flight", "direction", "spread", "measured",
             *(["course"] if course else [])]
    made = [tuple(words.COLUMNS[name] for name in names)]
    for one in found.measures:
        if one.exercise != exercise:
            continue
        trend, name = one.trend, one.measure
        made.append((
            words.measure(name), str(trend.flights),
            words.interval(name, trend.level, trend.level_low, trend.level_high),
            words.change(name, trend.per_flight, trend.low, trend.high),
            words.direction(name, one.direction, trend.low, trend.high),
            words.value(name, trend.flight_sd), words.value(name, trend.measurement_sd),
            *([words.course(name, one.course_low, one.course_high)] if course else [])))
    return words.CAPTION, made


def flights(found: Progress, exercise: str) -> tuple[str, list[tuple[str, ...]]]:
    """Return a caption, and a heading and a row for each flight with an exercise."""
    own = [one for one in found.measures if one.exercise == exercise]
    made = [(words.COLUMNS["flight"], *(words.measure(one.measure) for one in own))]
    for i, day in enumerate(found.flown):
        if any(one.values[i] == one.values[i] for one in own):
            made.append((words.flight(i + 1, day), *(
                words.uncertain(one.measure, one.values[i], one.uncertainties[i]) for one in own)))
    return words.FLIGHTS_CAPTION, made


def exercises(found: Progress) -> list[str]:
    """Return the exercises that have measures, in their order."""
    return list(dict.fromkeys(one.exercise for one in found.measures))


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
