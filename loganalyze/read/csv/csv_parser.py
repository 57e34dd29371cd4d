"""Parsing of batches of a CSV export, and the errors of those that can't be parsed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from functools import partial

import numpy as np
import pyarrow as pa
import pyarrow.csv as pc

from loganalyze.problems import Problem
from loganalyze.read.cells.cell_text import MISSING, number_and_unit
from loganalyze.read.cells.damage_share import are_few
from loganalyze.read.cells.discrete_words import (
    WORDS,
    Meaning,
    UnknownStateError,
    mapped,
    meaning,
)
from loganalyze.read.clocks.time_codes import Form, Ticks, ticks_of
from loganalyze.read.clocks.time_columns import as_number
from loganalyze.read.clocks.timestamps import BadStampError, parse_stamps
from loganalyze.read.columns.recognition import Header, LogColumn
from loganalyze.read.csv import damaged_cells
from loganalyze.read.csv.cell_problems import no_number, no_state, unknown_state
from loganalyze.read.csv.csv_dialect import Dialect
from loganalyze.read.csv.csv_row_repair import MINUS, STARTS, LaterHeaderError, RowRepair
from loganalyze.read.csv.text_grid import split_line
from loganalyze.read.files.address_space import require_address_space
from loganalyze.read.files.registrations import another_aircraft, marks_in, tail_column
from loganalyze.read.files.row_batches import RowBatch
from loganalyze.read.repair.fill_values import Filler
from loganalyze.record.channels import kind as channel_kind

_NULLS = MISSING | {" " * count for count in range(1, 17)}
"""Cells that mean a missing value, as written in the file."""


class BadBatchError(Exception):
    """A batch that can't be parsed, and the stamp in it that is to blame, if one is."""

    def __init__(self, text: bytes, index: int = -1, cell: str = "") -> None:
        self.text = text
        self.index = index
        self.cell = cell
        super().__init__(cell)


class SecondValueError(Exception):
    """A parameter that has two values at one time."""


def line_ends(text: bytes) -> int:
    """Count the ends of lines; unlike bytes.count this leaves the other threads running."""
    return int(np.count_nonzero(np.frombuffer(text, np.uint8) == ord("\n")))


class TableParser:
    """Parses batches: ``kinds`` says which columns to read, and as what, by their index.

    A subclass makes a batch of the columns' arrays; ``may_be_text`` : whether columns of numbers
    are tried as text where they can't be parsed as numbers.
    """

    may_be_text = False

    def __init__(self, dialect: Dialect, where: str, headers: Sequence[Header],
                 kinds: dict[int, pa.DataType], time: LogColumn, form: Form) -> None:
        self.dialect, self.where, self.headers = dialect, where, headers
        self.kinds, self.time, self.form = kinds, time, form
        self.nulls = _NULLS
        self.encoding = "latin-1" if dialect.encoding == "latin-1" else "utf-8"
        self.repair = RowRepair(dialect, self.encoding)
        self.flags = frozenset[int]()
        """The columns of numbers that can only be 0 or 1, by index."""

    def made(self, arrays: dict[int, pa.Array], left_out: int, as_text: bool) -> RowBatch:
        """Return a batch of the columns' arrays; numbers are text where `as_text`."""
        raise NotImplementedError

    def misfit(self, index: int, cell: str, where: str) -> Problem | None:
        """Return what is wrong with a cell of a text column, or None."""
        return None

    def parse(self, data: Callable[[], bytes]) -> tuple[RowBatch, int]:
        """Return the rows of a batch and the number of its lines.

        Raises BadBatchError for one that can't be read, LaterHeaderError for one with a line
        that heads another table.
        """
        raw = data()
        if self.dialect.newline == "\r":
            raw = raw.replace(b"\r", b"\n")
        text = raw if self.dialect.layout is None else self.dialect.layout.spread_lines(
            raw, self.encoding)
        try:
            return self._parsed(text)
        except LaterHeaderError as later:
            later.lines = raw.split(b"\n")
            raise

    def _parsed(self, text: bytes) -> tuple[RowBatch, int]:
        reason, repaired, left_out = BadBatchError(text), text, 0
        for repaired, left_out in self.repair.attempts(text):
            for as_text in (False, True) if self.may_be_text else (False,):
                try:
                    return (self.made(self._arrays(repaired, as_text), left_out, as_text),
                            line_ends(text))
                except BadStampError as bad:
                    parts = {part.channel: part.index for part in self.form.parts}
                    reason = BadBatchError(text, parts.get(bad.channel, self.time.index), bad.cell)
                except (pa.ArrowInvalid, UnknownStateError, SecondValueError):
                    reason = BadBatchError(text)
        rest = self.without_damage(repaired, left_out)
        if rest is None:
            raise reason
        return rest, line_ends(text)

    def without_damage(self, text: bytes, left_out: int) -> RowBatch | None:
        """Return a batch without its damaged cells and lines, None where they aren't few."""
        return None

    def lines(self, text: bytes, first: int) -> Iterator[tuple[int, list[str]]]:
        """Yield the number and the cells of each line of a batch that holds a sample."""
        for number, raw in enumerate(text.split(b"\n"), first):
            if raw and (raw[:1] in STARTS or not self.repair.no_sample(raw)):
                yield number, self._cells(raw)

    def problem(self, bad: BadBatchError, line: int) -> Problem:
        """Find the cell that couldn't be read, the slow way."""
        for number, raw in enumerate(bad.text.replace(MINUS, b"-").split(b"\n"), line):
            if not raw or (raw[:1] not in STARTS and self.repair.no_sample(raw)):
                continue
            problem = self._fault(bad, raw, f"{self.where}, line {number}")
            if problem is not None:
                return problem
        return Problem("a line can't be read", f"{self.where}, from line {line}",
                       "export the log again")

    def _cells(self, raw: bytes) -> list[str]:
        """Return the cells of a line as they are read, repaired."""
        width = len(self.dialect.names)
        text = raw.decode(self.encoding, "replace").rstrip("\r")
        cells = [cell.strip(" \t") for cell in split_line(text, self.dialect.delimiter)]
        while len(cells) > width and not cells[-1]:
            cells.pop()
        return cells + [""] * (width - len(cells)) if self.dialect.ragged and cells[-1] else cells

    def _fault(self, bad: BadBatchError, raw: bytes, where: str) -> Problem | None:
        """Return what is wrong with a line, or None."""
        width, cells = len(self.dialect.names), self._cells(raw)
        stray = ("a stray carriage return" if b"\r" in raw.rstrip(b"\r") else
                 "a quotation mark without its pair" if raw.count(b'"') % 2 else "")
        if stray:
            return Problem(f"the line holds {stray}", where, "mend the line")
        if len(cells) != width:
            return Problem(f"the line has {len(cells)} cells where the others have {width}", where,
                           "export the log again, or mend the line")
        number = as_number(bad.cell)
        for index, kind in self.kinds.items():
            cell, name = cells[index], self.dialect.names[index]
            if index == bad.index and (cell == bad.cell.strip() or (
                    number is not None and as_number(cell) == number)):
                return Problem(f'"{cell}" in the time column "{name}" isn\'t a time that is known',
                               where, "mend the line, or leave the cell blank")
            if cell in self.nulls:
                continue
            if pa.types.is_string(kind):
                problem = self.misfit(index, cell, where)
                if problem is not None:
                    return problem
            elif unit := self.dialect.cell_units[index]:
                try:
                    self._in_unit(unit, cell)
                except UnknownStateError:
                    return Problem(f'"{cell}" in column "{name}" isn\'t a number with the unit '
                                   f'"{unit}", as the others are', where,
                                   "mend the cell, or leave it blank")
            elif not self.dialect.numerals.is_number(cell):
                return no_number(cell, name, where)
            elif index in self.flags and self.dialect.numerals.value(cell) not in (0, 1):
                return unknown_state(cell, name, where)
        return None

    def _arrays(self, text: bytes, as_text: bool) -> dict[int, pa.Array]:
        united = {index: unit for index in self.kinds if (unit := self.dialect.cell_units[index])}
        kinds = {index: pa.string() if as_text or index in united else kind
                 for index, kind in self.kinds.items()}
        if not text or text.isspace():  # strip() would copy all of it.
            return {index: pa.array([], kind) for index, kind in self.kinds.items()}
        names = [str(index) for index in range(len(self.dialect.names))]
        require_address_space(len(text))
        table = pc.read_csv(
            pa.BufferReader(text),
            read_options=pc.ReadOptions(column_names=names, use_threads=False,
                                        block_size=len(text) + 1),
            parse_options=pc.ParseOptions(delimiter=self.dialect.delimiter),
            convert_options=pc.ConvertOptions(
                column_types={str(index): kind for index, kind in kinds.items()},
                include_columns=[str(index) for index in kinds], null_values=list(self.nulls),
                strings_can_be_null=True, decimal_point=self.dialect.numerals.decimal,
                check_utf8=False),
        )
        if b'"' in text and table.num_rows != _filled_lines(text):
            raise pa.ArrowInvalid("a quoted cell holds line ends")
        arrays = {index: _whole(table.column(str(index))) for index in kinds}
        for index, unit in united.items():
            if self.kinds[index] == pa.float64() and not as_text:
                arrays[index] = mapped(arrays[index], partial(self._in_unit, unit), self.encoding)
        return arrays

    def _in_unit(self, unit: str, cell: str) -> float:
        """Return the number before the unit of its column; raises UnknownStateError."""
        word = cell.strip(" \t")
        found = number_and_unit(word)
        if found is not None and found[1] == unit and self.dialect.numerals.is_number(found[0]):
            return self.dialect.numerals.value(found[0])
        if word in self.nulls:
            return float("nan")
        raise UnknownStateError(word)

    def ungrouped(self, array: pa.Array) -> pa.Array:
        """Return text as the numbers that it holds."""
        return mapped(array, Meaning({}, numerals=self.dialect.numerals).of, self.encoding)

    def ticks(self, arrays: dict[int, pa.Array], as_text: bool) -> Ticks:
        """Return the ticks of the clock."""
        clock = self.form.parts or (self.time,)
        made = {part.channel: self.ungrouped(arrays[part.index]) if as_text and not
                pa.types.is_string(self.kinds[part.index]) else arrays[part.index]
                for part in clock}
        if self.form.join is not None:
            return self.form.join(made)
        stamps = made[self.time.channel]
        return parse_stamps(stamps) if pa.types.is_string(stamps.type) else ticks_of(stamps)


class Parser(TableParser):
    """Parses batches of a table with a column a channel."""

    def __init__(self, dialect: Dialect, where: str, headers: Sequence[Header],
                 kinds: dict[int, pa.DataType], time: LogColumn, form: Form,
                 columns: Sequence[LogColumn]) -> None:
        super().__init__(dialect, where, headers, kinds, time, form)
        self.columns = columns
        self.may_be_text = bool(dialect.numerals.thousands)
        self.tail = tail_column(headers)
        marks = [] if self.tail is None else marks_in(dialect.cells(self.tail))
        self.mark = marks[0] if marks else ""
        if self.tail is not None and self.mark and self.tail not in self.kinds:
            self.kinds[self.tail] = pa.string()
        self._meanings = {column.index: meaning_of(column, dialect) for column in columns}
        self._fillers = {column.index: Filler(column) for column in columns}
        self.flags = frozenset(
            column.index for column in columns if not column.values
            and (kind := channel_kind(column.channel)) is not None and kind.discrete)
        states = set(WORDS).union(*(column.values for column in columns))
        for column in columns:
            words = {cell for cell in column.missing if isinstance(cell, str)
                     and not dialect.numerals.is_number(cell)}
            self.nulls |= {word for word in words if word.strip().casefold() not in states}
            if any(word.strip().casefold() in states for word in words):
                # What is a state in one column isn't blank in all: its own is read as text.
                self.kinds[column.index] = pa.string()

    def made(self, arrays: dict[int, pa.Array], left_out: int, as_text: bool) -> RowBatch:
        """Return a batch of the columns' arrays; numbers are text where `as_text`."""
        if self.tail is not None and self.mark:
            mapped(arrays[self.tail], self._same_aircraft, self.encoding)
        counted: Counter[str] = Counter()
        made = [self._fillers[column.index].cleaned(
            self._numeric(arrays[column.index], column.index, as_text), counted)
            for column in self.columns]
        for column, array in zip(self.columns, made, strict=True):
            if column.index in self.flags and not damaged_cells.is_on_or_off(array):
                raise UnknownStateError(column.name)
        return RowBatch(self.ticks(arrays, as_text), made, left_out, counted)

    def without_damage(self, text: bytes, left_out: int) -> RowBatch | None:
        """Return a batch without its damaged cells and lines, None where they aren't few."""
        whole = damaged_cells.whole_lines(text, self.dialect.delimiter, len(self.dialect.names),
                                          self.encoding)
        if whole is None:
            return None
        lines, broken = whole
        counted = Counter({damaged_cells.BROKEN_LINES: broken} if broken else {})
        try:
            arrays = self._arrays(lines, as_text=True)
            if self.tail is not None and self.mark:
                mapped(arrays[self.tail], self._same_aircraft, self.encoding)
            ticks = self._ticks_there(arrays, counted)
        except (pa.ArrowInvalid, UnknownStateError):
            return None
        made = []
        for column in self.columns:
            found = damaged_cells.readable(arrays[column.index], self._reading(column),
                                           self.encoding)
            if found is None:
                return None
            array, count = found
            counted += Counter({damaged_cells.unreadable_of(column.name): count})
            made.append(self._fillers[column.index].cleaned(array, counted))
        return None if ticks is None else RowBatch(ticks, made, left_out, counted)

    def _ticks_there(self, arrays: dict[int, pa.Array], counted: Counter[str]) -> Ticks | None:
        """Return the ticks, none where a part of the clock can't be read; None for too many.

        Adds to `counted` how many cells of each of its columns couldn't be read.
        """
        parts = {part.channel: part.index for part in self.form.parts or (self.time,)}
        own = dict(arrays)
        for index in parts.values():
            if pa.types.is_floating(self.kinds[index]):
                found = damaged_cells.readable(arrays[index], self._number, self.encoding)
                if found is None:
                    return None
                own[index], count = found
            elif pa.types.is_integer(self.kinds[index]):
                own[index] = damaged_cells.whole_numbers(arrays[index])
                count = own[index].null_count - arrays[index].null_count
                if not are_few(count, len(arrays[index])):
                    return None
            else:
                continue
            counted += Counter({damaged_cells.unreadable_of(self.dialect.names[index]): count})
        for gone in range(damaged_cells.MOST_STAMPS):
            try:
                ticks = self.ticks(own, as_text=False)
            except BadStampError as bad:
                index = parts.get(bad.channel, self.time.index)
                array = damaged_cells.without_stamp(own[index], bad)
                if array is None:
                    return None
                own[index] = array
                counted[damaged_cells.unreadable_of(self.dialect.names[index])] += 1
                continue
            return ticks if are_few(gone, len(ticks)) else None
        return None

    def _reading(self, column: LogColumn) -> Callable[[str], float]:
        """Return what makes a number of a column's cell, or raises UnknownStateError."""
        if pa.types.is_string(self.kinds[column.index]):
            return self._meanings[column.index].of
        if unit := self.dialect.cell_units[column.index]:
            return partial(self._in_unit, unit)
        return self._flag if column.index in self.flags else self._number

    def _number(self, cell: str) -> float:
        return Meaning({}, numerals=self.dialect.numerals).of(cell)

    def _flag(self, cell: str) -> float:
        value = self._number(cell)
        if value in (0, 1) or value != value:
            return value
        raise UnknownStateError(cell)

    def misfit(self, index: int, cell: str, where: str) -> Problem | None:
        """Return what is wrong with a cell of a text column, or None."""
        if index == self.tail and self.mark and cell != self.mark:
            return another_aircraft(cell, self.mark, where)
        if index in self._meanings:
            return no_state(cell, self.headers[index].name, where, self._meanings[index])
        return None

    def _same_aircraft(self, cell: str) -> float:
        """Return 0 for a blank or the log's own registration; else raise."""
        if cell.strip() not in (*self.nulls, self.mark):
            raise UnknownStateError(cell)
        return 0.0

    def _numeric(self, array: pa.Array, index: int, as_text: bool) -> pa.Array:
        if pa.types.is_string(self.kinds[index]):
            return mapped(array, self._meanings[index].of, self.encoding)
        return self.ungrouped(array) if as_text else array


def meaning_of(column: LogColumn, dialect: Dialect) -> Meaning:
    """Return what the cells of a text column mean."""
    kind = channel_kind(column.channel)
    return meaning(column.values, column.missing, kind is not None and kind.discrete,
                   dialect.numerals)


def _filled_lines(text: bytes) -> int:
    """Count the lines that hold anything, as the parser counts them: their rows."""
    return sum(bool(line.rstrip(b"\r")) for line in text.split(b"\n"))


def _whole(column: pa.ChunkedArray) -> pa.Array:
    if column.num_chunks == 1:
        return column.chunk(0)
    return column.combine_chunks() if column.num_chunks else pa.array([], column.type)
