"""Reading a store: what it knows of a log, and its datasets for queries in SQL."""

from __future__ import annotations

from calendar import monthrange
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pyarrow as pa
import pyarrow.parquet as pq

from loganalyze.fleet.judging.flight_rows import (
    FLIGHTS,
    PROBLEM_COLUMNS,
    PROBLEMS,
    RETURNED,
    RETURNED_COLUMNS,
)
from loganalyze.fleet.protection.pseudonyms import IDENTITIES
from loganalyze.fleet.store.store_layout import (
    SMALL,
    check_store,
    dataset_names,
    is_protected,
)
from loganalyze.problems import Problem
from loganalyze.show.tables.table_columns import Column

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection


@dataclass
class KnownLog:
    """What a store knows of a log: by what it was judged, in order, and whose it is.

    ``counts`` : the judgement that counts; ``registration`` : None where its identity has been
    deleted; ``days`` : the day of its first flight, or the first and the last that it may be.
    """

    judgement_keys: list[str] = field(default_factory=list)
    counts: str = ""
    registration: str | None = ""
    days: tuple[date | None, ...] = (None,)


def known_logs(folder: Path) -> dict[str, KnownLog]:
    """Return the logs of a store by the SHA-256 of their bytes."""
    found: dict[str, KnownLog] = defaultdict(KnownLog)
    whose = _identities(folder)
    rows = _read(folder, FLIGHTS.name, [
        "log_sha256", "judgement", "judgement_key", "registration", "flight", "start_utc",
        "flight_key"])
    for sha256, _, key, registration, flight, start, flight_key in sorted(zip(
            *(column.to_pylist() for column in rows.columns), strict=True),
            key=lambda row: row[:2]):
        known = found[sha256]
        if flight != 1:
            continue
        known.judgement_keys.append(key)
        known.counts = key
        if whose is None:
            known.registration, known.days = registration or "", (_day(start),)
        elif flight_key in whose:
            registration, start = whose[flight_key]
            known.registration, known.days = registration or "", (_day(start),)
        else:
            known.registration, known.days = None, _days_of_month(start)
    for sha256, key, judgements in rows_of(folder, RETURNED, RETURNED_COLUMNS):
        if sha256 in found and len(found[sha256].judgement_keys) == judgements:
            found[sha256].counts = key
    return dict(found)


def _identities(folder: Path) -> dict[str, tuple[str | None, datetime | None]] | None:
    """Return registration and start by flight key; None where the store holds names."""
    if not is_protected(folder):
        return None
    rows = _read(folder, IDENTITIES, ["flight_key", "registration", "start_utc"])
    return {key: (registration, start) for key, registration, start in zip(
        *(column.to_pylist() for column in rows.columns), strict=True) if key is not None}


def _day(start: datetime | None) -> date | None:
    return None if start is None else start.date()


def _days_of_month(start: datetime | None) -> tuple[date | None, ...]:
    if start is None:
        return (None,)
    first = start.date()
    return first, first.replace(day=monthrange(first.year, first.month)[1])


def problem_rows(folder: Path) -> list[tuple[str | None, ...]]:
    """Return the rows of `problems`, with the names that are still known of a protected store."""
    rows = rows_of(folder, PROBLEMS, PROBLEM_COLUMNS)
    if not is_protected(folder):
        return rows
    named = _read(folder, IDENTITIES, ["flight_key", "pseudonym", "source", "reason"]).to_pylist()
    whose = {
        named_row["pseudonym"]: (named_row["source"], named_row["reason"])
        for named_row in named
        if named_row["flight_key"] is None
    }
    return [(*whose.get(row[0], row[:2]), *row[2:]) for row in rows]


def rows_of(folder: Path, name: str, columns: Sequence[Column]) -> list[tuple[Any, ...]]:
    """Return the rows of a small dataset, in the order of its columns."""
    rows = _read(folder, name, [column.name for column in columns])
    return list(zip(*(column.to_pylist() for column in rows.columns), strict=True))


def _read(folder: Path, name: str, columns: list[str]) -> pa.Table:
    """Return columns of a dataset, shard after shard: pyarrow's datasets would load pandas."""
    place = folder / name
    shards = sorted(path for path in place.rglob("*.parquet")
                    if not any(part[0] in "._" for part in path.relative_to(place).parts))
    return pa.concat_tables(
        [pq.ParquetFile(shard).read(columns).select(columns) for shard in shards])


def connect_store(folder: str | Path) -> DuckDBPyConnection:
    """Open a store for queries in SQL, with DuckDB, in memory and read only.

    Parameters
    ----------
    folder : path-like
        The store.

    Returns
    -------
    duckdb.DuckDBPyConnection
        Each dataset is a view of its name: ``flights``, ``exceedances``, ``near``,
        ``contributions``, ``measures``, ``closest``, ``checks``, ``samples``, ``problems``. Of
        a log that was judged several times they hold the judgement that counts, which is the one
        last asked for; ``all_flights``, ``all_exceedances`` and so on hold every one. Of a
        protected store whose identities are within reach ``identities`` is a view, too.

    Raises
    ------
    Problem
        Where the folder is no store, or DuckDB isn't installed.

    Examples
    --------
    >>> import loganalyze as la
    >>> report = la.run_fleet(["sample_logs"], "store",
    ...                       limits="sample_logs/ouzelwing_240.toml", workers=0)
    >>> with la.connect_store("store") as store:
    ...     store.execute("select count(*) from flights where severity = 'medium'").fetchall()
    [(3,)]
    """
    folder = Path(folder)
    check_store(folder)
    try:
        duckdb = import_module("duckdb")
    except ImportError:
        raise Problem("queries need DuckDB, which isn't installed", "loganalyze",
                      "install loganalyze[fleet]") from None
    connection: DuckDBPyConnection = duckdb.connect(":memory:")
    for name in dataset_names():
        _view(connection, f"all_{name}", folder / name)
    for name in (*SMALL, IDENTITIES):
        if any((folder / name).glob("*/*/*.parquet")):
            _view(connection, name, folder / name)
    connection.execute(f"""
        create view {FLIGHTS.name} as
        select judged.* from all_{FLIGHTS.name} judged
        left join {RETURNED} returned on returned.log_sha256 = judged.log_sha256
        window log as (partition by judged.log_sha256)
        qualify judged.judgement_key = case
            when returned.judgements = max(judged.judgement) over log then returned.judgement_key
            else max_by(judged.judgement_key, judged.judgement) over log end""")
    _latest(connection, [name for name in dataset_names() if name != FLIGHTS.name])
    return connection


def _view(connection: DuckDBPyConnection, name: str, folder: Path) -> None:
    pattern = str(folder / "*" / "*" / "*.parquet").replace("'", "''")
    connection.execute(
        f"create view {name} as select * from read_parquet('{pattern}', "
        "hive_partitioning = true, union_by_name = true)")


def _latest(connection: DuckDBPyConnection, names: Iterable[str]) -> None:
    for name in names:
        connection.execute(
            f"create view {name} as select * from all_{name} semi join flights using (flight_key)")
