"""Reading a store: what it knows of a log, and its datasets for queries in SQL."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pyarrow.dataset as pads

from loganalyze.fleet.judging.flight_rows import (
    FLIGHTS,
    PROBLEM_COLUMNS,
    PROBLEMS,
    RETURNED,
    RETURNED_COLUMNS,
)
from loganalyze.fleet.store.store_layout import check_store, dataset_names
from loganalyze.problems import Problem
from loganalyze.show.tables.table_columns import Column

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection


@dataclass
class KnownLog:
    """What a store knows of a log: by what it was judged, in order, and whose it is.

    ``counts`` : the judgement that counts.
    """

    judgement_keys: list[str] = field(default_factory=list)
    counts: str = ""
    registration: str = ""
    day: date | None = None


def known_logs(folder: Path) -> dict[str, KnownLog]:
    """Return the logs of a store by the SHA-256 of their bytes."""
    found: dict[str, KnownLog] = defaultdict(KnownLog)
    rows = dataset(folder, FLIGHTS.name).to_table(
        ["log_sha256", "judgement", "judgement_key", "registration", "flight", "start_utc"])
    for sha256, _, key, registration, flight, start in sorted(zip(
            *(column.to_pylist() for column in rows.columns), strict=True),
            key=lambda row: row[:2]):
        known = found[sha256]
        if flight != 1:
            continue
        known.judgement_keys.append(key)
        known.counts = key
        known.registration = registration or ""
        known.day = start.date() if isinstance(start, datetime) else None
    for sha256, key, judgements in rows_of(folder, RETURNED, RETURNED_COLUMNS):
        if sha256 in found and len(found[sha256].judgement_keys) == judgements:
            found[sha256].counts = key
    return dict(found)


def problem_rows(folder: Path) -> list[tuple[str | None, ...]]:
    """Return the rows of `problems`."""
    return rows_of(folder, PROBLEMS, PROBLEM_COLUMNS)


def rows_of(folder: Path, name: str, columns: Sequence[Column]) -> list[tuple[Any, ...]]:
    """Return the rows of a small dataset, in the order of its columns."""
    rows = dataset(folder, name).to_table([column.name for column in columns])
    return list(zip(*(column.to_pylist() for column in rows.columns), strict=True))


def dataset(folder: Path, name: str) -> pads.Dataset:
    """Return a dataset of a store; its partitions `year` and `month` are columns."""
    return pads.dataset(folder / name, format="parquet", partitioning="hive")


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
        last asked for;
        ``all_flights``, ``all_exceedances`` and so on hold every one.

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
    for name in (PROBLEMS, RETURNED):
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
