"""A flight measured against its schedule: the entry to all that a lesson's page shows."""

from __future__ import annotations

from dataclasses import dataclass, replace

from loganalyze.problems import Problem
from loganalyze.results.assessment_results import Assessment
from loganalyze.sheets.lesson.schedule_file import Schedule, SegmentKind
from loganalyze.sheets.limits_sheet import LimitsSheet
from loganalyze.training.briefed_airspeeds import Converted, as_calibrated
from loganalyze.training.exercise_detection import find_exercises
from loganalyze.training.exercises import ExerciseFindings
from loganalyze.training.lesson_moments import Moment, moments_of
from loganalyze.training.segments.flown_speeds import FlownSpeeds, flown_speeds
from loganalyze.training.segments.kept_margins import kept_margins
from loganalyze.training.segments.school_grades import graded
from loganalyze.training.segments.segment_finding import find_parts
from loganalyze.training.segments.segment_measures import measured
from loganalyze.training.segments.segment_results import (
    Change,
    HeldTurn,
    LevelOff,
    Segment,
)
from loganalyze.training.segments.speed_change import change_of
from loganalyze.training.segments.turn_tolerance import held_turns


@dataclass(frozen=True, eq=False)
class Lesson:
    """A flight against its schedule.

    ``segments`` : by time; ``changes`` : between airspeed and Mach number, by time; ``unflown`` :
    what was briefed and not found in the flight; ``lacking`` : speeds by configuration, by name,
    for which the log holds no channel; ``moments`` : worth looking at, by time; ``exercises`` :
    found in the flight; ``speeds`` : what was measured from; ``turns`` : the steep turns against
    their tolerance; ``converted`` : airspeeds that were briefed as indicated (the ``schedule`` has
    them calibrated); ``level_offs`` : levels within a climb or descent, which belong to no segment.
    """

    assessment: Assessment
    schedule: Schedule
    segments: tuple[Segment, ...]
    changes: tuple[Change, ...]
    unflown: tuple[SegmentKind, ...]
    lacking: tuple[str, ...]
    moments: tuple[Moment, ...]
    exercises: ExerciseFindings
    speeds: FlownSpeeds
    turns: tuple[HeldTurn, ...] = ()
    converted: tuple[Converted, ...] = ()
    level_offs: tuple[LevelOff, ...] = ()

    def __repr__(self) -> str:
        return (f"<Lesson of {self.assessment.analysis.log.source.path.name}: "
                f"{len(self.segments)} segments, {len(self.changes)} changes>")


def with_school_ceilings(sheet: LimitsSheet, schedule: Schedule) -> LimitsSheet:
    """Return a limits sheet with the schedule's ceilings added to its own.

    Raises
    ------
    Problem
        Where a ceiling has the name of a limit or of another ceiling.
    """
    taken = {limit.name.casefold() for limit in (*sheet.limit, *sheet.ceiling)}
    for ceiling in schedule.ceiling:
        if ceiling.name.casefold() in taken:
            raise Problem(f'the limits sheet has the name "{ceiling.name}" already', "the schedule",
                          "give the ceiling a name of its own")
    return sheet.model_copy(update={"ceiling": (*sheet.ceiling, *schedule.ceiling)})


def assess_lesson(
    assessment: Assessment, schedule: Schedule, exercises: ExerciseFindings | None = None
) -> Lesson:
    """Measure a flight against what was briefed.

    Parameters
    ----------
    assessment : Assessment
        The assessed flight. Nothing in it changes, and no verdict depends on the schedule.
    schedule : Schedule
        What was briefed.
    exercises : ExerciseFindings, optional
        The exercises, such as an instructor corrected them; found here where not given.

    Returns
    -------
    Lesson

    Examples
    --------
    >>> import loganalyze as la
    >>> from loganalyze.training import Schedule, assess_lesson
    >>> flight, = la.analyze("sample_logs/clean_flight.csv", "sample_logs/ouzelwing_240.toml")
    >>> briefed = Schedule.model_validate({"lesson": "a flight", "climb": {"airspeed_kt": 190}})
    >>> lesson = assess_lesson(la.assess_flight(flight), briefed)
    >>> [(segment.kind, segment.target, segment.unit) for segment in lesson.segments]
    [('climb', 190.0, 'kt')]
    """
    analysis = assessment.analysis
    speeds = flown_speeds(analysis)
    schedule, converted = as_calibrated(schedule, analysis, assessment.columns["phase"])
    found = find_parts(analysis, assessment.columns["phase"], speeds, schedule)
    segments = []
    for part in found.parts:
        segment = measured(speeds, part, schedule.settling)
        if segment is not None:
            segment = replace(segment, margins=kept_margins(
                assessment, segment.start_s, segment.end_s, schedule.near_kt))
            segments.append(replace(segment, grade=graded(segment, schedule)))
    flown = {measured.kind for measured in segments}
    briefed: tuple[tuple[SegmentKind, bool], ...] = (
        ("climb", schedule.climb is not None), ("cruise", schedule.cruise is not None),
        ("descent", schedule.descent is not None))
    changes = tuple(sorted(
        (change for leg in found.legs if (change := change_of(speeds, leg)) is not None),
        key=lambda one: one.due_s))
    exercises = exercises if exercises is not None else find_exercises(analysis)
    return Lesson(
        assessment, schedule, tuple(segments), changes,
        tuple(kind for kind, stated in briefed if stated and kind not in flown), found.lacking,
        moments_of(assessment, tuple(segments), changes, speeds, schedule.near_kt),
        exercises, speeds,
        held_turns(speeds, exercises.exercises, schedule.tolerance_of("steep_turn")),
        converted, found.level_offs)


def calibrated(lesson: Lesson, schedule: Schedule) -> Schedule:
    """Return another schedule for a lesson's flight, its airspeeds calibrated.

    Parameters
    ----------
    lesson : Lesson
    schedule : Schedule

    Returns
    -------
    Schedule

    Examples
    --------
    >>> import loganalyze as la
    >>> from loganalyze.training import Schedule, assess_lesson, calibrated
    >>> flight, = la.analyze("sample_logs/clean_flight.csv", "sample_logs/ouzelwing_240.toml")
    >>> briefed = Schedule.model_validate({"lesson": "a flight", "climb": {"airspeed_kt": 190}})
    >>> lesson = assess_lesson(la.assess_flight(flight), briefed)
    >>> calibrated(lesson, briefed) == briefed
    True
    """
    assessment = lesson.assessment
    return as_calibrated(schedule, assessment.analysis, assessment.columns["phase"])[0]
