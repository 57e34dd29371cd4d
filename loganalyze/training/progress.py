"""A trainee's progress: the same measures over their flights, each with its trend.

Trainees are pseudonyms, given by the school; nothing here asks who they are. What others fly is
shown as the range of the middle half of them, from a number of trainees on, and nobody is ranked.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Final

import numpy as np
from pydantic import Field, Strict, ValidationError

from loganalyze.events.analysis import Analysis
from loganalyze.problems import Problem
from loganalyze.sheets.toml_models import Sheet
from loganalyze.training.exercises import ExerciseFindings
from loganalyze.training.progress_trend import (
    LEAST_FLIGHTS,
    Direction,
    Trend,
    directions,
    trend_of,
)
from loganalyze.training.segments.segment_results import CriterionCode, Measured, Segment

LEAST_TRAINEES: Final = 8
"""With fewer other trainees nothing is said of them: their values could be worked out."""
FEWEST_TRAINEES: Final = 5
"""No school may set it lower."""

SMALLER_IS_BETTER = frozenset((
    "altitude_error_ft", "speed_error_kt", "bank_sd_deg", "altitude_lost_ft",
    "entry_altitude_range_ft", "pattern_height_sd_ft", "overshoot_kt", "altitude_range_ft",
    "speed_sd_kt", "drift_kt", "largest_error_kt", "rms_error_kt", "rms_error_mach", "settling_s",
    "overshoot_mach", "unsteadiness_kt", "unsteadiness_mach"))
"""Measures of which less is better flown; of any other neither more nor less is."""


class RecordedMeasure(Sheet):
    """One measure of one kind of exercise in one flight."""

    exercise: str = Field(min_length=1, description="The kind of exercise.")
    measure: str = Field(min_length=1, description="The measure's name, ending with its unit.")
    value: float = Field(description="Its mean over the flight's exercises of that kind.")
    uncertainty: float | None = Field(
        None, ge=0, description="Standard uncertainty by the measurement, in the same unit.")
    count: int = Field(1, ge=1, description="Over so many exercises.")


class RecordedCriterion(Sheet):
    """One thing that a rule of the school asks for, and what was flown."""

    asked_for: str = Field(min_length=1, description="What is asked for, as the schedule has it; "
                           "it ends with the unit.")
    asked: float = Field(description="The bound.")
    flown: float | None = Field(None, description="What was flown; null where not measured.")
    uncertainty: float | None = Field(None, ge=0, description="Its standard uncertainty.")
    outcome: CriterionCode = Field(description="Whether it was met; in doubt counts for the "
                                   "trainee.")


class RecordedGrade(Sheet):
    """The school's own word for one part of a flight, and the rule that gave it."""

    part: str = Field(min_length=1, description="The part of the schedule.")
    word: str = Field("", description="The school's word; blank where no rule was met.")
    criteria: Annotated[tuple[RecordedCriterion, ...], Strict(False)] = Field(
        description="All that the rule asks for; where none was met, that of the last one tried.")


class LessonRecord(Sheet):
    """What one lesson adds to a trainee's progress: measures, the school's words, and no name."""

    trainee: str = Field(pattern="^[A-Za-z0-9][A-Za-z0-9_.-]{0,23}$",
                         description="The trainee's pseudonym: letters, digits, _ . -")
    flown: str = Field("", pattern=r"^(\d{4}-\d\d-\d\d(T\d\d:\d\d(:\d\d)?)?)?$",
                       description="The day or time of the flight [UTC].")
    flight: str = Field(min_length=1, description="SHA-256 of the recording and the flight in it.")
    measures: Annotated[tuple[RecordedMeasure, ...], Strict(False)] = Field(
        description="The measures.")
    grades: Annotated[tuple[RecordedGrade, ...], Strict(False)] = Field(
        (), description="The school's words for the parts, by the rules of its schedule.")


@dataclass(frozen=True, slots=True)
class MeasureProgress:
    """One measure over a trainee's flights.

    ``values``, ``uncertainties`` : a number a flight, NaN where the flight has none; ``better`` :
    -1 where smaller is better, else 0; ``course_low``, ``course_high`` : the middle half of the
    other trainees' own means, NaN where too few have the measure.
    """

    exercise: str
    measure: str
    better: int
    values: tuple[float, ...]
    uncertainties: tuple[float, ...]
    trend: Trend
    direction: Direction
    course_low: float
    course_high: float


@dataclass(frozen=True, slots=True)
class Progress:
    """A trainee's progress.

    ``flown`` : when each flight was, in order, "" where not known; ``dated`` : whether that is the
    order of time, else the order in which the flights were given; ``compared`` : how many measures
    are looked at together, which the words allow for; ``others`` : how many other trainees there
    are, ``least_others`` : how many must have a measure before it is said how they flew it;
    ``grades`` : of each flight the school's words for its parts.
    """

    trainee: str
    flown: tuple[str, ...]
    dated: bool
    measures: tuple[MeasureProgress, ...]
    compared: int
    others: int
    least_others: int
    grades: tuple[tuple[RecordedGrade, ...], ...] = ()


def lesson_record(
    analysis: Analysis, findings: ExerciseFindings, trainee: str, *, flown: str = "",
    segments: Sequence[Segment] = (),
) -> LessonRecord:
    """Return what a flight adds to a trainee's progress.

    Parameters
    ----------
    analysis : Analysis
    findings : ExerciseFindings
        Its exercises, as found or corrected.
    trainee : str
        A pseudonym of letters, digits, "_", "." and "-".
    flown : str, optional
        The day, where the log has no date.
    segments : sequence of Segment, optional
        Its parts against a schedule, as `assess_lesson` gave them.

    Returns
    -------
    LessonRecord

    Raises
    ------
    Problem
        For what is no pseudonym or no day.

    Examples
    --------
    >>> import loganalyze as la
    >>> from loganalyze.training import find_exercises, lesson_record
    >>> flight, = la.analyze("sample_logs/clean_flight.csv", "sample_logs/ouzelwing_240.toml")
    >>> record = lesson_record(flight, find_exercises(flight), "T7", flown="2031-05-03")
    >>> record.trainee, {measure.exercise for measure in record.measures} <= {
    ...     "climb at constant CAS", "descent at constant CAS"}
    ('T7', True)
    """
    measures = recorded_measures(findings, segments)
    start = analysis.log.utc_start
    when = flown or ("" if start is None else str(start.astype("datetime64[s]")))
    try:
        return LessonRecord(trainee=trainee, flown=when, measures=measures,
                            grades=recorded_grades(segments),
                            flight=f"{analysis.log.source.sha256}:{analysis.flight}")
    except ValidationError as error:
        field = str(error.errors()[0]["loc"][0])
        raise Problem(f'"{trainee if field == "trainee" else when}" is no {_WHAT[field]}',
                      str(analysis.log.source.path),
                      "write a pseudonym of letters, digits, _ . and -, and a day as 2031-05-03"
                      ) from None


def recorded_measures(
    findings: ExerciseFindings, segments: Sequence[Segment] = ()
) -> tuple[RecordedMeasure, ...]:
    """Return a flight's measures: of each kind of exercise, and of each briefed part, the mean."""
    grouped: dict[tuple[str, str], list[tuple[float, float]]] = {}
    for exercise in findings.exercises:
        for measure in exercise.measures:
            if math.isfinite(measure.value):
                grouped.setdefault((exercise.kind, measure.name), []).append(
                    (measure.value, measure.uncertainty))
    for segment in segments:
        for name, measured in _of_segment(segment):
            if math.isfinite(measured.value):
                grouped.setdefault((_part(segment), name), []).append(
                    (measured.value, measured.u))
    measures = []
    for (kind, name), some in sorted(grouped.items()):
        values, errors = np.array(some).T
        # Errors of one flight's exercises may be common to them: they aren't averaged out.
        error = float(np.sqrt(np.mean(errors**2)))
        measures.append(RecordedMeasure(
            exercise=kind, measure=name, value=float(values.mean()),
            uncertainty=error if math.isfinite(error) else None, count=len(some)))
    return tuple(measures)


def recorded_grades(segments: Sequence[Segment]) -> tuple[RecordedGrade, ...]:
    """Return the school's word for each part that a rule is for, with what the rule asks."""
    return tuple(RecordedGrade(
        part=_part(segment), word=segment.grade.name, criteria=tuple(RecordedCriterion(
            asked_for=criterion.key, asked=criterion.asked, flown=_known(criterion.flown),
            uncertainty=_known(criterion.u), outcome=criterion.code)
            for criterion in segment.grade.tried[-1][1]))
        for segment in segments if segment.grade is not None)


def _part(segment: Segment) -> str:
    return f"briefed {segment.kind.replace('_', ' ')}, {segment.part}"


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _of_segment(segment: Segment) -> tuple[tuple[str, Measured], ...]:
    unit = segment.unit
    return ((f"rms_error_{unit}", segment.rms), (f"mean_error_{unit}", segment.mean),
            ("settling_s", segment.settling_s), (f"overshoot_{unit}", segment.overshoot),
            (f"unsteadiness_{unit}", segment.unsteadiness))


_WHAT = {"trainee": "pseudonym", "flown": "day"}


def read_record(path: str | Path) -> LessonRecord:
    """Read a lesson's record.

    Raises
    ------
    Problem
        For a file that can't be read or is none.

    Examples
    --------
    >>> from pathlib import Path
    >>> from loganalyze.training import read_record
    >>> _ = Path("lesson.json").write_text(
    ...     '{"trainee": "T7", "flight": "a:1", "measures": []}', encoding="utf-8")
    >>> read_record("lesson.json").trainee
    'T7'
    """
    path = Path(path)
    try:
        return LessonRecord.model_validate_json(path.read_bytes())
    except OSError as error:
        raise Problem(f"the file can't be read ({error.strerror})", str(path),
                      "check the path") from error
    except ValidationError as error:
        first = error.errors()[0]
        key = ".".join(map(str, first["loc"])) or "the file"
        raise Problem(f"it is no record of a lesson ({key}: {first['msg'].lower()})", str(path),
                      "give records that loganalyze progress wrote, or logs") from None


def progress_of(
    records: Iterable[LessonRecord], trainee: str | None = None, *,
    least_others: int = LEAST_TRAINEES,
) -> Progress:
    """Return a trainee's progress over their flights.

    Parameters
    ----------
    records : iterable of LessonRecord
        The trainee's, and those of others of the course.
    trainee : str, optional
        Whose progress; may be left out where all records are of one.
    least_others : int, optional
        So many others must have flown a measure before their range of it is given.

    Returns
    -------
    Progress
        Flights in the order of time where all have one, else as given.

    Raises
    ------
    Problem
        For a trainee without records, several without a choice, a flight given twice, or
        `least_others` below `FEWEST_TRAINEES`.

    Examples
    --------
    >>> from loganalyze.training import LessonRecord, RecordedMeasure, progress_of
    >>> records = [LessonRecord(trainee="T7", flown=f"2031-05-0{day}", flight=f"{day}", measures=(
    ...     RecordedMeasure(exercise="steep turn", measure="altitude_error_ft", value=error,
    ...                     uncertainty=5.0),))
    ...     for day, error in enumerate([260.0, 228.0, 180.0, 149.0, 107.0, 65.0], 1)]
    >>> [measure.direction for measure in progress_of(records).measures]
    ['improving']
    """
    if least_others < FEWEST_TRAINEES:
        raise Problem(f"{least_others} other trainees are too few for their range to protect them",
                      "", f"give {FEWEST_TRAINEES} or more")
    everything = tuple(records)
    trainee = _chosen(everything, trainee)
    own = [lesson for lesson in everything if lesson.trainee == trainee]
    twice = [
        lesson.flight for lesson in own if sum(lesson.flight == other.flight for other in own) > 1
    ]
    if twice:
        raise Problem("a flight is given twice", trainee, "give each flight once")
    dated = all(lesson.flown for lesson in own)
    if dated:
        own.sort(key=lambda one: one.flown)
    keys = sorted(
        {(measure.exercise, measure.measure) for record in own for measure in record.measures}
    )
    others = {lesson.trainee for lesson in everything} - {trainee}
    columns = {key: _column(own, key) for key in keys}
    course = {name: [lesson for lesson in everything if lesson.trainee == name] for name in others}
    trends = []
    for values, errors in columns.values():
        known = np.isfinite(values)
        trends.append(trend_of(values[known], errors[known]))
    sides = [_better(key) for key in keys]
    rows = [MeasureProgress(*key, side, tuple(columns[key][0].tolist()),
                            tuple(columns[key][1].tolist()), trend, word,
                            *_course(course.values(), key, least_others))
            for key, side, trend, word in zip(keys, sides, trends, directions(trends, sides),
                                              strict=True)]
    compared = sum(bool(side) and trend.flights >= LEAST_FLIGHTS
                   for side, trend in zip(sides, trends, strict=True))
    return Progress(trainee, tuple(lesson.flown for lesson in own), dated, tuple(rows), compared,
                    len(others), least_others, tuple(lesson.grades for lesson in own))


def _chosen(records: Sequence[LessonRecord], trainee: str | None) -> str:
    names = sorted({record.trainee for record in records})
    if trainee is None and len(names) == 1:
        return names[0]
    if trainee is None:
        raise Problem("the records are of several trainees" if names else "there are no records",
                      "", "say with --trainee whose progress is wanted" if names
                      else "give records or logs")
    if trainee not in names:
        raise Problem("no record is of this trainee", trainee, "check the pseudonym")
    return trainee


def _better(key: tuple[str, str]) -> int:
    return -1 if key[1] in SMALLER_IS_BETTER else 0


def _column(records: Sequence[LessonRecord], key: tuple[str, str]
            ) -> tuple[np.ndarray, np.ndarray]:
    """Return a measure's value and uncertainty in each flight, NaN where it has none."""
    values, errors = np.full((2, len(records)), np.nan)
    for i, record in enumerate(records):
        for measure in record.measures:
            if (measure.exercise, measure.measure) == key:
                values[i] = measure.value
                errors[i] = np.nan if measure.uncertainty is None else measure.uncertainty
    return values, errors


def _course(
    others: Iterable[Sequence[LessonRecord]], key: tuple[str, str], least: int
) -> tuple[float, float]:
    """Return the range of the middle half of the others' means; NaN of fewer than `least`."""
    means = []
    for records in others:
        values, _ = _column(records, key)
        if np.isfinite(values).any():
            means.append(float(np.nanmean(values)))
    if len(means) < least:
        return float("nan"), float("nan")
    low, high = np.quantile(means, [0.25, 0.75])
    return float(low), float(high)
