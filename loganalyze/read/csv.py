"""CSV exports: cut at line ends into pieces that pyarrow parses side by side."""

from __future__ import annotations

import codecs
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, BinaryIO, cast

import numpy as np
import pyarrow as pa
import pyarrow.csv as pc
from numpy.typing import NDArray

from loganalyze.problems import Problem
from loganalyze.read.clock import Form, Ticks, form_of_numbers, ticks_of
from loganalyze.read.columns import Column, Header
from loganalyze.read.dialect import (
    MISSING,
    Dialect,
    find_dialect,
    find_encoding,
    is_number,
    split_line,
    strip_brackets,
)
from loganalyze.read.files import LogFile, in_order
from loganalyze.read.pieces import Piece
from loganalyze.read.stamps import BadStampError, form_of_cells, parse_stamps
from loganalyze.read.states import WORDS, UnknownStateError, states
from loganalyze.record.channels import CHANNELS
from loganalyze.sheets.columns import CLOCK_PARTS

_NULLS = sorted(MISSING | {" " * count for count in range(1, 17)})
_LARGEST_EXACT = 2**53
"""Integers above this lose their last digits in float64 (epochs in nanoseconds)."""
_STARTS = frozenset(bytes([code]) for code in b"0123456789+-.") | {b""}
"""How lines begin that need no second look, for speed."""


@dataclass
class CsvLog:
    """A CSV export, understood but not yet read."""

    file: LogFile
    dialect: Dialect
    headers: list[Header]
    encoding: str

    @classmethod
    def open(cls, file: LogFile) -> CsvLog:
        """Understand the export from its first lines; raises Problem where it isn't one."""
        where = str(file.path)
        encoding, mark = find_encoding(file.head, where)
        head = file.head
        if encoding.startswith("utf-16"):
            head = codecs.getincrementaldecoder(encoding)("replace").decode(head[mark:]).encode()
            mark = 0
        dialect = find_dialect(head, encoding, mark, where)
        units = dialect.units or ("",) * len(dialect.names)
        headers = [Header(name, strip_brackets(unit), "the units row" if unit.strip() else "")
                   for name, unit in zip(dialect.names, units, strict=True)]
        return cls(file, dialect, headers, encoding)

    @property
    def likely_rows(self) -> int:
        """The rows that the file may hold, if all are as long as the first ones."""
        if self.file.compression:
            return 0
        size = self.file.size // (2 if self.encoding.startswith("utf-16") else 1)
        return int(size / self.dialect.row_bytes * 1.02) + 16

    def described(self) -> dict[str, Any]:
        """Return how the file is written, in facts worth printing."""
        facts: dict[str, Any] = {"format": "CSV", **self.dialect.described()}
        if self.file.compression:
            facts["compression"] = self.file.compression
        return facts

    def cells(self, column: Column) -> list[str]:
        """Return the text of a column's first cells, empty where nothing was recorded."""
        return ["" if cell in MISSING else cell for cell in self.dialect.cells(column.index)]

    def first_cell(self, column: Column) -> str:
        """Return the text of a column's first cell."""
        return next((cell for cell in self.dialect.cells(column.index) if cell), "")

    def sampled(self, column: Column) -> NDArray[np.float64]:
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
        if 2 * sum(map(is_number, cells)) < len(cells):
            return form_of_cells(cells, column.name, where)
        return form_of_numbers(self.sampled(column), column.unit, column.recorded_unit,
                               column.name, where)

    def pieces(self, time: Column, form: Form, columns: Sequence[Column],
               lean: bool = False) -> Iterator[Piece]:
        """Yield the file piece by piece, in order; the pieces are small, `lean` or not."""
        kinds = {column.index: self._kind(column) for column in (*columns, *form.parts)}
        if form.join is None:
            known = self.sampled(time)
            wide = bool(np.nanmedian(np.abs([*known, 0])) > _LARGEST_EXACT)
            kinds[time.index] = (
                pa.string() if form.textual else pa.int64() if wide else pa.float64())
        parser = _Parser(self, kinds, form.parts[0] if form.parts else time, columns, form)
        stream = None
        if self.encoding.startswith("utf-16"):
            stream = cast(BinaryIO, _Transcoded(self.file, self.encoding))
        line = self.dialect.first_line
        tasks: Iterator[Callable[[], tuple[Piece, int]]] = (
            partial(parser.parse, data) for data in self.file.pieces(self.dialect.start, stream))
        try:
            for piece, lines in in_order(tasks):
                line += lines
                yield piece
        except _BadPieceError as bad:
            raise parser.problem(bad, line) from None

    def _kind(self, column: Column) -> pa.DataType:
        """Return how to parse a column: discretes and parts of the clock may be text."""
        kind = CHANNELS.get(column.channel)
        worded = column.channel in CLOCK_PARTS or (kind is not None and kind.discrete)
        cells = self.dialect.cells(column.index)
        return pa.string() if worded and not all(
            is_number(cell) or cell in MISSING for cell in cells) else pa.float64()


@dataclass(frozen=True)
class _Parser:
    """Parses pieces of a CSV export, and says what is wrong with one that can't be."""

    log: CsvLog
    kinds: dict[int, pa.DataType]
    time: Column
    columns: Sequence[Column]
    form: Form

    @property
    def _encoding(self) -> str:
        return "latin-1" if self.log.encoding == "latin-1" else "utf-8"

    def parse(self, data: Callable[[], bytes]) -> tuple[Piece, int]:
        """Return the rows of a piece and the number of its lines."""
        text = data()
        mark = self.log.dialect.comment.encode()
        commented = bool(mark) and (text.startswith(mark) or b"\n" + mark in text)
        for mended, left_out in self._attempts(text, commented):
            try:
                return self._rows(mended, left_out), text.count(b"\n")
            except BadStampError as bad:
                reason = _BadPieceError(text, self.time.index, bad.cell)
            except (pa.ArrowInvalid, UnknownStateError):
                reason = _BadPieceError(text)
        raise reason

    def problem(self, bad: _BadPieceError, line: int) -> Problem:
        """Find the cell that couldn't be read, the slow way."""
        dialect = self.log.dialect
        path = self.log.file.path
        clock = {self.time.index, *(part.index for part in self.form.parts)}
        for number, raw in enumerate(bad.text.split(b"\n"), line):
            text = raw.decode(self._encoding, "replace").rstrip("\r")
            if not raw or (raw[:1] not in _STARTS and self._no_sample(raw)):
                continue
            cells = [cell.strip(" \t") for cell in split_line(text, dialect.delimiter)]
            where = f"{path}, line {number}"
            stray = ("a stray carriage return" if "\r" in text else
                     "a quotation mark without its pair" if text.count('"') % 2 else "")
            if stray:
                return Problem(f"the line holds {stray}", where, "mend the line")
            if len(cells) != len(dialect.names):
                return Problem(f"the line has {len(cells)} cells where the others have "
                               f"{len(dialect.names)}", where, "export the log again, or mend "
                               "the line")
            for index, kind in self.kinds.items():
                cell, name = cells[index], self.log.headers[index].name
                if index == bad.index and cell == bad.cell.strip():
                    return Problem(f'"{cell}" in the time column "{name}" isn\'t a time that is '
                                   "known", where, "mend the line, or leave the cell blank")
                if cell in MISSING or (index in clock and pa.types.is_string(kind)):
                    continue
                if pa.types.is_string(kind) and cell.casefold() not in WORDS:
                    return Problem(f'"{cell}" in column "{name}" isn\'t a state that is known',
                                   where, "export states as 0 and 1")
                if not pa.types.is_string(kind) and not is_number(cell):
                    return Problem(f'"{cell}" in column "{name}" isn\'t a number', where,
                                   "mend the cell, or leave it blank where nothing was recorded")
        return Problem("a line can't be read", f"{path}, from line {line}", "export the log again")

    def _rows(self, text: bytes, left_out: int) -> Piece:
        if not text.strip():
            none = {index: pa.array([], kind) for index, kind in self.kinds.items()}
            return Piece(self._ticks(none), [pa.array([], pa.float64()) for _ in self.columns],
                         left_out)
        names = [str(index) for index in range(len(self.log.dialect.names))]
        table = pc.read_csv(
            pa.BufferReader(text),
            read_options=pc.ReadOptions(column_names=names, use_threads=False,
                                        block_size=len(text) + 1),
            parse_options=pc.ParseOptions(delimiter=self.log.dialect.delimiter),
            convert_options=pc.ConvertOptions(
                column_types={str(index): kind for index, kind in self.kinds.items()},
                include_columns=[str(index) for index in self.kinds], null_values=_NULLS,
                strings_can_be_null=True, decimal_point=self.log.dialect.decimal,
                check_utf8=False),
        )
        arrays = {index: _whole(table.column(str(index))) for index in self.kinds}
        return Piece(self._ticks(arrays), [
            states(array) if pa.types.is_string(array.type) else array
            for array in (arrays[column.index] for column in self.columns)], left_out)

    def _ticks(self, arrays: dict[int, pa.Array]) -> Ticks:
        if self.form.join is not None:
            return self.form.join({part.channel: arrays[part.index] for part in self.form.parts})
        stamps = arrays[self.time.index]
        return parse_stamps(stamps) if pa.types.is_string(stamps.type) else ticks_of(stamps)

    def _attempts(self, text: bytes, commented: bool) -> Iterator[tuple[bytes, int]]:
        """Yield the piece as it is, then mended more and more, with the lines left out."""
        if not commented:
            yield text, 0
        delimiter = self.log.dialect.delimiter.encode()
        lines = text.split(b"\n")
        kept = [line for line in lines if line[:1] in _STARTS or not self._no_sample(line)]
        left_out = len(lines) - len(kept)
        if kept and kept[-1] and kept[-1].count(delimiter) < len(self.log.dialect.names) - 1:
            kept[-1] = b""  # A last line without its end was cut off while it was written.
            left_out += 1
        mended = b"\n".join(kept)
        if left_out or commented:
            yield mended, left_out
        blank = b" " if delimiter == b"\t" else b"[ \t]"
        if re.search(blank, mended):
            mark = re.escape(delimiter)
            yield re.sub(blank + b"+(?=" + mark + rb"|\r?\n|$)|(?:(?<=" + mark + rb")|(?<=\n)|^)"
                         + blank + b"+", b"", mended), left_out

    def _no_sample(self, line: bytes) -> bool:
        """Whether a line is blank, a comment, or the header or the units row come again."""
        dialect = self.log.dialect
        text = line.decode(self._encoding, "replace").rstrip("\r")
        if not text.strip(" \t" + dialect.delimiter):
            return True
        if dialect.comment and text.lstrip().startswith(dialect.comment):
            return True
        cells = tuple(cell.strip() for cell in split_line(text, dialect.delimiter))
        return cells in (dialect.names, tuple(cell.strip() for cell in dialect.units or ()))


class _BadPieceError(Exception):
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
        if file.head[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
            self._stream.read(2)

    def __enter__(self) -> _Transcoded:
        return self

    def __exit__(self, *error: object) -> None:
        self._stream.close()

    def read(self, size: int) -> bytes:
        """Read some `size` bytes."""
        block = self._stream.read(size)
        return self._decoder.decode(block, final=not block).encode()


def _whole(column: pa.ChunkedArray) -> pa.Array:
    if column.num_chunks == 1:
        return column.chunk(0)
    return column.combine_chunks() if column.num_chunks else pa.array([], column.type)
