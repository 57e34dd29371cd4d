"""What was briefed against what was flown."""

from loganalyze.sheets.lesson.schedule_file import Schedule, read_schedule
from loganalyze.sheets.lesson.speed_tolerances import Tolerance

__all__ = ["Schedule", "Tolerance", "read_schedule"]
