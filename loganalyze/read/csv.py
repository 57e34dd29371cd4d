"""CSV exports: cut at line ends into pieces that pyarrow parses side by side."""

from __future__ import annotations

import codecs
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any, BinaryIO, cast

import numpy as np
import pyarrow as pa
import pyarrow.csv as pc

from loganalyze.problems import Problem
from loganalyze.read.clock import Form, form_of_numbers, ticks_of
from loganalyze.read.columns import Column, Header
from loganalyze.read.dialect import (
    MISSING,
    Dialect,
    find_dialect,
    find_encoding,
    is_number,
    strip_brackets,
)
from loganalyze.read.files import LogFile, in_order
from loganalyze.read.pieces import Piece
from loganalyze.read.stamps import BadStamp, form_of_cells, parse_stamps

_NULLS = sorted(MISSING | {" " * count for count in range(1, 17)})
_LARGEST_EXACT = 2**53
"""Integers above this lose their last digits in float64 (epochs in nanoseconds)."""


@dataclass
class CsvLog:
    """A CSV export, understood but not yet read."""

    file: LogFile
    dialect: Dialect
    headers: list[Header]
    encoding: str
    ragged: list[str] = field(default_factory=list)

    @classmethod
    def open(cls, file: LogFile) -> CsvLog:
        """Understand the export from its first lines; raises Problem where it isn't one."""
        where = str(file.path)
        encoding, mark = find_encoding(file.head, where)
        head = file.head
        if encoding.startswith("utf-16"):
            head = codecs.getincrementaldecoder(encoding)().decode(head[mark:]).encode()
            mark = 0
        dialect = find_dialect(head, encoding, mark, where)
        units = dialect.units or ("",) * len(dialect.names)
        headers = [Header(name, strip_brackets(unit), "the units row" if unit.strip() else "")
                   for name, unit in zip(dialect.names, units, strict=True)]
        return cls(file, dialect, headers, encoding)

    def described(self) -> dict[str, Any]:
        """Return how the file is written, in facts worth printing."""
        facts: dict[str, Any] = {"format": "CSV", **self.dialect.described()}
        if self.file.compression:
            facts["compression"] = self.file.compression
        return facts

    def sampled(self, column: Column) -> np.ndarray[Any, np.dtype[np.float64]]:
        """Return the numbers of a column's first rows, NaN where there is none."""
        cells = self.dialect.cells(column.index)
        return np.array([float(cell.replace(",", ".")) if is_number(cell) else np.nan
                         for cell in cells], dtype=np.float64)

    def rounding(self, column: Column) -> float:
        """Return the greatest relative error of the file's number format."""
        return 0.0

    def clock(self, column: Column) -> Form:
        """Tell how the time column counts."""
        cells = [cell for cell in self.dialect.cells(column.index) if cell not in MISSING]
        where = f"{self.file.path}, line {self.dialect.first_line}"
        if cells and not all(map(is_number, cells)):
            return form_of_cells(cells, column.name, where)
        return form_of_numbers(self.sampled(column), column.unit, column.name, where)

    def pieces(self, time: Column, form: Form, columns: Sequence[Column]) -> Iterator[Piece]:
        """Yield the file piece by piece, in order."""
        sample = self.sampled(time)
        textual = form.words in ("ISO stamps", "time of day")
        known = sample[np.isfinite(sample)]
        wide = not textual and bool((np.abs(known) > _LARGEST_EXACT).any())
        kinds = {column.index: pa.float64() for column in columns}
        kinds[time.index] = pa.string() if textual else pa.int64() if wide else pa.float64()
        stream = None
        start = self.dialect.start
        if self.encoding.startswith("utf-16"):
            stream = cast(BinaryIO, _Transcoded(self.file, self.encoding))
        line = self.dialect.first_line
        tasks: Iterator[Callable[[], tuple[Piece, int]]] = (
            partial(self._parse, data, kinds, time, columns)
            for data in self.file.pieces(start, stream))
        results = in_order(tasks)
        try:
            for piece, lines in results:
                line += lines
                yield piece
        except _BadCell as bad:
            raise self._problem(bad, line, kinds) from None

    def _parse(self, data: Callable[[], bytes], kinds: dict[int, pa.DataType], time: Column,
               columns: Sequence[Column]) -> tuple[Piece, int]:
        text = data()
        table = self._table(text, kinds)
        if table is None:
            raise _BadCell(text)
        arrays = {index: _whole(table.column(str(index))) for index in kinds}
        if pa.types.is_string(kinds[time.index]):
            try:
                ticks = parse_stamps(arrays[time.index])
            except BadStamp as bad:
                raise _BadCell(text, time.index, bad.cell) from None
        else:
            ticks = ticks_of(arrays[time.index])
        return Piece(ticks, [arrays[column.index] for column in columns]), text.count(b"\n")

    def _table(self, text: bytes, kinds: dict[int, pa.DataType]) -> pa.Table | None:
        names = [str(index) for index in range(len(self.dialect.names))]
        try:
            return pc.read_csv(
                pa.BufferReader(text),
                read_options=pc.ReadOptions(column_names=names, use_threads=False,
                                            block_size=len(text) + 1),
                parse_options=pc.ParseOptions(delimiter=self.dialect.delimiter),
                convert_options=pc.ConvertOptions(
                    column_types={str(index): kind for index, kind in kinds.items()},
                    include_columns=[str(index) for index in kinds], null_values=_NULLS,
                    strings_can_be_null=True, decimal_point=self.dialect.decimal,
                    check_utf8=False),
            )
        except pa.ArrowInvalid:
            return None

    def _problem(self, bad: _BadCell, line: int, kinds: dict[int, pa.DataType]) -> Problem:
        """Find the cell that couldn't be read, the slow way."""
        encoding = "latin-1" if self.encoding == "latin-1" else "utf-8"
        for number, raw in enumerate(bad.text.split(b"\n"), line):
            text = raw.decode(encoding, "replace").rstrip("\r")
            if not text.strip():
                continue
            cells = [cell.strip() for cell in text.split(self.dialect.delimiter)]
            where = f"{self.file.path}, line {number}"
            if len(cells) != len(self.dialect.names):
                return Problem(f"the line has {len(cells)} cells, but the header names "
                               f"{len(self.dialect.names)} columns", where,
                               "export the log again, or mend the line")
            for index, kind in kinds.items():
                cell = cells[index].strip('"')
                name = self.headers[index].name
                if bad.cell and index == bad.index and cell == bad.cell.strip():
                    return Problem(f'"{cell}" in the time column "{name}" isn\'t a time like the '
                                   "others", where, "mend the line, or leave the cell blank")
                if not pa.types.is_string(kind) and not is_number(cell) and cell not in MISSING:
                    return Problem(f'"{cell}" in column "{name}" isn\'t a number', where,
                                   "mend the cell, or leave it blank where nothing was recorded")
        return Problem("a line can't be read", f"{self.file.path}, from line {line}",
                       "export the log again")


class _BadCell(Exception):
    """A piece that can't be parsed, and the stamp in it that is to blame, if one is."""

    def __init__(self, text: bytes, index: int = -1, cell: str = "") -> None:
        self.text = text
        self.index = index
        self.cell = cell
        super().__init__(cell)


class _Transcoded:
    """UTF-16 bytes read as UTF-8, without the byte order mark."""

    def __init__(self, file: LogFile, encoding: str) -> None:
        self._stream = file.stream()
        self._decoder = codecs.getincrementaldecoder(encoding)()
        self._stream.read(2 if file.head[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE) else 0)

    def __enter__(self) -> _Transcoded:
        return self

    def __exit__(self, *error: object) -> None:
        self._stream.close()

    def read(self, size: int) -> bytes:
        """Read some `size` bytes."""
        block = self._stream.read(size)
        return self._decoder.decode(block, final=not block).encode()


def _whole(column: pa.ChunkedArray) -> pa.Array:
    return column.chunk(0) if column.num_chunks == 1 else pa.array([], column.type) if (
        not column.num_chunks) else column.combine_chunks()
