"""An instructor's corrections of the exercises that were found, kept in a file beside the log.

The file is TOML, made for one flight of one recording, and says which::

    sha256 = "..."            # of the recording
    flight = 1
    duration_s = 4321.0       # from the first sample to the last
    start_utc = "2031-05-03T09:12:00"

    [[correction]]
    action = "change"         # or "delete", "add"
    kind = "speed change"     # what was found, and where
    start_s = 812.0
    end_s = 843.0
    new_kind = "level acceleration"
    by = "KL"                 # who corrected it, and when
    at = "2031-05-04T16:20:00"
    note = "the full-power one"

`loganalyze correct` writes it, to `beside` the log unless another file is given, and
`loganalyze training` looks for it there.

Times are seconds from the log's first sample. A correction is applied again each time the log is
analysed, to the exercise of that kind that shares most of its time.
"""

from __future__ import annotations

import os
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Final, Literal

import numpy as np
from pydantic import Field, Strict, model_validator

from loganalyze.events.analysis import Analysis
from loganalyze.problems import Problem
from loganalyze.sheets.toml_models import Sheet, read_toml, refuse, written
from loganalyze.training.detection.span_measures import span_measures
from loganalyze.training.exercises import (
    ADDED,
    CORRECTED,
    Exercise,
    ExerciseFindings,
    ExerciseKind,
)

SAME, REWRITTEN = "same", "rewritten"
LogState = Literal["same", "rewritten"]
"""SAME : the recording is the one that was corrected, to the byte; REWRITTEN : its bytes differ,
and it covers the same time."""
SHARED: Final = 0.5
"""A correction is of the exercise that shares at least this part of the time of both."""
SAME_TIME_S = 2.0
"""[s] A rewritten recording starts at the same instant, and is as long, to within this."""


class Correction(Sheet):
    """One correction: an exercise changed, deleted or added."""

    action: Literal["change", "delete", "add"] = Field(description="What is done.",
        examples=["change"])
    kind: ExerciseKind = Field(description="The kind that was found, or the one that is added.",
        examples=["steep turn"])
    start_s: float = Field(ge=0, description="Where it was found, or is added: its start [s].",
        examples=[812.0])
    end_s: float = Field(gt=0, description="... and its end [s].",
        examples=[843.0])
    new_kind: ExerciseKind | None = Field(None, description="What it really was.",
        examples=["level acceleration"])
    new_start_s: float | None = Field(None, ge=0, description="Where it really began [s].",
        examples=[808.0])
    new_end_s: float | None = Field(None, gt=0, description="Where it really ended [s].",
        examples=[850.0])
    note: str = Field("", description="Why, for whoever reads the file.",
        examples=["the full-power one"])
    by: str = Field("", max_length=40, description="Who corrected it: initials or a pseudonym.",
        examples=["KL"])
    at: str = Field("", pattern=r"^(\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d)?$",
        description="When it was corrected [UTC].", examples=["2031-05-04T16:20:00"])

    @model_validator(mode="after")
    def _is_whole(self) -> Correction:
        news = {"new_kind": self.new_kind, "new_start_s": self.new_start_s,
                "new_end_s": self.new_end_s}
        given = [name for name, value in news.items() if value is not None]
        if self.end_s <= self.start_s:
            refuse("it ends before it starts", "correct one of them", "end_s")
        if self.action == "change" and not given:
            refuse("nothing is changed", "write new_kind, new_start_s or new_end_s", "action")
        if self.action != "change" and given:
            refuse(f"it goes with change only, and this is {self.action}", "take it out", given[0])
        if self.span[1] <= self.span[0]:
            refuse("corrected, it ends before it starts", "correct one of them", given[-1])
        return self

    @property
    def span(self) -> tuple[float, float]:
        """Start and end [s] as corrected."""
        return (self.start_s if self.new_start_s is None else self.new_start_s,
                self.end_s if self.new_end_s is None else self.new_end_s)


class CorrectionsFile(Sheet):
    """The corrections of one flight of one recording."""

    sha256: str = Field(min_length=64, max_length=64, pattern="^[0-9a-f]+$",
                        description="SHA-256 of the recording.",
        examples=["0" * 64])
    flight: int = Field(1, ge=1, description="Which flight of it, from 1.",
        examples=[1])
    duration_s: float = Field(ge=0, description="From its first sample to its last [s].",
        examples=[4321.0])
    start_utc: str = Field("", description="The time of its first sample [UTC], where known.",
        examples=["2031-05-03T09:12:00"])
    correction: Annotated[tuple[Correction, ...], Strict(False)] = Field(
        (), description="The corrections, in the order in which they were made.",
        examples=[[{"action": "delete", "kind": "stall", "start_s": 812.0, "end_s": 843.0}]])


@dataclass(frozen=True, slots=True)
class CorrectedFindings:
    """The exercises of a flight after an instructor's corrections.

    ``log`` : SAME or REWRITTEN, against the recording that was corrected; ``unapplied`` : the
    corrections whose exercise isn't found any more.
    """

    findings: ExerciseFindings
    log: LogState
    unapplied: tuple[Correction, ...]


def corrections_for(
    analysis: Analysis, corrections: tuple[Correction, ...] = ()
) -> CorrectionsFile:
    """Return the content of a corrections file for a flight.

    Parameters
    ----------
    analysis : Analysis
    corrections : tuple of Correction, optional

    Returns
    -------
    CorrectionsFile
        To be written with `write_corrections`.

    Examples
    --------
    >>> import loganalyze as la
    >>> from loganalyze.training import Correction, corrections_for, write_corrections
    >>> flight, = la.analyze("sample_logs/clean_flight.csv", "sample_logs/ouzelwing_240.toml")
    >>> added = Correction(action="add", kind="stall", start_s=700.0, end_s=790.0)
    >>> write_corrections(corrections_for(flight, (added,)), "corrections.toml")
    """
    start = analysis.log.utc_start
    return CorrectionsFile(
        sha256=analysis.log.source.sha256, flight=analysis.flight,
        duration_s=round(float(analysis.time[-1] - analysis.time[0]), 3),
        start_utc="" if start is None else str(start.astype("datetime64[s]")),
        correction=corrections)


def read_corrections(path: str | Path) -> CorrectionsFile:
    """Read a corrections file.

    Raises
    ------
    Problem
        For a file that can't be read or holds no corrections; it names the key and the hint.

    Examples
    --------
    >>> import loganalyze as la
    >>> from loganalyze.training import corrections_for, read_corrections, write_corrections
    >>> flight, = la.analyze("sample_logs/clean_flight.csv", "sample_logs/ouzelwing_240.toml")
    >>> write_corrections(corrections_for(flight), "corrections.toml")
    >>> read_corrections("corrections.toml").correction
    ()
    """
    return read_toml(path, CorrectionsFile)


def write_corrections(corrections: CorrectionsFile, path: str | Path) -> None:
    """Write a corrections file, whole or not at all.

    An earlier file stays as it is until the new one is complete on the disk.

    Examples
    --------
    >>> import loganalyze as la
    >>> from loganalyze.training import corrections_for, write_corrections
    >>> flight, = la.analyze("sample_logs/clean_flight.csv", "sample_logs/ouzelwing_240.toml")
    >>> write_corrections(corrections_for(flight), "corrections.toml")
    """
    path = Path(path)
    lines = [f"{key} = {written(value)}" for key, value in corrections.model_dump(
        exclude={"correction"}, exclude_defaults=True).items()]
    for correction in corrections.correction:
        lines += ["", "[[correction]]", *(
            f"{key} = {written(value)}"
            for key, value in correction.model_dump(exclude_defaults=True).items())]
    descriptor, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(descriptor, "w", encoding="utf-8", newline="\n") as stream:
            stream.write("\n".join(lines) + "\n")
            stream.flush()
            os.fsync(stream.fileno())
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def corrected(
    findings: ExerciseFindings, corrections: CorrectionsFile, analysis: Analysis,
    where: str = "corrections",
) -> CorrectedFindings:
    """Apply an instructor's corrections to the exercises that were found.

    Parameters
    ----------
    findings : ExerciseFindings
        As `find_exercises` gave them for this flight.
    corrections : CorrectionsFile
    analysis : Analysis
        The judged flight.
    where : str, optional
        The file that they are from, for the error.

    Returns
    -------
    CorrectedFindings
        What an instructor changed or added has a confidence of 1, and measures of its new
        stretch. A correction of an exercise that isn't found any more is left out and listed.

    Raises
    ------
    Problem
        Where the corrections are of another flight, or of another time, or one is outside the
        flight.

    Examples
    --------
    >>> import loganalyze as la
    >>> from loganalyze.training import Correction, corrected, corrections_for, find_exercises
    >>> flight, = la.analyze("sample_logs/clean_flight.csv", "sample_logs/ouzelwing_240.toml")
    >>> added = Correction(action="add", kind="stall", start_s=700.0, end_s=790.0)
    >>> found = corrected(find_exercises(flight), corrections_for(flight, (added,)), flight)
    >>> found.log, [finding.origin for finding in found.findings.of("stall")]
    ('same', ['added'])
    """
    state = _state(corrections, analysis, where)
    exercises, deleted = list(findings.exercises), list(findings.deleted)
    unapplied = []
    for correction in corrections.correction:
        _check_inside(correction, analysis, where)
        if correction.action == "add":
            exercises.append(_made(analysis, correction, correction.kind, *correction.span))
            continue
        meant = _meant(exercises, correction)
        if meant is None:
            unapplied.append(correction)
            continue
        exercises.remove(meant)
        if correction.action == "delete" and meant.origin != ADDED:
            deleted.append(replace(meant, by=correction.by, at=correction.at))
        if correction.action == "change":
            # A start or end that isn't corrected stays where it is found now.
            start = meant.start_s if correction.new_start_s is None else correction.new_start_s
            end = meant.end_s if correction.new_end_s is None else correction.new_end_s
            if end <= start:
                exercises.append(meant)
                unapplied.append(correction)
                continue
            exercises.append(
                replace(
                    _made(analysis, correction, correction.new_kind or meant.kind, start, end),
                    origin=CORRECTED,
                    marked=meant.marked,
                )
            )
    exercises.sort(key=lambda exercise: (exercise.start_s, exercise.end_s))
    return CorrectedFindings(ExerciseFindings(tuple(exercises), findings.unsearched,
                                              tuple(deleted)), state, tuple(unapplied))


def _state(corrections: CorrectionsFile, analysis: Analysis, where: str) -> LogState:
    """Return whether the recording is the one that was corrected; Problem for another one."""
    if corrections.flight != analysis.flight:
        raise Problem(f"the corrections are of flight {corrections.flight} of a recording, and "
                      f"this is flight {analysis.flight}", where,
                      "give the file of this flight")
    ours = corrections_for(analysis)
    if corrections.sha256 == ours.sha256:
        return "same"
    same_start = (not corrections.start_utc or not ours.start_utc or abs(
        np.datetime64(corrections.start_utc) - np.datetime64(ours.start_utc))
        <= np.timedelta64(int(SAME_TIME_S), "s"))
    if not same_start or abs(corrections.duration_s - ours.duration_s) > SAME_TIME_S:
        raise Problem("the corrections are of another recording: neither its bytes nor its time "
                      "are those of this one", where, "give the file that was made for this log, "
                      "or make a new one")
    return "rewritten"


def _meant(exercises: list[Exercise], correction: Correction) -> Exercise | None:
    """Return the exercise that a correction is of: of its kind, with most of its time."""
    def shared(other: Exercise) -> float:
        inside = min(other.end_s, correction.end_s) - max(other.start_s, correction.start_s)
        whole = max(other.end_s, correction.end_s) - min(other.start_s, correction.start_s)
        return inside / whole

    same = [
        other for other in exercises if other.kind == correction.kind and shared(other) >= SHARED
    ]
    return max(same, key=shared, default=None)


def _check_inside(correction: Correction, analysis: Analysis, where: str) -> None:
    last = float(analysis.time[-1])
    if (
        correction.span[1] > last + SAME_TIME_S
        or correction.span[0] < float(analysis.time[0]) - SAME_TIME_S
    ):
        raise Problem(
            f"a correction is of {correction.span[0]:g} to {correction.span[1]:g} s, and the "
            f"flight is from {float(analysis.time[0]):g} to {last:g} s",
            where,
            "correct the times: they are seconds from the log's first sample",
        )


def _made(analysis: Analysis, by: Correction, kind: ExerciseKind, start: float, end: float
          ) -> Exercise:
    return Exercise(kind, start, end, 1.0, (), span_measures(analysis, kind, start, end), ADDED,
                    by=by.by, at=by.at)
