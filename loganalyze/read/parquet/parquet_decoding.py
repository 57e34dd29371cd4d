"""The columns of a Parquet file, decoded: their first values, and a row group's."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import InitVar, dataclass, field
from functools import cached_property
from threading import Lock, local
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from loganalyze.problems import Problem
from loganalyze.read.files.address_space import is_shortage
from loganalyze.read.files.file_types import LogFile

SMALL_FILE = 100_000
"""A file of one row group of so many rows at most has each column decoded once and kept, for its
first values and for the log."""
SAMPLE = 400
"""Values looked at to understand a column."""
DAMAGE = (pa.ArrowException, OSError, ValueError)
"""What pyarrow raises for a file whose bytes aren't what they should be."""


@dataclass
class Decoder:
    """Decodes columns, each named by its place in the schema.

    ``opened`` : the file as it was opened to be understood, for the thread that did so.
    """

    file: LogFile
    schema: pa.Schema
    about: pq.FileMetaData
    opened: InitVar[pq.ParquetFile]
    _heads: dict[int, pa.Array] = field(default_factory=dict, repr=False)
    _kept: dict[int, pa.Array] = field(default_factory=dict, repr=False)
    _opened: local = field(default_factory=local, repr=False)
    """A file is opened once a thread."""
    _lock: Any = field(default_factory=Lock, repr=False)

    def __post_init__(self, opened: pq.ParquetFile) -> None:
        self._opened.source = opened

    @cached_property
    def groups(self) -> list[int]:
        """The rows of each row group: what is decoded, whatever the file says of them together."""
        return [self.about.row_group(i).num_rows for i in range(self.about.num_row_groups)]

    def name(self, place: int) -> str:
        """Return a column's name."""
        return str(self.schema.field(place).name)

    def first(self, place: int) -> pa.Array:
        """Return the first values of a column."""
        if self._is_small and not pa.types.is_dictionary(self.schema.field(place).type):
            return self._whole(place).slice(0, SAMPLE)
        if place not in self._heads:
            with self.source() as source:
                self._heads[place] = self.guarded(lambda: next(source.iter_batches(
                    SAMPLE, columns=[self.name(place)])).column(0))
        return self._heads[place]

    def of_group(self, group: int, places: Sequence[int]) -> list[pa.Array]:
        """Return columns of a row group."""
        if self._is_small:
            return [self._whole(place) for place in places]
        return self._read(group, places)

    def source(self) -> pq.ParquetFile:
        """Open the file."""
        return pq.ParquetFile(self.file.data, metadata=self.about, pre_buffer=False)

    def guarded(self, read: Callable[[], Any]) -> Any:
        """Return what `read` reads; raises Problem where the file can't be decoded."""
        try:
            return read()
        except DAMAGE as error:
            raise damaged(error, str(self.file.path)) from None

    @cached_property
    def _is_small(self) -> bool:
        return self.groups == [self.about.num_rows] and self.about.num_rows <= SMALL_FILE

    def _whole(self, place: int) -> pa.Array:
        with self._lock:
            if place not in self._kept:
                self._kept[place] = self._read(0, [place])[0]
            return self._kept[place]

    def _read(self, group: int, places: Sequence[int]) -> list[pa.Array]:
        names = [self.name(place) for place in places]
        if not hasattr(self._opened, "source"):
            self._opened.source = self.source()
        table = self.guarded(lambda: self._opened.source.read_row_group(
            group, columns=names, use_threads=False))
        return [_joined(table.column(name)) for name in names]


def damaged(error: Exception, where: str) -> Exception:
    """Return what to raise for a file that can't be decoded."""
    return MemoryError() if is_shortage(error) else Problem(
        "the Parquet file is damaged or cut short", where, "export or copy it again")


def _joined(column: pa.ChunkedArray) -> pa.Array:
    return column.chunk(0) if column.num_chunks == 1 else column.combine_chunks()
