"""Logs that a program holds itself: data frames and open files, brought to a file to be read."""

from __future__ import annotations

import hashlib
import io
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol, runtime_checkable

import pyarrow as pa
import pyarrow.parquet as pq

from loganalyze.problems import Problem

FRAME, STREAM = Path("data frame"), Path("stream")
"""What a log without a file's name is called in messages and results."""
ROW_GROUP = 1 << 17
"""Rows of a row group of a data frame's file: as many as are decoded at a time."""


@runtime_checkable
class Frame(Protocol):
    """A data frame: pandas, Polars, Arrow and others give their columns as an Arrow stream."""

    def __arrow_c_stream__(self, requested_schema: object = None) -> object:
        """Return the columns as an Arrow C stream."""


@runtime_checkable
class Stream(Protocol):
    """A file that is open for reading, as bytes or as text."""

    def read(self, size: int = -1, /) -> Any:
        """Return the next bytes, or text."""


@dataclass(frozen=True)
class Given:
    """Data that were given instead of a file.

    ``path`` : what they are called; ``data`` : the file that holds them while they are read;
    ``sha256`` : of its bytes.
    """

    path: Path
    data: Path
    sha256: str


LogPaths = str | Path | Sequence[str | Path]
"""A file, a folder of the files of one recording, or a list of files."""
LogInput = LogPaths | Frame | Stream
"""What a log is read from: files, a data frame or an open file."""


@contextmanager
def filed(given: LogInput | Given) -> Iterator[LogPaths | Given]:
    """Give files as they are; data frames and open files as a file that goes with the block.

    Raises Problem for what is none of them.
    """
    if isinstance(given, str | Path | Given):
        yield given
    elif not isinstance(given, Frame | Stream):
        if not isinstance(given, Sequence) or isinstance(given, bytes | bytearray):
            raise Problem(f"a log can't be read from a {type(given).__name__}", "",
                          "give a path, a data frame or an open file")
        yield given
    else:
        with tempfile.TemporaryDirectory(prefix="loganalyze-") as folder:
            data = Path(folder) / "given"
            if isinstance(given, Frame):
                path = FRAME
                write_frame(given, data, str(FRAME))
            else:
                path = _copy(given, data)
            with data.open("rb") as stream:
                digest = hashlib.file_digest(stream, "sha256").hexdigest()
            yield Given(path, data, digest)


def write_frame(frame: Frame, data: Path, where: str) -> None:
    """Write a frame's columns to a Parquet file; Problem, which names `where`, if they can't be."""
    try:
        with pa.RecordBatchReader.from_stream(frame) as batches:
            schema = pa.schema([_storable(field) for field in batches.schema], _stated(batches))
            with pq.ParquetWriter(str(data), schema, compression="none") as writer:
                for batch in batches:
                    writer.write_table(
                        pa.Table.from_batches([batch]).cast(schema), row_group_size=ROW_GROUP)
    except (pa.ArrowException, ValueError, TypeError) as error:
        raise Problem(f"the data frame's columns can't be read ({str(error).splitlines()[0]})",
                      where, "give each column one kind of value") from None


def _stated(batches: pa.RecordBatchReader) -> dict[bytes, bytes] | None:
    """Return what the frame says of itself, without what a library writes to restore its own."""
    stated = batches.schema.metadata or {}
    return {key: value for key, value in stated.items() if key != b"pandas"} or None


def _storable(field: pa.Field) -> pa.Field:
    """Return the field of a file for one of a stream; text in views is plain text there."""
    if field.type == pa.string_view():
        return field.with_type(pa.large_string())
    if pa.types.is_dictionary(field.type) and field.type.value_type == pa.string_view():
        return field.with_type(pa.large_string())
    return field


def _copy(stream: Stream, data: Path) -> Path:
    first = stream.read(0)
    with data.open("wb") as out:
        if isinstance(first, str):
            with io.TextIOWrapper(out, encoding="utf-8", newline="") as text:
                shutil.copyfileobj(stream, text, 1 << 20)
        else:
            shutil.copyfileobj(stream, out, 1 << 20)
    name = getattr(stream, "name", None)
    return Path(name) if isinstance(name, str) and name else STREAM
