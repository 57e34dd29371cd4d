"""What a worker does: read, judge and assess one log, and return its rows."""

from __future__ import annotations

import json
import pickle
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import lru_cache
from importlib import import_module
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from loganalyze.events.analysis import analyze
from loganalyze.explain.assessment import assess_flight
from loganalyze.fleet.judging.aircraft_choice import AircraftChoice, Basis, combined_digest
from loganalyze.fleet.judging.evidence_rows import (
    OTHER_SOURCES,
    QUALITY_FLAGS,
    rows_around,
    with_second_sources,
)
from loganalyze.fleet.judging.flight_rows import FLIGHTS, MEASURES
from loganalyze.fleet.judging.kept_corrections import correction_file, corrections_digest
from loganalyze.fleet.judging.log_sources import LogSource
from loganalyze.fleet.judging.statistics_rows import CHECKS, CLOSEST
from loganalyze.fleet.judging.training_table import TRAINING
from loganalyze.problems import Problem
from loganalyze.read import read_flights
from loganalyze.read.plan.log_opening import stated_registration
from loganalyze.record.flight_log import FlightLog
from loganalyze.record.threads import one_thread
from loganalyze.results.assessment_results import Assessment
from loganalyze.sheets.evaluation_settings import Settings
from loganalyze.sheets.lesson.schedule_file import Schedule
from loganalyze.show.tables.result_tables import TABLES
from loganalyze.show.tables.sample_table import sample_table
from loganalyze.show.tables.table_columns import Origin, ResultTable
from loganalyze.text.flight_account import flight_facts
from loganalyze.text.plain_values import plain
from loganalyze.version import __version__

Samples = Literal["none", "around", "all"]
Row = tuple[Any, ...]


def row_tables() -> tuple[ResultTable, ...]:
    """Return the tables of which a flight gives rows, `flights` first."""
    return (FLIGHTS, MEASURES, CLOSEST, CHECKS, TRAINING, QUALITY_FLAGS, OTHER_SOURCES, *TABLES)


@dataclass(frozen=True)
class FleetJob:
    """What is the same for every log of a run; `packed` is what goes to the workers."""

    choice: AircraftChoice
    thresholds: dict[str, float] = field(default_factory=dict)
    """Thresholds of the evaluation that were given for the run, by name."""
    samples: Samples = "around"
    _settings: dict[str, tuple[Settings, str]] = field(
        default_factory=dict, compare=False, repr=False)
    """Of each basis, by its digest, the thresholds, and these as text."""

    def settings(self, basis: Basis) -> Settings:
        """Return the thresholds by which a log of this basis is judged."""
        return self._stated(basis)[0]

    def _stated(self, basis: Basis) -> tuple[Settings, str]:
        if basis.digest not in self._settings:
            settings = Settings(**{**basis.sheet.screening, **self.thresholds})
            self._settings[basis.digest] = settings, json.dumps(plain(settings))
        return self._settings[basis.digest]

    def attempt_key(self, sha256: str, source: LogSource | None) -> str:
        """Return the key of an attempt on a log: the same inputs give the same."""
        corrected = "" if source is None else corrections_digest(
            source, sorted(self.choice.correction_folders(), key=str))
        return combined_digest([sha256, self.choice.digest, json.dumps(self.thresholds),
                                __version__, *([corrected] if corrected else [])])

    def judgement_key(self, sha256: str, basis: Basis, source: LogSource) -> str:
        """Return the key of a log's judgement: of its bytes and all that it is judged by, an
        instructor's corrections among it."""
        corrected = ("" if basis.schedule is None
                     else corrections_digest(source, [basis.corrections]))
        return combined_digest([sha256, basis.digest, self._stated(basis)[1], __version__,
                                *([corrected] if corrected else [])])

    def packed(self) -> bytes:
        """Return the job as bytes for another process."""
        return pickle.dumps(self)


@dataclass(frozen=True)
class LogTask:
    """One log to judge.

    ``sha256`` : what a store knows its bytes by: their SHA-256, in a protected store a keyed hash
    of it; ``own_sha256`` : their SHA-256 where that is another one.
    """

    source: LogSource
    sha256: str
    own_sha256: str = ""


@dataclass(frozen=True)
class JudgedLog:
    """The rows of a log's flights, by table.

    ``rows`` : of each table its rows, each after the number of its flight; ``samples`` : of each
    flight with kept samples an Arrow IPC stream; ``day`` : of its first sample.
    """

    task: LogTask
    judgement_key: str
    registration: str
    tags: str
    day: date | None
    flights: int
    recorded_s: float
    rows: dict[str, list[tuple[int, Row]]]
    samples: list[tuple[int, bytes]]

    @property
    def sample_count(self) -> int:
        """Recorded samples of all its flights."""
        return sum(row[3] for _, row in self.rows["flights"])


@dataclass(frozen=True)
class FailedLog:
    """A log that couldn't be judged, and why; without ``sha256`` it is tried again."""

    source: str
    reason: str
    kind: str
    sha256: str | None
    log: LogSource | None = None


@lru_cache(maxsize=2)
def _job(packed: bytes) -> FleetJob:
    job: FleetJob = pickle.loads(packed)
    return job


def judge_logs(packed: bytes, tasks: Sequence[LogTask]) -> list[JudgedLog | FailedLog]:
    """Judge some logs; one that can't be judged is a `FailedLog` and stops nothing.

    On one thread: the workers share the machine.
    """
    with one_thread():
        return [_judged_or_not(_job(packed), task) for task in tasks]


def _judged_or_not(job: FleetJob, task: LogTask) -> JudgedLog | FailedLog:
    name = task.source.name
    try:
        return judge(job, task)
    except Problem as problem:
        return FailedLog(name, problem.sentence, "wrong input", task.sha256, task.source)
    except OSError as error:
        said = Problem(f"it can't be read ({error.strerror or error})", name, "check the disk")
        return FailedLog(name, said.sentence, "unreadable", None)
    except Exception as error:
        said = Problem("an unexpected error, a fault of this program "
                       f"({type(error).__name__}: {error})", name, "report it with the log")
        return FailedLog(name, said.sentence, "unexpected error", task.sha256, task.source)


def judge(job: FleetJob, task: LogTask) -> JudgedLog:
    """Judge one log; raises Problem where that can't be done."""
    name = task.source.name
    registration = job.choice.registration_in(name)
    rows: dict[str, list[tuple[int, Row]]] = {table.name: [] for table in row_tables()}
    samples: list[tuple[int, bytes]] = []
    basis: Basis | None = None
    key = ""
    day: date | None = None
    recorded = 0.0
    number = 0
    with task.source.local() as path:
        if job.choice.needs_registration(name):
            registration = stated_registration(path)
        columns = job.choice.first_basis(name, registration).columns
        for flight in read_flights(path, columns):
            number += 1
            if number == 1:
                day = _day(flight)
                basis = job.choice.basis(name, registration, day)
                key = job.judgement_key(task.sha256, basis, task.source)
            assert basis is not None
            judged = assess_flight(analyze(flight, basis.sheet, settings=job.settings(basis),
                                           flight=number), explained=False)
            origin = Origin(
                flight.source.path.name, basis.aircraft or registration or basis.sheet.aircraft,
                basis.limits.name)
            recorded += _keep(judged, number, origin, rows, samples, job.samples)
            if basis.schedule is not None:
                rows[TRAINING.name].extend((number, (*row, *origin.cells))
                                           for row in _training_rows(
                                               judged, basis.schedule, correction_file(
                                                   task.source, number, basis.corrections)))
            del flight, judged
    if basis is None:
        raise Problem("the log holds no flight", name, "check that it is a recording")
    if key != job.judgement_key(task.sha256, basis, task.source):
        raise Problem("its corrections changed while it was judged", name, "run again")
    return JudgedLog(task, key, registration,
                     json.dumps(dict(sorted(basis.tags.items()))), day, number, recorded, rows,
                     samples)


def _training_rows(judged: Assessment, schedule: Schedule, corrections: Path | None
                   ) -> Iterator[Row]:
    """Yield the rows of a flight that is measured against a schedule."""
    # Imported by name: the measures of lessons take a fifth of the time in which a worker starts.
    module: Any = import_module("loganalyze.fleet.judging.training_rows")
    yield from module.training_rows(judged, schedule, corrections)


def _keep(judged: Assessment, number: int, origin: Origin,
          rows: dict[str, list[tuple[int, Row]]], samples: list[tuple[int, bytes]],
          wanted: Samples) -> float:
    """Add a flight's rows and samples; return its recorded time [s]."""
    facts = flight_facts(judged, in_words=False)
    for table in row_tables():
        rows[table.name].extend(
            (number, (*row, *origin.cells)) for row in table.rows(judged, facts))
    if wanted == "all" or (wanted == "around" and facts.exceedances):
        samples.append((number, _samples(judged, origin, wanted)))
    return facts.recorded_s


def _samples(judged: Assessment, origin: Origin, wanted: Samples) -> bytes:
    """Return a flight's samples, or those around its exceedances, as an Arrow IPC stream.

    The state of each single limit is left out: sheets differ in their limits.
    """
    around = rows_around(judged.analysis)
    rows = around if wanted == "around" else None
    table = sample_table(judged, origin, rows)
    table = table.select([name for name in table.column_names if not name.startswith("state_")])
    table = with_second_sources(table, judged, around, rows)
    plain_text = [pc.cast(column, pa.string()) if pa.types.is_dictionary(column.type) else column
                  for column in table.columns]
    table = pa.table(plain_text, names=table.column_names)
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, table.schema) as writer:
        writer.write_table(table)
    packed: bytes = sink.getvalue().to_pybytes()
    return packed


def _day(flight: FlightLog) -> date | None:
    """Return the day [UTC] of a flight's first sample; None where the log has no date."""
    if flight.utc_start is None or not len(flight.time):
        return None
    start = flight.utc_start + np.timedelta64(round(float(flight.time[0]) * 1e9), "ns")
    found: datetime = start.astype("datetime64[us]").item()
    return found.date()
