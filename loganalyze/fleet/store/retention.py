"""Retention: what is older than its time is deleted, first who it was, then the flight."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from loganalyze.fleet.judging.flight_rows import FLIGHTS, PROBLEMS
from loganalyze.fleet.protection.pseudonyms import IDENTITIES
from loganalyze.fleet.store.shard_deletion import (
    MARKER,
    delete_expired,
    expired_digest,
    expired_digests,
    rewrite,
    shards,
)
from loganalyze.fleet.store.store_layout import (
    EXPIRED,
    EXPIRED_COLUMNS,
    is_protected,
    single_file,
)
from loganalyze.fleet.store.store_opening import opened
from loganalyze.fleet.store.whole_files import put, sync_folder
from loganalyze.problems import Problem
from loganalyze.show.tables.table_columns import arrow_table


@dataclass(frozen=True)
class Retained:
    """What was deleted: rows of `identities`, and flights."""

    identities: int
    flights: int


def retain(store: str | Path, *, keep_identities: timedelta | None = None,
           keep_flights: timedelta | None = None, today: date | None = None) -> Retained:
    """Delete from a store what is older than it may be kept.

    The age of a flight counts from its day, or from that on which its row was written where that
    is earlier or the flight has no date. A protected store knows the day by the flight's identity
    alone; afterwards the first of its month counts, so that nothing is kept for longer. A log
    whose flights were deleted isn't judged into the store again.

    Parameters
    ----------
    store : path-like
        The folder of the store.
    keep_identities, keep_flights : timedelta, optional
        How old identities, and flights with all that was found in them, may be; without it they
        stay. Logs that couldn't be judged count as both.
    today : date, optional
        The day [UTC] that ages count to; otherwise today.

    Returns
    -------
    Retained

    Raises
    ------
    Problem
        Where the folder is no store, another run writes it, identities are to be deleted of a
        store that holds names in its rows, or the disk doesn't take it.

    Examples
    --------
    >>> from datetime import timedelta
    >>> import loganalyze as la
    >>> report = la.run_fleet(["sample_logs"], "store", protect="store.key",
    ...                       limits="sample_logs/ouzelwing_240.toml", workers=0)
    >>> la.retain("store", keep_identities=timedelta(days=90)).flights
    0
    """
    folder = Path(store)
    day = today or datetime.now(UTC).date()
    protected = is_protected(folder)
    if keep_identities is not None and not protected:
        raise Problem("the store holds names in all its rows, so that they can't be deleted alone",
                      str(folder), "judge the logs into a new store with --protect, or give "
                      "--keep-flights")
    with opened(folder):
        identities = 0
        flights = 0
        if keep_flights is not None:
            flights = _delete_flights(folder, day - keep_flights)
        if keep_identities is not None:
            identities = _delete_identities(folder, day - keep_identities)
        ages = [age for age in (keep_flights, keep_identities) if age is not None]
        if ages:
            _delete_dated(single_file(folder, PROBLEMS), "seen_on", day - min(ages))
        if keep_flights is not None and protected:
            _delete_identities(folder, day - keep_flights)
    return Retained(identities, flights)


def _delete_flights(folder: Path, oldest: date) -> int:
    """Delete the logs of which every flight is older than `oldest`; return how many flights."""
    began = _starts(folder)
    newest: dict[str, date] = {}
    written: dict[str, date] = {}
    for place in shards(folder, FLIGHTS.name):
        on = _written_on(place)
        for key, sha256, start in _columns(place, "flight_key", "log_sha256", "start_utc"):
            start = began.get(key, start)
            day = on if start is None else min(on, start.date())
            newest[sha256] = max(newest.get(sha256, date.min), day)
            written[sha256] = min(written.get(sha256, date.max), on)
    old = {sha256 for sha256, day in newest.items() if min(day, written[sha256]) < oldest}
    if not old:
        return 0
    (folder / MARKER).touch()
    sync_folder(folder)
    digests = expired_digests(folder) | {expired_digest(sha256) for sha256 in old}
    put(arrow_table(EXPIRED_COLUMNS, [(digest,) for digest in sorted(digests)]),
        single_file(folder, EXPIRED))
    deleted = delete_expired(folder)
    (folder / MARKER).unlink()
    return deleted


def _starts(folder: Path) -> dict[str, datetime]:
    """Return the exact start of the flights whose identities are there, by flight key."""
    return {key: start for place in shards(folder, IDENTITIES)
            for key, start in _columns(place, "flight_key", "start_utc") if start is not None}


def _delete_identities(folder: Path, oldest: date) -> int:
    _delete_dated(single_file(folder, IDENTITIES), "start_utc", oldest)
    return sum(_delete_dated(place, "start_utc", oldest) for place in shards(folder, IDENTITIES))


def _delete_dated(place: Path, column: str, oldest: date) -> int:
    """Delete a file's rows of before `oldest`, by a column or by the day of its writing."""
    on = _written_on(place)

    def kept(table: pa.Table) -> pa.Array:
        return pa.array([(on if start is None else min(on, start.date())) >= oldest
                         for start in table[column].to_pylist()], pa.bool_())

    return rewrite(place, kept, secret=column == "start_utc")


def _written_on(place: Path) -> date:
    return datetime.fromtimestamp(place.stat().st_mtime, UTC).date()


def _columns(place: Path, *names: str) -> Iterator[tuple[Any, ...]]:
    with pq.ParquetFile(place) as file:
        table = file.read(list(names))
    yield from zip(*(table[name].to_pylist() for name in names), strict=True)
