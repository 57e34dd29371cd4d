"""CSV exports: cut at line ends into batches that pyarrow parses side by side."""

from __future__ import annotations

import codecs
from collections import Counter, deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import chain
from typing import Any, BinaryIO, cast

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from loganalyze.read.cells.cell_text import MISSING
from loganalyze.read.cells.damage_share import are_few
from loganalyze.read.clocks.time_codes import Form, form_of_numbers
from loganalyze.read.clocks.timestamps import form_of_cells
from loganalyze.read.columns.recognition import Header, LogColumn
from loganalyze.read.csv.csv_dialect import (
    LINES,
    NONE_SAID,
    Dialect,
    find_encoding,
)
from loganalyze.read.csv.csv_parser import BadBatchError, Parser, TableParser
from loganalyze.read.csv.csv_row_repair import LaterHeaderError
from loganalyze.read.csv.known_dialects import dialect_of
from loganalyze.read.csv.stacked_tables import (
    Section,
    headers_of,
    later_section,
    refused_header,
)
from loganalyze.read.files.file_types import LogFile
from loganalyze.read.files.row_batches import ColumnSink, RowBatch
from loganalyze.record.channels import kind as channel_kind
from loganalyze.record.threads import in_order
from loganalyze.sheets.columns_file import CLOCK_PARTS, ColumnsFile
from loganalyze.sheets.export_options import FileHabits

_LARGEST_EXACT = 2**53
"""Integers above this lose their last digits in float64 (epochs in nanoseconds)."""


@dataclass
class CsvLog:
    """A CSV export, understood but not yet read."""

    file: LogFile
    dialect: Dialect
    headers: list[Header]
    encoding: str
    sheet: ColumnsFile | None = None
    """The columns file that it is read with."""
    _sampled: dict[int, NDArray[np.float64]] = field(default_factory=dict, init=False, repr=False)

    @classmethod
    def open(cls, file: LogFile, said: FileHabits = NONE_SAID,
             sheet: ColumnsFile | None = None) -> CsvLog:
        """Understand the export from its first lines; raises Problem where it isn't one."""
        where = str(file.path)
        encoding, mark = find_encoding(file.head, where, said.encoding)
        head = file.head
        if encoding.startswith("utf-16"):
            head = codecs.getincrementaldecoder(encoding)("replace").decode(head[mark:]).encode()
            mark = 0
        dialect = dialect_of(head, encoding, mark, where, said)
        return cls(file, dialect, headers_of(dialect), encoding, sheet)

    @property
    def likely_rows(self) -> int:
        """The rows that the file may hold, if all are as long as the first ones."""
        if self.file.compression:
            return 0
        size = self.file.size // (2 if self.encoding.startswith("utf-16") else 1)
        return int(size / self.dialect.row_bytes * 1.02) + 16

    @property
    def preamble(self) -> str:
        """The words above the header."""
        return self.dialect.preamble

    def described(self) -> dict[str, Any]:
        """Return how the file is written, in facts worth printing."""
        facts: dict[str, Any] = {"format": "CSV", **self.dialect.described()}
        if self.file.compression:
            facts["compression"] = self.file.compression
        return facts

    def cells(self, column: LogColumn) -> list[str]:
        """Return the text of a column's first cells, empty where nothing was recorded."""
        return ["" if cell in MISSING else cell for cell in self.dialect.cells(column.index)]

    def first_cell(self, column: LogColumn) -> str:
        """Return the text of a column's first cell."""
        return next((cell for cell in self.dialect.cells(column.index) if cell), "")

    def sampled(self, column: LogColumn) -> NDArray[np.float64]:
        """Return the numbers of a column's first rows, NaN where there is none."""
        if column.index not in self._sampled:
            cells = self.dialect.cells(column.index)
            values = {cell: self.dialect.numerals.value(cell) for cell in set(cells)}
            self._sampled[column.index] = np.array([values[cell] for cell in cells], np.float64)
        return self._sampled[column.index]

    def rounding(self, column: LogColumn) -> float:
        """Return the greatest relative error of the file's number format."""
        return 0.0

    def clock(self, column: LogColumn) -> Form:
        """Tell how the time column counts."""
        cells = [cell for cell in self.dialect.cells(column.index) if cell not in MISSING]
        where = f"{self.file.path}, line {self.dialect.first_line}"
        if 2 * sum(map(self.dialect.numerals.is_number, cells)) < len(cells):
            return form_of_cells(cells, column.name, where)
        return form_of_numbers(self.sampled(column), column.unit, column.recorded_unit,
                               column.name, where)

    def row_batches(self, time: LogColumn, form: Form, columns: Sequence[LogColumn],
               low_memory: bool = False, sink: ColumnSink | None = None) -> Iterator[RowBatch]:
        """Yield the file batch by batch, in order; the batches are small, `low_memory` or not.

        Nothing is converted to `sink` here: where a batch belongs shows once it is parsed.
        """
        section: Section | None = Section(self.dialect, self.headers, time, form, columns)
        texts, line = self.texts(), self.dialect.first_line
        while section is not None:
            parser, given = self._parser(section), deque[Callable[[], bytes]]()
            try:
                for batch, lines in in_order(_tasks(parser, texts, given)):
                    given.popleft()
                    line += lines
                    yield section.converted(batch, columns)
                return
            except BadBatchError as bad:
                raise parser.problem(bad, line) from None
            except LaterHeaderError as found:
                later = found
            given.popleft()
            try:
                batch, lines, later = _parsed_above(parser, later)
            except BadBatchError as bad:
                raise parser.problem(bad, line) from None
            line += lines
            yield section.converted(batch, columns)
            texts = chain(given, texts)
            below = later.above + b"\n".join(later.lines[later.index :])
            while below.count(b"\n") < LINES and (more := next(texts, None)) is not None:
                below += more()
            start = Section(self.dialect, self.headers, time, form, columns)
            section = later_section(self, start, below, line - bool(later.above))
            if section is not None:
                line = section.dialect.first_line
                rest = below[section.dialect.start :]
                texts = chain([partial(bytes, rest)], texts)

    def _parser(self, section: Section) -> Parser:
        own = replace(self, dialect=section.dialect, headers=section.headers)
        kinds = {**{column.index: own._kind(column) for column in section.columns},
                 **own.clock_kinds(section.time, section.form)}
        return Parser(section.dialect, str(self.file.path), section.headers, kinds, section.time,
                      section.form, section.columns)

    def parsed(self, parser: TableParser) -> Iterator[RowBatch]:
        """Yield the batches that `parser` makes of the file, in order."""
        line = self.dialect.first_line
        try:
            for batch, lines in in_order(_tasks(parser, self.texts(), deque())):
                line += lines
                yield batch
        except BadBatchError as bad:
            raise parser.problem(bad, line) from None
        except LaterHeaderError as later:
            raise refused_header(str(self.file.path), line + later.index) from None

    def texts(self) -> Iterator[Callable[[], bytes]]:
        """Cut what stands below the header into batches, as UTF-8 or Latin-1."""
        stream = None
        if self.encoding.startswith("utf-16"):
            stream = cast(BinaryIO, _Transcoded(self.file, self.encoding))
        return self.file.text_blocks(self.dialect.start, stream, self.dialect.newline.encode())

    def clock_kinds(self, time: LogColumn, form: Form) -> dict[int, pa.DataType]:
        """Return how to parse the columns of a clock."""
        if form.join is not None:
            return {column.index: self._kind(column) for column in form.parts}
        if form.textual:
            return {time.index: pa.string()}
        known = self.sampled(time)
        wide = bool(np.nanmedian(np.abs([*known, 0])) > _LARGEST_EXACT)
        return {time.index: pa.int64() if wide else pa.float64()}

    def _kind(self, column: LogColumn) -> pa.DataType:
        """Return how to parse a column: states and parts of the clock may be text."""
        kind = channel_kind(column.channel)
        if column.values:
            return pa.string()
        if column.channel not in CLOCK_PARTS and (kind is None or not kind.discrete):
            return pa.float64()
        cells = self.dialect.cells(column.index)
        words = sum(count for cell, count in Counter(cells).items()
                    if cell not in MISSING and not self.dialect.numerals.is_number(cell))
        return pa.float64() if are_few(words, len(cells)) else pa.string()


def _parsed_above(parser: TableParser,
                  later: LaterHeaderError) -> tuple[RowBatch, int, LaterHeaderError]:
    """Return what is above a later header, its lines, and the first header that heads others."""
    while True:
        above = b"".join(line + b"\n" for line in later.lines[: later.index])
        try:
            return *parser.parse(partial(bytes, above)), later
        except LaterHeaderError as first:
            first.lines = later.lines
            later = first


def _tasks(parser: TableParser, texts: Iterator[Callable[[], bytes]],
           given: deque[Callable[[], bytes]]) -> Iterator[Callable[[], tuple[RowBatch, int]]]:
    """Yield tasks that parse `texts`; what was handed out is added to `given`."""
    for data in texts:
        given.append(data)
        yield partial(parser.parse, data)


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
