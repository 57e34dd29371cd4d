"""The rows of the table `training`: a flight's measures against the fleet file's schedule."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from loganalyze.problems import Problem
from loganalyze.results.assessment_results import Assessment
from loganalyze.text.plain_values import rounded
from loganalyze.training import (
    Schedule,
    assess_lesson,
    corrected,
    find_exercises,
    read_corrections,
    recorded_measures,
)


def training_rows(judged: Assessment, schedule: Schedule, corrections: Path | None = None
                  ) -> Iterator[tuple[Any, ...]]:
    """Yield a row for each measure of a flight against its schedule, as TRAINING_COLUMNS say.

    Parameters
    ----------
    judged : Assessment
    schedule : Schedule
    corrections : Path, optional
        Where an instructor's corrections of its exercises are, if there is such a file.

    Raises
    ------
    Problem
        For corrections that aren't of this flight, and for one whose exercise isn't found any more.
    """
    exercises = None
    if corrections is not None and corrections.is_file():
        after = corrected(find_exercises(judged.analysis), read_corrections(corrections),
                          judged.analysis, str(corrections))
        if after.unapplied:
            lost = after.unapplied[0]
            raise Problem(f"a correction is of a {lost.kind} at {lost.start_s:g} to "
                          f"{lost.end_s:g} s, and none is found there any more", str(corrections),
                          "take it out, or correct the flight again with loganalyze correct")
        exercises = after.findings
    lesson = assess_lesson(judged, schedule, exercises)
    for measure in recorded_measures(lesson.exercises, lesson.segments):
        yield (judged.analysis.flight, measure.exercise, measure.measure, rounded(measure.value),
               None if measure.uncertainty is None else rounded(measure.uncertainty), measure.count)
