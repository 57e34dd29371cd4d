"""What was briefed against what was flown."""

from loganalyze.sheets.lesson.schedule_file import Schedule, read_schedule
from loganalyze.sheets.lesson.speed_tolerances import Tolerance
from loganalyze.training.exercise_detection import find_exercises
from loganalyze.training.exercises import (
    EXERCISE_KINDS,
    Exercise,
    ExerciseFindings,
    ExerciseMeasure,
)

__all__ = [
    "EXERCISE_KINDS",
    "Exercise",
    "ExerciseFindings",
    "ExerciseMeasure",
    "Schedule",
    "Tolerance",
    "find_exercises",
    "read_schedule",
]
