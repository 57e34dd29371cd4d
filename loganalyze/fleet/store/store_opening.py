"""Opening a store to change it: alone, whole, and by the key that it was made with."""

from __future__ import annotations

import fcntl
import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pyarrow as pa

from loganalyze.fleet.judging.flight_rows import FLIGHTS
from loganalyze.fleet.judging.log_judging import row_tables
from loganalyze.fleet.protection.pseudonyms import IDENTITIES, IDENTITY_COLUMNS
from loganalyze.fleet.protection.secret_key import SecretKey
from loganalyze.fleet.store.shard_deletion import MARKER, delete_expired
from loganalyze.fleet.store.store_layout import (
    ABOUT,
    EMPTY_SHARD,
    PROTECTED_BY,
    SAMPLES,
    SMALL,
    about,
    check_store,
    dataset_columns,
    dataset_names,
    sample_store_schema,
    single_file,
)
from loganalyze.fleet.store.whole_files import hidden_name, put, put_text
from loganalyze.problems import Problem
from loganalyze.show.tables.table_columns import arrow_table

LOCK = ".lock"


@contextmanager
def opened(folder: Path) -> Iterator[None]:
    """Have a store alone while it is changed, and finish first what killed runs left.

    Raises
    ------
    Problem
        Where another run writes it, the folder is none of a store, or the disk doesn't take it.
    """
    try:
        check_store(folder)
        with (folder / LOCK).open("w") as lock:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                raise Problem("another run writes to this store", str(folder),
                              "wait until it has ended, or give another --store") from None
            _remove_leftovers(folder)
            _fill_empty(folder)
            if (folder / MARKER).exists():
                delete_expired(folder)
                (folder / MARKER).unlink()
            yield
    except OSError as error:
        raise unwritable(folder, error) from error


def unwritable(folder: Path, error: OSError) -> Problem:
    """Return what is wrong where the disk doesn't take a store."""
    return Problem(f"the store can't be written ({error.strerror or error})",
                   str(error.filename or folder),
                   "check the permissions and the space left; what was judged is kept, and the "
                   "same command goes on from there")


def made(folder: Path, key: SecretKey | None, identities: Path | None) -> None:
    """Make a store where there is none; refuse one that was made otherwise.

    Parameters
    ----------
    folder : Path
        The store's.
    key : SecretKey or None
        Of its pseudonyms; None for a store with names.
    identities : Path or None
        The folder in which the identities lie; None for one inside the store.

    Raises
    ------
    Problem
        Where the store was made with another key, with or without one, its identities lie
        elsewhere, or the folder holds something else.
    """
    if folder.is_dir() and (folder / ABOUT).exists():
        _check_key(folder, check_store(folder).get(PROTECTED_BY), key)
    else:
        _create(folder, key)
    if key is not None:
        _place_identities(folder, identities)


def _create(folder: Path, key: SecretKey | None) -> None:
    if folder.exists() and (not folder.is_dir() or any(
            path.name not in (LOCK, f".{ABOUT}.part") for path in folder.iterdir())):
        raise Problem(f"the folder holds no {ABOUT}, so it is no store", str(folder),
                      "give a new folder as --store")
    folder.mkdir(parents=True, exist_ok=True)
    put_text(folder / ABOUT, json.dumps(about(key), indent=2) + "\n")


def _check_key(folder: Path, stated: str | None, key: SecretKey | None) -> None:
    if stated is None and key is not None:
        raise Problem("the store holds names, made without --protect", str(folder),
                      "judge the logs into a new store with --protect, and delete this one")
    if stated is not None and key is None:
        raise Problem("the store holds pseudonyms, and the key isn't given", str(folder),
                      "give --protect with its key file")
    if key is not None and stated != key.fingerprint:
        raise Problem("the store was made with another key", str(folder),
                      "give --protect with its own key file")


def _place_identities(folder: Path, wanted: Path | None) -> None:
    """Make the folder of the identities, for its owner alone: in the store, or linked from it."""
    place = folder / IDENTITIES
    if place.is_symlink() and not place.exists():
        raise Problem("the identities lie in a folder that isn't there", str(place.readlink()),
                      "mount it or put it back; a run needs it, trends don't")
    if place.exists():
        if wanted is not None and place.resolve() != wanted.resolve():
            raise Problem("the store's identities lie elsewhere", str(place.resolve()),
                          "leave --identities out; it is asked for once only")
        return
    if wanted is None:
        place.mkdir(mode=0o700)
        return
    if folder.resolve() in (wanted.resolve(), *wanted.resolve().parents):
        raise Problem("the folder for the identities is inside the store", str(wanted),
                      "give one elsewhere, or leave --identities out")
    wanted.mkdir(mode=0o700, parents=True, exist_ok=True)
    if any(wanted.iterdir()):
        raise Problem("the folder for the identities isn't empty", str(wanted),
                      "give a new one, for this store alone")
    wanted.chmod(0o700)
    place.symlink_to(wanted.resolve(), target_is_directory=True)


def _remove_leftovers(folder: Path) -> None:
    """Remove what killed runs left: hidden files, and parts of shards without their flights."""
    for dataset in (*dataset_names(), *SMALL, IDENTITIES):
        for hidden in (folder / dataset).glob("*/*/.*.part"):
            hidden.unlink()
    whole = {path.relative_to(folder / FLIGHTS.name)
             for path in (folder / FLIGHTS.name).glob("*/*/*.parquet")}
    for dataset in (*dataset_names(), IDENTITIES):
        for part in (folder / dataset).glob("*/*/*.parquet"):
            if part.relative_to(folder / dataset) not in whole and part.stem != EMPTY_SHARD:
                part.unlink()
    hidden_name(folder / ABOUT).unlink(missing_ok=True)


def _fill_empty(folder: Path) -> None:
    """Give each dataset its shard without rows, so that every one can be read."""
    empty = {table.name: arrow_table(dataset_columns(table), ()) for table in row_tables()}
    schema = sample_store_schema()
    # A schema's own empty table would load pandas.
    empty[SAMPLES] = pa.Table.from_arrays(
        [pa.nulls(0, field.type) for field in schema], schema=schema)
    empty |= {name: arrow_table(columns, ()) for name, columns in SMALL.items()}
    if (folder / IDENTITIES).exists():
        empty[IDENTITIES] = arrow_table(IDENTITY_COLUMNS, ())
    for name, table in empty.items():
        if not single_file(folder, name).exists():
            put(table, single_file(folder, name), secret=name == IDENTITIES)
