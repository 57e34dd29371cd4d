"""What was briefed against what was flown."""

from loganalyze.sheets.lesson.corrections_place import beside
from loganalyze.sheets.lesson.schedule_file import Schedule, read_schedule
from loganalyze.sheets.lesson.speed_tolerances import Tolerance
from loganalyze.training.briefed_airspeeds import Converted
from loganalyze.training.correction_making import corrected_by
from loganalyze.training.exact_schedule import ExactRow, flown_exactly
from loganalyze.training.exercise_corrections import (
    CorrectedFindings,
    Correction,
    CorrectionsFile,
    corrected,
    corrections_for,
    read_corrections,
    write_corrections,
)
from loganalyze.training.exercise_detection import find_exercises
from loganalyze.training.exercises import (
    EXERCISE_KINDS,
    Exercise,
    ExerciseFindings,
    ExerciseMeasure,
)
from loganalyze.training.lesson_assessment import (
    Lesson,
    assess_lesson,
    calibrated,
    with_school_ceilings,
)
from loganalyze.training.lesson_moments import Moment
from loganalyze.training.progress import (
    LessonRecord,
    MeasureProgress,
    Progress,
    RecordedMeasure,
    lesson_record,
    progress_of,
    read_record,
    recorded_measures,
)
from loganalyze.training.progress_trend import Trend, directions, trend_of
from loganalyze.training.segments.segment_results import (
    Change,
    Criterion,
    Departure,
    Grade,
    HeldTurn,
    KeptMargin,
    LevelOff,
    Measured,
    Segment,
)

__all__ = [
    "EXERCISE_KINDS",
    "Change",
    "Converted",
    "CorrectedFindings",
    "Correction",
    "CorrectionsFile",
    "Criterion",
    "Departure",
    "ExactRow",
    "Exercise",
    "ExerciseFindings",
    "ExerciseMeasure",
    "Grade",
    "HeldTurn",
    "KeptMargin",
    "Lesson",
    "LessonRecord",
    "LevelOff",
    "MeasureProgress",
    "Measured",
    "Moment",
    "Progress",
    "RecordedMeasure",
    "Schedule",
    "Segment",
    "Tolerance",
    "Trend",
    "assess_lesson",
    "beside",
    "calibrated",
    "corrected",
    "corrected_by",
    "corrections_for",
    "directions",
    "find_exercises",
    "flown_exactly",
    "lesson_record",
    "progress_of",
    "read_corrections",
    "read_record",
    "read_schedule",
    "recorded_measures",
    "trend_of",
    "with_school_ceilings",
    "write_corrections",
]
