"""Deleting rows from shards: each file is written anew without them, or removed.

The bytes of a file that is replaced are given back to the disk; whether and when these are
overwritten is the file system's and the disk's. Copies and backups are nobody's but the owner's.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from loganalyze.fleet.judging.aircraft_choice import combined_digest
from loganalyze.fleet.judging.flight_rows import FLIGHTS, PROBLEMS, RETURNED
from loganalyze.fleet.protection.pseudonyms import IDENTITIES
from loganalyze.fleet.store.store_layout import (
    EMPTY_SHARD,
    EXPIRED,
    dataset_names,
    single_file,
)
from loganalyze.fleet.store.whole_files import remove, rename, write_hidden

MARKER = ".deleting"
"""A file that is there while rows are deleted: what a killed run left is finished by the next."""
Kept = Callable[[pa.Table], pa.Array]
"""Which rows of a table stay, as booleans."""


def expired_digest(sha256: str) -> str:
    """Return what `expired` holds of a log's SHA-256."""
    return combined_digest(["expired", sha256])


def expired_digests(folder: Path) -> set[str]:
    """Return the digests of the logs whose flights were deleted for their age."""
    place = single_file(folder, EXPIRED)
    return set(_read(place)["log_digest"].to_pylist()) if place.exists() else set()


def delete_expired(folder: Path) -> int:
    """Delete the flights of all logs in `expired`, and what belongs to them; return how many.

    Flights go first, and then every row without its flight. It may be interrupted at any instant
    and begun again.
    """
    digests = expired_digests(folder)

    def not_expired(table: pa.Table) -> pa.Array:
        return pa.array([sha256 is None or expired_digest(sha256) not in digests
                         for sha256 in table["log_sha256"].to_pylist()], pa.bool_())

    deleted = sum(rewrite(place, not_expired) for place in shards(folder, FLIGHTS.name))
    flights = {place.relative_to(folder / FLIGHTS.name): place
               for place in shards(folder, FLIGHTS.name)}
    for dataset in (*dataset_names(), IDENTITIES):
        if dataset == FLIGHTS.name:
            continue
        for place in shards(folder, dataset):
            whole = flights.get(place.relative_to(folder / dataset))
            keys = _read(whole)["flight_key"] if whole else pa.chunked_array([], pa.string())
            rewrite(place, partial(_of_flights, keys), secret=dataset == IDENTITIES)
    for dataset in (PROBLEMS, RETURNED):
        rewrite(single_file(folder, dataset), not_expired)
    return deleted


def _of_flights(keys: pa.ChunkedArray, table: pa.Table) -> pa.Array:
    return pc.is_in(table["flight_key"], keys.combine_chunks())


def shards(folder: Path, dataset: str) -> Iterator[Path]:
    """Yield the shards of a dataset, in order, without the one that has no rows."""
    for place in sorted((folder / dataset).glob("*/*/*.parquet")):
        if place.stem != EMPTY_SHARD:
            yield place


def rewrite(place: Path, kept: Kept, *, secret: bool = False) -> int:
    """Write a file anew without the rows that aren't kept; return how many went.

    A shard without rows is removed. The time of its writing stays.
    """
    table = _read(place)
    staying = table.filter(kept(table))
    gone: int = table.num_rows - staying.num_rows
    if not gone:
        return 0
    if not staying.num_rows and place.stem != EMPTY_SHARD:
        remove(place)
        return gone
    times = place.stat()
    hidden = write_hidden(staying, place, secret=secret)
    os.utime(hidden, ns=(times.st_atime_ns, times.st_mtime_ns))
    rename(hidden, place)
    return gone


def _read(place: Path) -> pa.Table:
    """Return a file's rows, without the columns of its partition."""
    with pq.ParquetFile(place) as file:
        return file.read()
