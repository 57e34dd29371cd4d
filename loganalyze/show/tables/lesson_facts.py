"""What ``lesson.json`` holds: a flight against its schedule, numbers and codes."""

from __future__ import annotations

from dataclasses import dataclass, replace

from loganalyze.training import (
    Change,
    Exercise,
    HeldTurn,
    Lesson,
    LevelOff,
    Moment,
    Segment,
)
from loganalyze.version import __version__


@dataclass(frozen=True)
class LessonFacts:
    """A flight against its schedule.

    ``log``, ``sha256``, ``aircraft`` : blank where de-identified; ``unflown`` : what was briefed
    and not found; ``lacking`` : speeds by configuration for which the log holds no channel;
    ``deleted`` : exercises that were found and an instructor said are none; ``turns`` : the steep
    turns against their tolerance; ``level_offs`` : levels within a climb or descent.
    """

    program: str
    version: str
    log: str
    sha256: str
    aircraft: str
    flight: int
    lesson: str
    set_by: str
    segments: tuple[Segment, ...]
    changes: tuple[Change, ...]
    moments: tuple[Moment, ...]
    exercises: tuple[Exercise, ...]
    unflown: tuple[str, ...]
    lacking: tuple[str, ...]
    deleted: tuple[Exercise, ...]
    turns: tuple[HeldTurn, ...]
    level_offs: tuple[LevelOff, ...]


def lesson_facts(lesson: Lesson, hidden: bool = False) -> LessonFacts:
    """Return the facts of a lesson; ``hidden`` : without names and hashes."""
    analysis = lesson.assessment.analysis
    source = analysis.log.source
    return LessonFacts(
        "loganalyze", __version__, "" if hidden else source.path.name,
        "" if hidden else source.sha256, "" if hidden else analysis.sheet.aircraft,
        analysis.flight, lesson.schedule.lesson, lesson.schedule.set_by, lesson.segments,
        lesson.changes, lesson.moments, shown_exercises(lesson.exercises.exercises, hidden),
        lesson.unflown, lesson.lacking, shown_exercises(lesson.exercises.deleted, hidden),
        lesson.turns, lesson.level_offs)


def shown_exercises(exercises: tuple[Exercise, ...], hidden: bool) -> tuple[Exercise, ...]:
    """Return exercises; ``hidden`` : without who corrected them and when."""
    return tuple(replace(exercise, by="", at="") for exercise in exercises) if hidden else exercises
