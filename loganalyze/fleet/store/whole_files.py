"""Files that appear whole or not at all: written to a hidden name, synced, renamed."""

from __future__ import annotations

import os
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

OWNER_ONLY = 0o600


def put(table: pa.Table, place: Path, *, secret: bool = False) -> None:
    """Write a Parquet file, in the place of an earlier one."""
    rename(write_hidden(table, place, secret=secret), place)


def write_hidden(table: pa.Table, place: Path, *, secret: bool = False) -> Path:
    """Write a Parquet file beside its place under a hidden name, synced; return that name.

    ``secret`` : for its owner alone (mode 0600).
    """
    place.parent.mkdir(parents=True, exist_ok=True)
    hidden = hidden_name(place)
    with hidden.open("wb") as stream:
        if secret:
            os.fchmod(stream.fileno(), OWNER_ONLY)
        pq.write_table(table, stream, compression="zstd")
        stream.flush()
        os.fsync(stream.fileno())
    return hidden


def put_text(place: Path, text: str) -> None:
    """Write a text file, in the place of an earlier one."""
    hidden = hidden_name(place)
    with hidden.open("w", encoding="utf-8") as stream:
        stream.write(text)
        stream.flush()
        os.fsync(stream.fileno())
    rename(hidden, place)


def hidden_name(place: Path) -> Path:
    """Return the name under which a file is written before it is renamed."""
    return place.with_name(f".{place.name}.part")


def rename(hidden: Path, place: Path) -> None:
    """Give a hidden file its place, and sync the folder."""
    hidden.replace(place)
    sync_folder(place.parent)


def remove(place: Path) -> None:
    """Delete a file, and sync its folder."""
    place.unlink(missing_ok=True)
    sync_folder(place.parent)


def sync_folder(folder: Path) -> None:
    """Write a folder's entries to the disk."""
    number = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)
