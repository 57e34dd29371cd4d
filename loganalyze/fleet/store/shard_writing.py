"""Writing a store: shards that appear whole or not at all, by one run at a time."""

from __future__ import annotations

import fcntl
import json
import os
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from loganalyze.fleet.judging.aircraft_choice import combined_digest
from loganalyze.fleet.judging.flight_rows import (
    FLIGHTS,
    PROBLEM_COLUMNS,
    PROBLEMS,
    RETURNED,
    RETURNED_COLUMNS,
)
from loganalyze.fleet.judging.log_judging import FailedLog, JudgedLog, row_tables
from loganalyze.fleet.store.store_layout import (
    ABOUT,
    SAMPLES,
    about,
    check_store,
    dataset_columns,
    dataset_names,
    partition,
    sample_store_schema,
)
from loganalyze.problems import Problem
from loganalyze.show.tables.table_columns import ResultTable, arrow_table, texts
from loganalyze.version import __version__

UNDATED = (0, 0)
"""Year and month of logs without a date."""
EMPTY_SHARD = "000000-000000"
"""The name of the shard without rows that lets an empty dataset be read."""
LOCK = ".lock"


class StoreWriter:
    """The store while a run writes it; made by `writing`.

    ``folder`` : the store's. Every method may raise Problem where the disk doesn't take it.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._run = 1 + max((int(path.stem.partition("-")[0]) for path in folder.glob(
            f"{FLIGHTS.name}/*/*/*.parquet")), default=0)
        self._written = 0

    def write(self, logs: Sequence[JudgedLog], judgements: Sequence[int]) -> None:
        """Write judged logs, a shard for each month; `judgements` counts those of each log."""
        months: dict[tuple[int, int], list[tuple[JudgedLog, int]]] = defaultdict(list)
        for log, judgement in zip(logs, judgements, strict=True):
            months[(log.day.year, log.day.month) if log.day else UNDATED].append((log, judgement))
        for (year, month), inside in sorted(months.items()):
            self._written += 1
            self._shard(year, month, f"{self._run:06d}-{self._written:06d}", inside)

    def write_problems(self, rows: Sequence[tuple[str | None, ...]]) -> None:
        """Write all rows of `problems` in place of those that there were."""
        _put(arrow_table(PROBLEM_COLUMNS, rows), _single(self.folder, PROBLEMS))

    def write_returned(self, rows: Sequence[tuple[Any, ...]]) -> None:
        """Write all rows of `returned` in place of those that there were."""
        _put(arrow_table(RETURNED_COLUMNS, rows), _single(self.folder, RETURNED))

    def _shard(self, year: int, month: int, name: str,
               logs: Sequence[tuple[JudgedLog, int]]) -> None:
        """Write the files of a shard under hidden names, then rename them, `flights` last."""
        tables = {table.name: _table(table, logs) for table in row_tables()}
        samples = [_keyed(log, number, packed) for log, _ in logs for number, packed in log.samples]
        if samples:
            tables[SAMPLES] = pa.concat_tables(samples).cast(sample_store_schema())
        waiting = []
        for dataset in dataset_names():
            table = tables.get(dataset)
            if table is None or (not table.num_rows and dataset != FLIGHTS.name):
                continue
            place = partition(self.folder, dataset, year, month) / f"{name}.parquet"
            waiting.append((_write_hidden(table, place), place))
        for hidden, place in waiting:
            _rename(hidden, place)


@contextmanager
def writing(folder: Path) -> Iterator[StoreWriter]:
    """Open a store for writing, alone: make it where there is none, and clean up after killed runs.

    Raises
    ------
    Problem
        Where another run writes it, the folder is none of a store, or the disk doesn't take it.
    """
    try:
        _create(folder)
        with (folder / LOCK).open("w") as lock:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                raise Problem("another run writes to this store", str(folder),
                              "wait until it has ended, or give another --store") from None
            _remove_leftovers(folder)
            _fill_empty(folder)
            yield StoreWriter(folder)
    except OSError as error:
        raise Problem(f"the store can't be written ({error.strerror or error})",
                      str(error.filename or folder),
                      "check the permissions and the space left; what was judged is kept, and the "
                      "same command goes on from there") from error


def _create(folder: Path) -> None:
    if folder.is_dir() and (folder / ABOUT).exists():
        check_store(folder)
        return
    if folder.exists() and (not folder.is_dir() or any(
            path.name not in (LOCK, f".{ABOUT}.part") for path in folder.iterdir())):
        raise Problem(f"the folder holds no {ABOUT}, so it is no store", str(folder),
                      "give a new folder as --store")
    folder.mkdir(parents=True, exist_ok=True)
    _replace(folder / ABOUT, json.dumps(about(), indent=2) + "\n")


def _replace(path: Path, text: str) -> None:
    hidden = path.with_name(f".{path.name}.part")
    with hidden.open("w", encoding="utf-8") as stream:
        stream.write(text)
        stream.flush()
        os.fsync(stream.fileno())
    _rename(hidden, path)


def _remove_leftovers(folder: Path) -> None:
    """Remove what killed runs left: hidden files, and parts of shards without their flights."""
    for dataset in (*dataset_names(), PROBLEMS, RETURNED):
        for hidden in (folder / dataset).glob("*/*/.*.part"):
            hidden.unlink()
    whole = {path.relative_to(folder / FLIGHTS.name)
             for path in (folder / FLIGHTS.name).glob("*/*/*.parquet")}
    for dataset in dataset_names():
        for part in (folder / dataset).glob("*/*/*.parquet"):
            if part.relative_to(folder / dataset) not in whole and part.stem != EMPTY_SHARD:
                part.unlink()
    (folder / f".{ABOUT}.part").unlink(missing_ok=True)


def _fill_empty(folder: Path) -> None:
    """Give each dataset its shard without rows, so that every one can be read."""
    for table in row_tables():
        if not _single(folder, table.name).exists():
            _put(_table(table, ()), _single(folder, table.name))
    if not _single(folder, SAMPLES).exists():
        _put(sample_store_schema().empty_table(), _single(folder, SAMPLES))
    if not _single(folder, PROBLEMS).exists():
        StoreWriter(folder).write_problems(())
    if not _single(folder, RETURNED).exists():
        StoreWriter(folder).write_returned(())


def _single(folder: Path, dataset: str) -> Path:
    """Return the file of a dataset that is there from the beginning."""
    return partition(folder, dataset, *UNDATED) / f"{EMPTY_SHARD}.parquet"


def flight_key(judgement_key: str, flight: int) -> str:
    """Return the key of a log's flight."""
    return combined_digest([judgement_key, str(flight)])[:32]


def _table(table: ResultTable, logs: Iterable[tuple[JudgedLog, int]]) -> pa.Table:
    """Return the rows of some logs in one table of the store."""
    rows: list[tuple[Any, ...]] = []
    for log, judgement in logs:
        record: tuple[Any, ...] = ()
        if table is FLIGHTS:
            record = (log.task.source.name, log.task.sha256, log.judgement_key, judgement,
                      log.flights, log.registration or None, log.tags, __version__)
        for number, row in log.rows[table.name]:
            rows.append((flight_key(log.judgement_key, number), *row, *record))
    return arrow_table(dataset_columns(table), rows)


def _keyed(log: JudgedLog, number: int, packed: bytes) -> pa.Table:
    with pa.ipc.open_stream(packed) as reader:
        table = reader.read_all()
    key = texts([flight_key(log.judgement_key, number)] * table.num_rows)
    return table.add_column(0, "flight_key", key).select(sample_store_schema().names)


def _put(table: pa.Table, place: Path) -> None:
    _rename(_write_hidden(table, place), place)


def _write_hidden(table: pa.Table, place: Path) -> Path:
    """Write a file beside its place under a hidden name, synced; return that name."""
    place.parent.mkdir(parents=True, exist_ok=True)
    hidden = place.with_name(f".{place.name}.part")
    with hidden.open("wb") as stream:
        pq.write_table(table, stream, compression="zstd")
        stream.flush()
        os.fsync(stream.fileno())
    return hidden


def _rename(hidden: Path, place: Path) -> None:
    hidden.replace(place)
    folder = os.open(place.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


def problem_row(failed: FailedLog, attempt_key: str | None) -> tuple[str | None, ...]:
    """Return a log that couldn't be judged as a row of `problems`."""
    return (failed.source, failed.reason, failed.kind, failed.sha256, attempt_key)

