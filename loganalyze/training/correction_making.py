"""Making an instructor's corrections: what is wrong with one is said before it is kept."""

from __future__ import annotations

from datetime import UTC, datetime

from pydantic import ValidationError

from loganalyze.events.analysis import Analysis
from loganalyze.problems import Problem
from loganalyze.training.exercise_corrections import (
    SHARED,
    Correction,
    CorrectionsFile,
    corrected,
)
from loganalyze.training.exercises import Exercise, ExerciseFindings, ExerciseKind

SHORTEST_S = 1.0
"""[s] No exercise is shorter (engineering judgement)."""


def corrected_by(
    analysis: Analysis, findings: ExerciseFindings, corrections: CorrectionsFile, by: str, *,
    exercise: int | None = None, delete: bool = False, kind: ExerciseKind | None = None,
    start_s: float | None = None, end_s: float | None = None, note: str = "",
    at: datetime | None = None,
) -> CorrectionsFile:
    """Return a flight's corrections with one more, which an instructor makes.

    Parameters
    ----------
    analysis : Analysis
        The judged flight.
    findings : ExerciseFindings
        As `find_exercises` gave them for it.
    corrections : CorrectionsFile
        Those made before; the new one is of the exercises as they stand after these.
    by : str
        Who corrects: initials or a pseudonym.
    exercise : int, optional
        The number of the exercise, from 1 by start, as the lesson's page has it; without it, one
        is added.
    delete : bool
        It is none.
    kind, start_s, end_s : optional
        What it was, and from when to when [s]; all three for one that is added.
    note : str
    at : datetime, optional
        When it is made, now where not given.

    Returns
    -------
    CorrectionsFile

    Raises
    ------
    Problem
        For a number that there isn't, times outside the flight or the wrong way round, what changes
        nothing, an exercise that is there already, or without a name.

    Examples
    --------
    >>> import loganalyze as la
    >>> from loganalyze.training import corrected_by, corrections_for, find_exercises
    >>> flight, = la.analyze("sample_logs/clean_flight.csv", "sample_logs/ouzelwing_240.toml")
    >>> made = corrected_by(flight, find_exercises(flight), corrections_for(flight), "KL",
    ...                     kind="stall", start_s=700.0, end_s=790.0)
    >>> [(correction.action, correction.kind, correction.by) for correction in made.correction]
    [('add', 'stall', 'KL')]
    """
    stands = corrected(findings, corrections, analysis).findings.exercises
    if not by.strip():
        raise Problem("nobody is named who corrects", "", "give initials or a pseudonym (--by)")
    meant = None if exercise is None else _numbered(stands, exercise)
    start, end = _span(analysis, meant, start_s, end_s)
    stated = {"by": by.strip(), "note": note, "at": (at or datetime.now(UTC)).astimezone(UTC)
              .strftime("%Y-%m-%dT%H:%M:%S")}
    if meant is None:
        if delete or kind is None or start_s is None or end_s is None:
            raise Problem("it isn't said which exercise is meant", "",
                          "give its number, or kind, start and end of one to add")
        _check_free(stands, kind, start, end)
        made = {"action": "add", "kind": kind, "start_s": start, "end_s": end}
    else:
        made = {"action": "delete" if delete else "change", "kind": meant.kind,
                "start_s": meant.start_s, "end_s": meant.end_s}
        news = {"new_kind": None if kind == meant.kind else kind,
                "new_start_s": None if start == meant.start_s else start,
                "new_end_s": None if end == meant.end_s else end}
        given = {key: value for key, value in news.items() if value is not None}
        if delete and any(value_given is not None for value_given in (kind, start_s, end_s)):
            raise Problem("an exercise can't be both deleted and changed", "",
                          "give one of them")
        if not delete and not given:
            raise Problem(f"exercise {exercise} is that already, so nothing would be corrected", "",
                          "give another kind, start or end")
        if not delete:
            _check_free(
                [standing for standing in stands if standing is not meant],
                kind or meant.kind,
                start,
                end,
            )
        made |= given
    try:
        whole = Correction.model_validate({**made, **stated})
    except ValidationError as error:
        raise Problem(f"the correction isn't one ({error.errors()[0]['msg'].lower()})", "",
                      "give at most 40 letters for who corrects") from None
    return corrections.model_copy(update={"correction": (*corrections.correction, whole)})


def _numbered(stands: tuple[Exercise, ...], number: int) -> Exercise:
    if not 1 <= number <= len(stands):
        there = f"{len(stands)} exercises" if len(stands) != 1 else "1 exercise"
        raise Problem(f"there is no exercise {number}: the flight has {there}", "",
                      "give one of their numbers")
    return stands[number - 1]


def _span(analysis: Analysis, meant: Exercise | None, start: float | None, end: float | None
          ) -> tuple[float, float]:
    first, last = float(analysis.time[0]), float(analysis.time[-1])
    low = start if start is not None else meant.start_s if meant is not None else first
    high = end if end is not None else meant.end_s if meant is not None else last
    for edge in (low, high):
        if not first <= edge <= last:
            raise Problem(
                f"{edge:g} s is outside the flight, which is from {first:g} to {last:g} s",
                "",
                "give seconds from the log's first sample",
            )
    if high - low < SHORTEST_S:
        raise Problem(f"from {low:g} to {high:g} s is no exercise", "",
                      f"give an end {SHORTEST_S:g} s or more after the start")
    return low, high


def _check_free(stands: list[Exercise] | tuple[Exercise, ...], kind: ExerciseKind, start: float,
                end: float) -> None:
    for exercise in stands:
        shared = min(exercise.end_s, end) - max(exercise.start_s, start)
        whole = max(exercise.end_s, end) - min(exercise.start_s, start)
        if exercise.kind == kind and shared / whole >= SHARED:
            raise Problem(
                f"there is a {kind} at {exercise.start_s:g} to {exercise.end_s:g} s already",
                "",
                "correct that one by its number",
            )
