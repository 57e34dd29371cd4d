"""A run over a fleet's logs: find, skip what is judged already, judge the rest, write the store."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from loganalyze.fleet import worker_pool
from loganalyze.fleet.flight_rows import FLIGHTS
from loganalyze.fleet.log_judging import (
    FailedLog,
    FleetJob,
    JudgedLog,
    LogTask,
    judge_logs,
)
from loganalyze.fleet.log_sources import LogSource, find_logs
from loganalyze.fleet.shard_writing import StoreWriter, problem_row, writing
from loganalyze.fleet.store_queries import KnownLog, known_logs, problem_rows
from loganalyze.fleet.worker_pool import LocalWorkers, Workers
from loganalyze.problems import Problem

BATCH = 8
"""Logs that a worker is given at once: fewer cost messages, more leave a worker idle at the end."""
SHARD = 512
"""Flights of a shard; also what a killed run may have to judge again."""
SHARD_S = 60.0
"""Time [s] after which a shard is written though it isn't full."""


@dataclass
class FleetReport:
    """What a run did.

    ``logs`` : found; ``same`` : of them, of the same bytes as another one; ``known`` : judged
    already, with the same result to be expected; ``judged`` : judged in this run, with their
    ``flights`` and ``hours``; ``problems`` : not judged, in all; ``outcomes`` : the flights of
    this run by outcome.
    """

    logs: int = 0
    same: int = 0
    known: int = 0
    judged: int = 0
    flights: int = 0
    hours: float = 0.0
    samples: int = 0
    problems: int = 0
    unexpected: int = 0
    outcomes: dict[str, int] = field(default_factory=dict)
    unjudged_limits: int = 0
    """Flights in which a limit was judged for too little of the time."""
    seconds: float = 0.0

    @property
    def done(self) -> int:
        """Logs that are dealt with."""
        return self.same + self.known + self.judged + self.problems


def run_fleet(
    named: Iterable[str],
    job: FleetJob,
    store: str | Path,
    *,
    folders: bool = False,
    workers: Workers | None = None,
    progress: Callable[[FleetReport], None] | None = None,
) -> FleetReport:
    """Judge all logs into a store, each once for the same limits sheet, settings and version.

    Parameters
    ----------
    named : iterable of str
        Files, folders, patterns and addresses, as `find_logs` takes them.
    job : FleetJob
        What they are judged by.
    store : path-like
        The folder of the store; made where there is none.
    folders : bool
        Each folder that holds logs is one recording in several files.
    workers : Workers, optional
        Where to judge; otherwise a process for each processor.
    progress : callable, optional
        Called with the report so far, after each log.

    Returns
    -------
    FleetReport

    Raises
    ------
    Problem
        For what `named` doesn't lead to, a store that can't be written, and a fleet file with
        mistakes. A log that can't be judged is a row in `problems`, and the others go on.
    """
    folder = Path(store)
    sources = find_logs(named, folders=folders)
    began = time.monotonic()
    report = FleetReport(logs=len(sources))
    with writing(folder) as writer:
        known = known_logs(folder)
        run = _Run(job, report, writer, known, began,
                   progress or (lambda report: None), {
                       row[4]: row for row in problem_rows(folder) if row[4] is not None})
        pool = workers or LocalWorkers(os.cpu_count() or 1)
        results = worker_pool.run(
            pool, partial(judge_logs, job.packed()), _batches(run.to_judge(sources)), _given_up)
        for result in results:
            run.take(result)
        run.finish()
    report.seconds = time.monotonic() - began
    return report


class _Run:
    """The state of a run: what is known, what waits to be written, and the report."""

    def __init__(self, job: FleetJob, report: FleetReport, writer: StoreWriter,
                 known: dict[str, KnownLog], began: float,
                 progress: Callable[[FleetReport], None],
                 tried: dict[str, tuple[str | None, ...]]) -> None:
        self._job, self._report, self._writer, self._known = job, report, writer, known
        self._began, self._progress, self._tried = began, progress, tried
        self._waiting: list[JudgedLog] = []
        self._flights = 0
        self._written = time.monotonic()
        self._failures: list[tuple[str | None, ...]] = []

    def to_judge(self, sources: Sequence[LogSource]) -> Iterator[LogTask]:
        """Yield the logs that are still to be judged, of the same bytes one."""
        seen: set[str] = set()
        with ThreadPoolExecutor(min(4, os.cpu_count() or 1)) as pool:
            for source, digest in zip(sources, pool.map(_digest, sources), strict=True):
                if isinstance(digest, FailedLog):
                    self.take(digest)
                elif digest in seen:
                    self._count("same")
                elif self._is_known(source, digest):
                    seen.add(digest)
                    self._count("known")
                elif (row := self._tried.get(self._job.attempt_key(digest))) is not None:
                    seen.add(digest)
                    self._failures.append(row)
                    self._count("problems")
                else:
                    seen.add(digest)
                    yield LogTask(source, digest)

    def take(self, result: JudgedLog | FailedLog) -> None:
        """Keep the rows of a log; write a shard when there are enough of them."""
        report = self._report
        if isinstance(result, FailedLog):
            key = self._job.attempt_key(result.sha256) if result.sha256 else None
            self._failures.append(problem_row(result, key))
            report.unexpected += result.kind == "unexpected error"
            self._count("problems")
            return
        self._waiting.append(result)
        self._flights += result.flights
        report.flights += result.flights
        report.hours += result.recorded_s / 3600
        report.samples += result.sample_count
        for _, row in result.rows[FLIGHTS.name]:
            report.outcomes[row[1]] = report.outcomes.get(row[1], 0) + 1
            report.unjudged_limits += row[UNJUDGED] is not None
        self._count("judged")
        if self._flights >= SHARD or time.monotonic() - self._written > SHARD_S:
            self._write()

    def finish(self) -> None:
        """Write what is left, and the problems: of logs judged meanwhile they are gone."""
        self._write()
        judged = set(self._known)
        sources = {row[0] for row in self._failures}
        kept = [row for row in problem_rows(self._writer.folder)
                if row[0] not in sources and row[3] not in judged]
        self._writer.write_problems(sorted({*kept, *self._failures}, key=str))
        self._writer.write_returned([
            (sha256, known.counts, len(known.judgement_keys))
            for sha256, known in sorted(self._known.items())
            if known.counts != known.judgement_keys[-1]])

    def _write(self) -> None:
        if self._waiting:
            judgements = [1 + len(self._known[log.task.sha256].judgement_keys)
                          if log.task.sha256 in self._known else 1 for log in self._waiting]
            self._writer.write(self._waiting, judgements)
            for log in self._waiting:
                known = self._known.setdefault(log.task.sha256, KnownLog())
                known.judgement_keys.append(log.judgement_key)
                known.counts = log.judgement_key
        self._waiting, self._flights, self._written = [], 0, time.monotonic()

    def _is_known(self, source: LogSource, digest: str) -> bool:
        """Whether the store holds the verdict on these bytes by what holds for them now."""
        known = self._known.get(digest)
        if known is None:
            return False
        try:
            basis = self._job.choice.basis(
                source.name, self._job.choice.registration_in(source.name) or known.registration,
                known.day)
        except Problem:
            return False
        key = self._job.judgement_key(digest, basis)
        if key not in known.judgement_keys:
            return False
        known.counts = key
        return True

    def _count(self, what: str) -> None:
        setattr(self._report, what, getattr(self._report, what) + 1)
        self._report.seconds = time.monotonic() - self._began
        self._progress(self._report)


UNJUDGED = [column.name for column in FLIGHTS.own_columns].index("unjudged_limits")


def _digest(source: LogSource) -> str | FailedLog:
    try:
        return source.sha256()
    except OSError as error:
        said = Problem(f"it can't be read ({error.strerror or error})", source.name,
                       "check the disk and the permissions")
        return FailedLog(source.name, said.sentence, "unreadable", None)


def _batches(tasks: Iterable[LogTask]) -> Iterator[list[LogTask]]:
    batch: list[LogTask] = []
    for task in tasks:
        batch.append(task)
        if len(batch) == BATCH:
            yield batch
            batch = []
    if batch:
        yield batch


def _given_up(task: LogTask) -> JudgedLog | FailedLog:
    said = Problem("two worker processes ended while they judged it", task.source.name,
                   "judge it by itself with loganalyze analyze, to see what happens")
    return FailedLog(task.source.name, said.sentence, "worker lost", task.sha256)
