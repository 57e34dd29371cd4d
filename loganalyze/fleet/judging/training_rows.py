"""The rows of the table `training`: a flight's measures against the fleet file's schedule."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from loganalyze.results.assessment_results import Assessment
from loganalyze.text.plain_values import rounded
from loganalyze.training import Schedule, assess_lesson, recorded_measures


def training_rows(judged: Assessment, schedule: Schedule) -> Iterator[tuple[Any, ...]]:
    """Yield a row for each measure of a flight against its schedule, as `training_table` says."""
    lesson = assess_lesson(judged, schedule)
    for measure in recorded_measures(lesson.exercises, lesson.segments):
        yield (judged.analysis.flight, measure.exercise, measure.measure, rounded(measure.value),
               None if measure.uncertainty is None else rounded(measure.uncertainty), measure.count)
