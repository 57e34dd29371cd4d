"""Writing a store: shards that appear whole or not at all, by one run at a time."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from loganalyze.fleet.judging.aircraft_choice import combined_digest
from loganalyze.fleet.judging.flight_rows import FLIGHTS, PROBLEMS, RETURNED
from loganalyze.fleet.judging.log_judging import FailedLog, JudgedLog, row_tables
from loganalyze.fleet.protection.pseudonyms import (
    IDENTITIES,
    IDENTITY_COLUMNS,
    identity_rows,
    instant_text,
    is_pseudonym,
    protected_table,
    pseudonym,
)
from loganalyze.fleet.protection.secret_key import SecretKey
from loganalyze.fleet.store.store_layout import (
    SAMPLES,
    SMALL,
    UNDATED,
    dataset_columns,
    dataset_names,
    partition,
    sample_store_schema,
    single_file,
)
from loganalyze.fleet.store.store_opening import made, opened, unwritable
from loganalyze.fleet.store.whole_files import put, rename, write_hidden
from loganalyze.show.tables.table_columns import ResultTable, arrow_table, texts
from loganalyze.version import __version__

HIDDEN_REASON = "{name}: {kind}; the reason stands in identities"


class StoreWriter:
    """The store while a run writes it; made by `writing`.

    ``folder`` : the store's; ``key`` : of its pseudonyms, None where it holds names. Every method
    may raise Problem where the disk doesn't take it.
    """

    def __init__(self, folder: Path, key: SecretKey | None = None) -> None:
        self.folder, self.key = folder, key
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

    def write_problems(self, rows: Iterable[tuple[str | None, ...]]) -> None:
        """Write all rows of `problems` in place of those that there were.

        A row as `problem_row` gives it keeps the day on which it was first met.
        """
        place = single_file(self.folder, PROBLEMS)
        met = {row[:5]: row[5] for row in _read(place)}
        today = datetime.now(UTC).replace(hour=0, minute=0, second=0, microsecond=0)
        whose: list[tuple[str | None, ...]] = []
        written = []
        for row in rows:
            hidden = row
            if self.key is not None:
                name = pseudonym(self.key, "log", row[0] or "")
                hidden = (name, HIDDEN_REASON.format(name=name, kind=row[2]), *row[2:])
            day = instant_text(met.get(hidden[:5], today))
            written.append((*hidden[:5], day))
            if hidden != row and not is_pseudonym(row[0] or ""):
                whose.append((None, hidden[0], row[0], None, None, None, None, None, day, row[1],
                              None))
        if self.key is not None:
            put(arrow_table(IDENTITY_COLUMNS, whose), single_file(self.folder, IDENTITIES),
                secret=True)
        put(arrow_table(SMALL[PROBLEMS], written), place)

    def write_returned(self, rows: Sequence[tuple[Any, ...]]) -> None:
        """Write all rows of `returned` in place of those that there were."""
        put(arrow_table(SMALL[RETURNED], rows), single_file(self.folder, RETURNED))

    def hidden(self, source: str) -> str:
        """Return what stands for a log in this store."""
        return source if self.key is None else pseudonym(self.key, "log", source)

    def hidden_digest(self, sha256: str) -> str:
        """Return what this store knows a log's bytes by, from their SHA-256.

        A keyed hash of it where the store is protected: without the key nobody who has logs can
        look for the one of a row by its hash.
        """
        return sha256 if self.key is None else self.key.digest("log bytes", sha256)

    def _shard(self, year: int, month: int, name: str,
               logs: Sequence[tuple[JudgedLog, int]]) -> None:
        """Write the files of a shard under hidden names, then rename them, `flights` last."""
        keys = [[flight_key(log.judgement_key, number) for number in range(log.flights + 1)]
                for log, _ in logs]
        tables = {table.name: _table(table, logs, keys) for table in row_tables()}
        samples = [_keyed(log, number, packed) for log, _ in logs for number, packed in log.samples]
        if samples:
            tables[SAMPLES] = pa.concat_tables(samples).cast(sample_store_schema())
        names = dataset_names()
        if self.key is not None:
            own = {log.task.sha256: log.task.own_sha256 for log, _ in logs}
            whose = arrow_table(IDENTITY_COLUMNS, identity_rows(
                self.key, tables[FLIGHTS.name], own))
            tables = {dataset: protected_table(self.key, table)
                      for dataset, table in tables.items()} | {IDENTITIES: whose}
            names = (IDENTITIES, *names)
        waiting = []
        for dataset in names:
            table = tables.get(dataset)
            if table is None or (not table.num_rows and dataset != FLIGHTS.name):
                continue
            place = partition(self.folder, dataset, year, month) / f"{name}.parquet"
            waiting.append((write_hidden(table, place, secret=dataset == IDENTITIES), place))
        for hidden, place in waiting:
            rename(hidden, place)


@contextmanager
def writing(folder: Path, key: SecretKey | None = None,
            identities: Path | None = None) -> Iterator[StoreWriter]:
    """Open a store for writing, alone: make it where there is none, and clean up after killed runs.

    Parameters
    ----------
    folder : Path
        The store's.
    key : SecretKey, optional
        Of its pseudonyms; without one the store holds names.
    identities : Path, optional
        Where what is behind the pseudonyms lies; otherwise in the store.

    Raises
    ------
    Problem
        Where another run writes it, the folder is none of a store, it was made by another key, or
        the disk doesn't take it.
    """
    try:
        made(folder, key, identities)
    except OSError as error:
        raise unwritable(folder, error) from error
    with opened(folder):
        yield StoreWriter(folder, key)


def flight_key(judgement_key: str, flight: int) -> str:
    """Return the key of a log's flight."""
    return combined_digest([judgement_key, str(flight)])[:32]


def _table(table: ResultTable, logs: Iterable[tuple[JudgedLog, int]],
           keys: Iterable[Sequence[str]]) -> pa.Table:
    """Return the rows of some logs in one table of the store; `keys` : of each log's flights."""
    rows: list[tuple[Any, ...]] = []
    for (log, judgement), known in zip(logs, keys, strict=True):
        record: tuple[Any, ...] = ()
        if table is FLIGHTS:
            record = (log.task.source.name, log.task.sha256, log.judgement_key, judgement,
                      log.flights, log.registration or None, log.tags, __version__)
        for number, row in log.rows[table.name]:
            rows.append((known[number], *row, *record))
    return arrow_table(dataset_columns(table), rows)


def _keyed(log: JudgedLog, number: int, packed: bytes) -> pa.Table:
    with pa.ipc.open_stream(packed) as reader:
        table = reader.read_all()
    key = texts([flight_key(log.judgement_key, number)] * table.num_rows)
    return table.add_column(0, "flight_key", key).select(sample_store_schema().names)


def _read(place: Path) -> list[tuple[Any, ...]]:
    with pq.ParquetFile(place) as file:
        table = file.read()
    return list(zip(*(column.to_pylist() for column in table.columns), strict=True))


def problem_row(failed: FailedLog, attempt_key: str | None) -> tuple[str | None, ...]:
    """Return a log that couldn't be judged as a row of `problems`."""
    return (failed.source, failed.reason, failed.kind, failed.sha256, attempt_key)

