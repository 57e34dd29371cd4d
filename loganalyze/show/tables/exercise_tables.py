"""``exercises``, ``exercise_measures`` and ``moments``: a lesson's tables beside ``segments``."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields
from typing import Any, get_args

from loganalyze.results.assessment_results import Contributions
from loganalyze.show.tables.lesson_facts import shown_exercises
from loganalyze.show.tables.segment_table import SEGMENT_COLUMNS, segment_rows
from loganalyze.show.tables.table_columns import Column
from loganalyze.text.plain_values import rounded
from loganalyze.training import EXERCISE_KINDS, Lesson
from loganalyze.training.lesson_moments import Cause, MomentKind

_FLIGHT = Column("flight", "integer", "", "flight of the log, from 1", True)
_LOG = Column("log", "string", "", "file name of the log; blank where de-identified")
_NUMBER = Column("exercise", "integer", "", "number of the exercise, from 1 by start", True)
_KIND = Column("kind", "string", "", "which exercise", True, EXERCISE_KINDS)

EXERCISE_COLUMNS = (
    _FLIGHT, _NUMBER, _KIND,
    Column("start_s", "number", "s", "beginning, from the log's first sample", True),
    Column("end_s", "number", "s", "end", True),
    Column("confidence", "number", "1", "how sure it is; 1 where an instructor stated it", True),
    Column("origin", "string", "", "found, corrected or added by an instructor", True,
           ("found", "corrected", "added")),
    Column("by", "string", "", "who corrected it; blank where nobody did or de-identified"),
    Column("at_utc", "string", "", "when it was corrected; likewise"),
    Column("marked", "boolean", "", "an event marker was recorded within it", True),
    _LOG,
)
EXERCISE_MEASURE_COLUMNS = (
    _FLIGHT, _NUMBER, _KIND,
    Column("measure", "string", "", "name of the measure, ending with its unit", True),
    Column("value", "number", "", "in the unit that the name ends with; blank where not known"),
    Column("uncertainty", "number", "", "its standard uncertainty; blank where not known"),
    _LOG,
)
MOMENT_COLUMNS = (
    _FLIGHT,
    Column("moment", "integer", "", "number of the moment, from 1 by time", True),
    Column("kind", "string", "", "what made it worth a look", True, get_args(MomentKind)),
    Column("time_s", "number", "s", "when, from the log's first sample", True),
    Column("start_s", "number", "s", "from when on it came about", True),
    Column("altitude_ft", "number", "ft", "pressure altitude"),
    Column("size", "number", "kt, 1 or s", "margin left, how far outside, how late, how far "
           "above", True),
    Column("unit", "string", "", "of the size", True, ("kt", "mach", "s")),
    Column("name", "string", "", "of the limit or the ceiling; blank for others"),
    Column("segment", "integer", "", "row of segments that it is in, from 1; 0 for none", True),
    Column("cause", "string", "", "the greatest part of what brought it about", True,
           get_args(Cause)),
    Column("cause_kt", "number", "kt", "how great that part is, as CAS"),
    *(Column(field.name, "number", "kt", "that part of what brought it about; blank where the "
             "parts aren't known") for field in fields(Contributions)
      if field.name.endswith("_kt")),
    _LOG,
)


def _exercise_rows(lesson: Lesson, log: str) -> Iterator[tuple[Any, ...]]:
    flight = lesson.assessment.analysis.flight
    for number, exercise in enumerate(shown_exercises(lesson.exercises.exercises, not log), 1):
        yield (
            flight,
            number,
            exercise.kind,
            rounded(exercise.start_s),
            rounded(exercise.end_s),
            rounded(exercise.confidence),
            exercise.origin,
            exercise.by or None,
            exercise.at or None,
            exercise.marked,
            log or None,
        )


def _measure_rows(lesson: Lesson, log: str) -> Iterator[tuple[Any, ...]]:
    flight = lesson.assessment.analysis.flight
    for number, exercise in enumerate(lesson.exercises.exercises, 1):
        for measure in exercise.measures:
            yield (flight, number, exercise.kind, measure.name, rounded(measure.value),
                   rounded(measure.uncertainty), log or None)


def _moment_rows(lesson: Lesson, log: str) -> Iterator[tuple[Any, ...]]:
    flight = lesson.assessment.analysis.flight
    parts = [field.name for field in fields(Contributions) if field.name.endswith("_kt")]
    for number, moment in enumerate(lesson.moments, 1):
        yield (
            flight,
            number,
            moment.kind,
            rounded(moment.time_s),
            rounded(moment.start_s),
            rounded(moment.altitude_ft),
            rounded(moment.size),
            moment.unit,
            moment.name or None,
            0 if moment.segment is None else moment.segment + 1,
            moment.cause,
            rounded(moment.cause_kt),
            *(
                None if moment.split is None else rounded(getattr(moment.split, name))
                for name in parts
            ),
            log or None,
        )


@dataclass(frozen=True)
class LessonTable:
    """A table of a lesson, ``<name>.csv`` and ``<name>.parquet``.

    ``rows`` : of a lesson and its log's name, blank where de-identified.
    """

    name: str
    columns: tuple[Column, ...]
    rows: Callable[[Lesson, str], Iterator[tuple[Any, ...]]]


LESSON_TABLES = (
    LessonTable("segments", SEGMENT_COLUMNS, segment_rows),
    LessonTable("exercises", EXERCISE_COLUMNS, _exercise_rows),
    LessonTable("exercise_measures", EXERCISE_MEASURE_COLUMNS, _measure_rows),
    LessonTable("moments", MOMENT_COLUMNS, _moment_rows),
)
"""Every table of a lesson."""
