"""Parsing batches of a long table, and finding which parameters it holds."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import pairwise

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from loganalyze.problems import Problem
from loganalyze.read.cells.arrow_arrays import numbers
from loganalyze.read.cells.cell_text import MISSING
from loganalyze.read.cells.discrete_words import mapped
from loganalyze.read.clocks.time_codes import Form, Ticks
from loganalyze.read.columns.recognition import LogColumn
from loganalyze.read.csv.cell_problems import no_number, no_state
from loganalyze.read.csv.csv_log import CsvLog
from loganalyze.read.csv.csv_parser import (
    BadBatchError,
    SecondValueError,
    TableParser,
    line_ends,
    meaning_of,
)
from loganalyze.read.csv.csv_row_repair import LaterHeaderError
from loganalyze.read.csv.stacked_tables import refused_header
from loganalyze.read.files.row_batches import RowBatch
from loganalyze.record.threads import in_order

SAMPLE = 400
"""Cells looked at of each parameter."""
Floats = NDArray[np.float64]
Found = dict[str, tuple[list[str], list[str]]]
"""Of each parameter of a batch its units and first cells."""


@dataclass(frozen=True)
class Scan:
    """The parameters of a long table, each with its unit ("" : none) and its first cells.

    ``by_time`` : whether the lines of one time follow each other; else the table is sorted by
    parameter.
    """

    units: dict[str, str]
    sample: dict[str, list[str]]
    by_time: bool


class LongParser(TableParser):
    """Parses batches to a row a time and a column a parameter, or, sorted, to codes and values."""

    may_be_text = True

    def __init__(self, table: CsvLog, places: dict[str, int], time: LogColumn, form: Form,
                 columns: Sequence[LogColumn], by_time: bool) -> None:
        self.name, self.value = places["parameter"], places["value"]
        kinds = {**table.clock_kinds(time, form), self.name: pa.string(), self.value: pa.float64()}
        super().__init__(table.dialect, str(table.file.path), table.headers, kinds, time, form)
        self.columns, self.by_time = columns, by_time
        self._meanings = [meaning_of(column, table.dialect) for column in columns]
        self._codes = {column.name: i for i, column in enumerate(columns)}

    def made(self, arrays: dict[int, pa.Array], left_out: int, as_text: bool) -> RowBatch:
        """Return a batch of the columns' arrays; numbers are text where `as_text`."""
        names = coded_text(arrays[self.name], self.encoding)
        codes = np.array([*(self._codes.get(name, -1) for name in names[1]), -1])[names[0]]
        values = self._values(arrays[self.value], codes, as_text)
        ticks = self.ticks(arrays, as_text)
        if not self.by_time:
            return RowBatch(ticks, [pa.array(codes.tolist(), pa.int32()), floats(values)], left_out)
        ticks, wide = grouped(ticks, codes, values, len(self.columns))
        return RowBatch(ticks, [floats(column) for column in wide], left_out)

    def _values(self, array: pa.Array, codes: NDArray[np.int64], as_text: bool) -> Floats:
        if not as_text:
            raw, valid = numbers(array)
            return np.array(raw) if valid is None else np.where(valid, raw, np.nan)
        values = np.full(len(codes), np.nan)
        for i, means in enumerate(self._meanings):
            own = np.flatnonzero(codes == i)
            made = mapped(array.take(pa.array(own.tolist(), pa.int64())), means.of, self.encoding)
            values[own] = numbers(made)[0]
        return values

    def problem(self, bad: BadBatchError, line: int) -> Problem:
        """Find the cell that couldn't be read, the slow way."""
        before, seen = "", set[str]()
        for number, cells in self.lines(bad.text, line):
            where = f"{self.where}, line {number}"
            if len(cells) != len(self.dialect.names):
                break
            time, name, cell = cells[self.time.index], cells[self.name], cells[self.value]
            if self.time.index == bad.index and time == bad.cell.strip():
                break
            if name not in self._codes or cell in MISSING:
                continue
            means = self._meanings[self._codes[name]]
            problem = (no_state(cell, name, where, means) if means.numerals is None else
                       None if means.numerals.is_number(cell) else no_number(cell, name, where))
            if problem is not None:
                return problem
            seen = seen if time == before else set()
            if name in seen:
                return second_value(name, f" {time}", where)
            seen.add(name)
            before = time
        return super().problem(bad, line)


def second_value(name: str, time: str, where: str) -> Problem:
    """Return the Problem of a parameter with two values at one time."""
    return Problem(f'"{name}" has a second value at {"the time" if time else "one time"}{time}',
                   where, "export the log with one value for each parameter and time")


def grouped(ticks: Ticks, codes: NDArray[np.int64], values: Floats,
            count: int) -> tuple[Ticks, list[Floats]]:
    """Return the times of some lines, one each, and a column a parameter; NaN without a value.

    Raises SecondValueError where a parameter has two values at one time.
    """
    changed = (ticks[1:] != ticks[:-1]).reshape(max(len(ticks) - 1, 0), -1).any(axis=1)
    starts = np.concatenate([[True] * bool(len(ticks)), changed]).astype(bool)
    rows = np.cumsum(starts) - 1
    wide = [np.full(int(starts.sum()), np.nan) for _ in range(count)]
    for i, column in enumerate(wide):
        chosen = np.flatnonzero((codes == i) & ~np.isnan(values))
        own = rows[chosen]
        if (own[1:] == own[:-1]).any():
            raise SecondValueError(i)
        column[own] = values[chosen]
    return ticks[starts], wide


def floats(values: Floats) -> pa.Array:
    """Return numbers as an Arrow array."""
    return pa.Array.from_buffers(pa.float64(), len(values), [
        None, pa.py_buffer(np.ascontiguousarray(values))])


def coded_text(array: pa.Array, encoding: str) -> tuple[NDArray[np.int64], list[str]]:
    """Return the code of each cell of a text array, and the words; blank is the code after them."""
    coded = array.dictionary_encode()
    words = [word.decode(encoding, "replace").strip()
             for word in coded.dictionary.cast(pa.binary()).to_pylist()]
    codes = coded.indices.fill_null(len(words)).to_numpy(zero_copy_only=False)
    return codes.astype(np.int64), words


class _Scanner(TableParser):
    """Looks through a long table for its parameters, units and first values."""

    def __init__(self, table: CsvLog, places: dict[str, int]) -> None:
        self.places = places
        kinds = {places[key]: pa.string() for key in ("parameter", "value", "unit")
                 if key in places}
        super().__init__(table.dialect, str(table.file.path), table.headers, kinds,
                         LogColumn("time", -1, "", None, "", ""), Form(1.0, ""))

    def look(self, data: Callable[[], bytes]) -> tuple[bytes, int, Found]:
        """Return a batch, its lines, and of each parameter its units and first cells."""
        text = data()
        if self.dialect.newline == "\r":
            text = text.replace(b"\r", b"\n")
        for repaired, _ in self.repair.attempts(text):
            try:
                arrays = self._arrays(repaired, False)
            except pa.ArrowInvalid:
                continue
            return text, line_ends(text), self._found(arrays)
        raise BadBatchError(text)

    def _found(self, arrays: dict[int, pa.Array]) -> Found:
        names = coded_text(arrays[self.places["parameter"]], self.encoding)
        units = (coded_text(arrays[self.places["unit"]], self.encoding)
                 if "unit" in self.places else (np.zeros(len(names[0]), np.int64), [""]))
        return found_in(names, arrays[self.places["value"]], units, self.encoding)


def find_parameters(table: CsvLog, places: dict[str, int]) -> Scan:
    """Look through a long table once; raises Problem where a parameter's unit changes."""
    scanner, tally = _Scanner(table, places), Tally()
    line = table.dialect.first_line
    try:
        for text, lines, found in in_order(partial(scanner.look, data) for data in table.texts()):
            changed = tally.add(found)
            if changed is not None:
                place = next((number for number, cells in scanner.lines(text, line)
                              if len(cells) == len(scanner.dialect.names)
                              and cells[places["parameter"]] == changed[0]
                              and cells[places["unit"]] == changed[2]), line)
                raise changed_unit(changed, f"{scanner.where}, line {place}")
            line += lines
    except BadBatchError as bad:
        raise scanner.problem(bad, line) from None
    except LaterHeaderError as later:
        raise refused_header(scanner.where, line + later.index) from None
    return tally.scan([row[places["parameter"]] for row in table.dialect.sample])


@dataclass
class Tally:
    """What is known of the parameters so far: their units and first cells."""

    units: dict[str, str] = field(default_factory=dict)
    sample: dict[str, list[str]] = field(default_factory=dict)

    def add(self, found: Found) -> tuple[str, str, str] | None:
        """Take in a batch; returns a parameter whose unit changed, the unit before and after."""
        for name, (stated, cells) in found.items():
            left = SAMPLE - len(self.sample.setdefault(name, []))
            self.sample[name] += cells[:max(left, 0)]
            known = self.units.setdefault(name, "")
            for unit in stated:
                if known and unit != known:
                    return name, known, unit
                known = self.units[name] = unit
        return None

    def scan(self, first: Sequence[str]) -> Scan:
        """Return what is known; `first` are the names in the first lines."""
        return Scan(self.units, self.sample, _by_time(first, len(self.units)))


def found_in(names: tuple[NDArray[np.int64], list[str]], values: pa.Array,
             units: tuple[NDArray[np.int64], list[str]], encoding: str) -> Found:
    """Return the units and the first cells of each parameter.

    `names` and `units` : codes and words, as of `coded_text`; `values` : the cells as text.
    """
    codes, words = names
    found = {}
    for i, name in enumerate(words):
        own = np.flatnonzero(codes == i)
        stated = [units[1][j] for j in dict.fromkeys(units[0][own].tolist())
                  if j < len(units[1]) and units[1][j] not in ("", "-")]
        first = values.take(pa.array(own[:SAMPLE].tolist(), pa.int64()))
        found[name] = (stated, [(cell or b"").decode(encoding, "replace").strip()
                                for cell in first.cast(pa.binary()).to_pylist()])
    return found


def changed_unit(changed: tuple[str, str, str], where: str) -> Problem:
    """Return the Problem of a parameter whose unit changes on the way."""
    name, known, unit = changed
    return Problem(f'the unit of "{name}" changes from "{known}" to "{unit}"', where,
                   "export the log with one unit for each parameter")


def _by_time(names: Sequence[str], parameters: int) -> bool:
    """Whether the parameters take turns in the first lines, rather than follow each other."""
    if len(set(names)) < 2:
        return parameters < 2
    return 2 * sum(name != other for name, other in pairwise(names)) >= len(names) - 1
