"""``training``: how a fleet's flights were flown against a schedule, a row a flight and measure.

Nothing in it says who flew. Without a schedule in the fleet file it has no rows and costs nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from loganalyze.results.assessment_results import Assessment
from loganalyze.show.tables.table_columns import Column, ResultTable
from loganalyze.text.plain_values import rounded
from loganalyze.training import Schedule, assess_lesson, recorded_measures

TRAINING_COLUMNS = (
    Column("flight", "integer", "", "number of the flight in the log, from 1", True),
    Column("exercise", "string", "", "kind of exercise, or part of the schedule", True),
    Column("measure", "string", "", "name of the measure, ending with its unit", True),
    Column("value", "number", "", "its mean over the flight's exercises of that kind, in the unit "
           "that the name ends with", True),
    Column("uncertainty", "number", "", "standard uncertainty by the measurement"),
    Column("count", "integer", "", "over so many exercises", True),
)


def training_rows(judged: Assessment, schedule: Schedule) -> Iterator[tuple[Any, ...]]:
    """Yield a row for each measure of a flight against its schedule, as TRAINING_COLUMNS say."""
    lesson = assess_lesson(judged, schedule)
    for measure in recorded_measures(lesson.exercises, lesson.segments):
        yield (judged.analysis.flight, measure.exercise, measure.measure, rounded(measure.value),
               None if measure.uncertainty is None else rounded(measure.uncertainty), measure.count)


TRAINING = ResultTable("training", TRAINING_COLUMNS, lambda judged, facts: ())
"""Its rows come from `training_rows`, since only a run knows the schedule."""
