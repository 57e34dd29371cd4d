"""A run over a fleet's logs: find, skip what is judged already, judge the rest, write the store."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence, Set
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from loganalyze.fleet.judging.aircraft_choice import AircraftChoice
from loganalyze.fleet.judging.flight_rows import FLIGHTS
from loganalyze.fleet.judging.log_judging import (
    FailedLog,
    FleetJob,
    JudgedLog,
    LogTask,
    Samples,
    judge_logs,
)
from loganalyze.fleet.judging.log_sources import LogSource, find_logs
from loganalyze.fleet.protection.secret_key import SecretKey, secret_key
from loganalyze.fleet.running import worker_pool
from loganalyze.fleet.running.worker_pool import DaskWorkers, LocalWorkers, NoWorkers, Workers
from loganalyze.fleet.store.shard_deletion import expired_digest, expired_digests
from loganalyze.fleet.store.shard_writing import StoreWriter, problem_row, writing
from loganalyze.fleet.store.store_layout import ABOUT
from loganalyze.fleet.store.store_queries import KnownLog, known_logs, problem_rows
from loganalyze.problems import Problem
from loganalyze.read.plan.log_opening import stated_registration

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
    ``flights`` and ``hours``; ``problems`` : not judged, in all; ``expired`` : deleted for their
    age, and so not judged again; ``outcomes`` : the flights of
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
    expired: int = 0
    unexpected: int = 0
    outcomes: dict[str, int] = field(default_factory=dict)
    unjudged_limits: int = 0
    """Flights in which a limit was judged for too little of the time."""
    seconds: float = 0.0

    @property
    def done(self) -> int:
        """Logs that are dealt with."""
        return self.same + self.known + self.expired + self.judged + self.problems


def run_fleet(
    logs: Iterable[str],
    store: str | Path,
    *,
    limits: str | Path | None = None,
    columns: str | Path | None = None,
    fleet: str | Path | None = None,
    thresholds: Mapping[str, float] | None = None,
    samples: Samples = "around",
    folders: bool = False,
    workers: int | Workers | None = None,
    scheduler: str | None = None,
    protect: str | Path | None = None,
    identities: str | Path | None = None,
    progress: Callable[[FleetReport], None] | None = None,
) -> FleetReport:
    """Judge all logs into a store, each once for the same limits sheet, settings and version.

    Parameters
    ----------
    logs : iterable of str
        Files; folders, which are searched through; patterns; addresses of object stores.
    store : path-like
        The folder of the store; made where there is none.
    limits, columns : path-like, optional
        The limits sheet of all logs, and their columns file or a folder of such files.
    fleet : path-like, optional
        A fleet file in place of `limits`: which log is judged by which sheet.
    thresholds : mapping of str to float, optional
        Thresholds of the evaluation, by name, in place of the defaults or the sheet's.
    samples : {"around", "all", "none"}
        The samples that the store keeps: from a minute before to a minute after each exceedance,
        all, or none.
    folders : bool
        Each folder that holds logs is one recording in several files.
    workers : int or Workers, optional
        Worker processes; otherwise one for each processor. With 0 this process judges. Or where
        else to judge, as `loganalyze.fleet.running.worker_pool` describes it.
    scheduler : str, optional
        Address of a Dask scheduler on whose workers the logs are judged instead.
    protect : path-like, optional
        A file with the secret key of pseudonyms, made where there is none: the store's rows hold
        these instead of names, and months instead of instants.
    identities : path-like, optional
        A new folder in which what is behind the pseudonyms is kept; otherwise it is the dataset
        `identities` of the store.
    progress : callable, optional
        Called with the report so far, after each log.

    Returns
    -------
    FleetReport
        What was done.

    Raises
    ------
    Problem
        For what `logs` doesn't lead to, a store that can't be written or that another run writes,
        and sheets with mistakes. A log that can't be judged is a row in `problems` instead.
    ValueError
        Unless exactly one of `limits` and `fleet` is given.

    Examples
    --------
    >>> import loganalyze as la
    >>> report = la.run_fleet(["sample_logs"], "store",
    ...                       limits="sample_logs/ouzelwing_240.toml", workers=0)
    >>> report.outcomes["exceeded"]
    3
    """
    if (limits is None) == (fleet is None):
        raise ValueError("give either limits or fleet")
    choice = (AircraftChoice.of_fleet(Path(fleet)) if fleet is not None else
              AircraftChoice.of_sheet(Path(limits or ""), Path(columns) if columns else None))
    job = FleetJob(choice, dict(thresholds or {}), samples)
    pool = _pool(workers, scheduler)
    key = _key(Path(store), protect, identities)
    sources = find_logs(logs, folders=folders)
    run = _Run(job, FleetReport(logs=len(sources)), progress)
    with writing(Path(store), key, Path(identities) if identities else None) as writer:
        run.into(writer, sources, pool)
    return run.report


def _key(store: Path, protect: str | Path | None, identities: str | Path | None,
         ) -> SecretKey | None:
    """Return the key of a run's pseudonyms; a new one only for a new store."""
    if protect is None:
        if identities is not None:
            raise Problem("identities are kept apart of a protected store only", str(identities),
                          "give --protect as well")
        return None
    place = Path(protect)
    if store.resolve() in place.resolve().parents:
        raise Problem("the key file is inside the store", str(place), "keep it elsewhere: with it "
                      "names can be tried against the pseudonyms")
    return secret_key(place, make=not (store / ABOUT).exists())


def _pool(workers: int | Workers | None, scheduler: str | None) -> Workers:
    if scheduler is not None:
        return DaskWorkers(scheduler)
    if workers == 0:
        return NoWorkers()
    if workers is None or isinstance(workers, int):
        return LocalWorkers(workers or os.cpu_count() or 1)
    return workers


class _Run:
    """A run: what is known, what waits to be written, and the report."""

    def __init__(self, job: FleetJob, report: FleetReport,
                 progress: Callable[[FleetReport], None] | None) -> None:
        self.report = report
        self._job, self._progress = job, progress
        self._began = self._written = time.monotonic()
        self._known: dict[str, KnownLog] = {}
        self._expired: set[str] = set()
        self._tried: dict[str, tuple[str | None, ...]] = {}
        self._waiting: list[JudgedLog] = []
        self._flights = 0
        self._failures: list[tuple[str | None, ...]] = []

    def into(self, writer: StoreWriter, sources: Sequence[LogSource], pool: Workers) -> None:
        """Judge what isn't judged yet, and write it."""
        self._writer = writer
        self._known = known_logs(writer.folder)
        self._expired = expired_digests(writer.folder)
        self._tried = {row[4]: row for row in problem_rows(writer.folder) if row[4] is not None}
        task = partial(judge_logs, self._job.packed())
        for result in worker_pool.run(pool, task, _batches(self.to_judge(sources)), _given_up):
            self.take(result)
        self.finish({hidden for source in sources
                     for hidden in (source.name, writer.hidden(source.name))})
        self.report.seconds = time.monotonic() - self._began

    def to_judge(self, sources: Sequence[LogSource]) -> Iterator[LogTask]:
        """Yield the logs that are still to be judged, of the same bytes one."""
        seen: set[str] = set()
        with ThreadPoolExecutor(min(4, os.cpu_count() or 1)) as pool:
            for source, digest in zip(sources, pool.map(_digest, sources), strict=True):
                if isinstance(digest, FailedLog):
                    self.take(digest)
                    continue
                own, digest = digest, self._writer.hidden_digest(digest)
                if digest in seen:
                    self._count("same")
                elif self._expired and expired_digest(digest) in self._expired:
                    seen.add(digest)
                    self._count("expired")
                elif self._is_known(source, digest):
                    seen.add(digest)
                    self._count("known")
                elif (row := self._tried_before(source, digest)) is not None:
                    seen.add(digest)
                    self._failures.append(row[:5])
                    self._count("problems")
                else:
                    seen.add(digest)
                    yield LogTask(source, digest, own)

    def take(self, result: JudgedLog | FailedLog) -> None:
        """Keep the rows of a log; write a shard when there are enough of them."""
        report = self.report
        if isinstance(result, FailedLog):
            key = self._job.attempt_key(result.sha256, result.log) if result.sha256 else None
            self._failures.append(problem_row(result, key))
            report.unexpected += result.kind == "unexpected error"
            self._count("problems")
            return
        known = self._known.get(result.task.sha256)
        if known is not None and result.judgement_key in known.judgement_keys:
            known.counts = result.judgement_key
            self._count("known")
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

    def finish(self, sources: Set[str]) -> None:
        """Write what is left, and the problems: those of this run's `sources` anew."""
        self._write()
        kept = [row[:5] for row in problem_rows(self._writer.folder) if row[0] not in sources]
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
        choice = self._job.choice
        registration = choice.registration_in(source.name) or known.registration
        try:
            if registration is None:
                registration = ""
                if choice.needs_registration(source.name):
                    with source.local() as path:
                        registration = stated_registration(path)
            keys = {self._job.judgement_key(digest, choice.basis(source.name, registration, day),
                                             source)
                    for day in known.days}
        except (Problem, OSError):
            return False
        if len(keys) > 1:  # A sheet changed in its month, and only the log knows its day.
            return False
        (key,) = keys
        if key not in known.judgement_keys:
            return False
        known.counts = key
        return True

    def _tried_before(self, source: LogSource, digest: str) -> tuple[str | None, ...] | None:
        """Return the row in `problems` of the same attempt, where an earlier run made it."""
        return self._tried.get(self._job.attempt_key(digest, source)) if self._tried else None

    def _count(self, what: str) -> None:
        setattr(self.report, what, getattr(self.report, what) + 1)
        self.report.seconds = time.monotonic() - self._began
        if self._progress is not None:
            self._progress(self.report)


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
    return FailedLog(task.source.name, said.sentence, "worker lost", task.sha256, task.source)
