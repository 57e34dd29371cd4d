"""Long tables: a line for each time and parameter, made into a column a parameter.

A table in which the time runs on is read in bounded memory, a time after the other. One that
is sorted by parameter can't be, so that its values are held whole. Either way each parameter
keeps its own rate: it has no value at the times of the others.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Self

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from loganalyze.problems import Problem
from loganalyze.read.cells.arrow_arrays import numbers
from loganalyze.read.cells.cell_text import MISSING, Numerals
from loganalyze.read.clocks.time_codes import Form, Ticks
from loganalyze.read.columns.column_names import read_name
from loganalyze.read.columns.recognition import Header, LogColumn
from loganalyze.read.csv.csv_log import CsvLog
from loganalyze.read.csv.header_rows import strip_brackets
from loganalyze.read.files.file_types import LogFile
from loganalyze.read.files.multi_file import Log
from loganalyze.read.files.row_batches import ColumnSink, RowBatch
from loganalyze.read.long.long_csv import (
    LongParser,
    Scan,
    find_parameters,
    floats,
    second_value,
)
from loganalyze.read.repair.fill_values import Filler
from loganalyze.sheets.columns_file import CLOCK_PARTS
from loganalyze.sheets.export_options import LongTable

PARAMETER = ("parameter", "param", "parameter name", "param name", "mnemonic", "signal", "channel",
             "variable", "signal name", "parameter id", "measurement", "item", "tag")
VALUE = ("value", "values", "val", "engineering value", "eng value", "reading", "data value",
         "parameter value")
UNIT = ("unit", "units", "uom", "eng unit", "eng units", "engineering units", "engineering unit")
BATCH = 1 << 17
"""Rows of a batch made of a table that is sorted by parameter."""

Floats = NDArray[np.float64]


def long_columns(names: Sequence[str], said: LongTable | None,
                 where: str) -> dict[str, int] | None:
    """Return which columns of a table hold its ``parameter``, ``value``, ``unit`` and ``time``.

    None for a table with a column a channel. Raises Problem where the columns file names a
    column that isn't there.
    """
    names = [name.strip() for name in names]
    if said is not None:
        found = {}
        for key in ("time", "parameter", "value", "unit"):
            name = getattr(said, key)
            if name is not None and name not in names:
                raise Problem(f'the columns file names "{name}" for the {key} of the long table, '
                              "but no column is called so", where, "name one of the columns found",
                              "columns found: " + ", ".join(f'"{name}"' for name in names))
            if name is not None:
                found[key] = names.index(name)
        return found
    plain = [" ".join(name.casefold().replace("_", " ").split()) for name in names]
    found = {key: next((i for i, name in enumerate(plain) if name in words), -1)
             for key, words in (("parameter", PARAMETER), ("value", VALUE), ("unit", UNIT))}
    if found["parameter"] < 0 or found["value"] < 0:
        return None
    return {key: index for key, index in found.items() if index >= 0}


@dataclass
class LongLog:
    """A long table, understood but not yet read: its parameters stand for columns."""

    table: Log
    places: dict[str, int]
    scan: Scan
    headers: list[Header]
    _clock: dict[int, int]
    """The table's own column behind each of the first headers."""

    @classmethod
    def of(cls, table: Log, places: dict[str, int], scan: Scan) -> Self:
        """Take the clock's columns and the parameters for the columns of a table."""
        own = set(places.values()) - {places.get("time", -1)}
        clock = [i for i, header in enumerate(table.headers) if i not in own and (
            i == places.get("time") or ((reading := read_name(header.name)) is not None
                                        and reading.channel in CLOCK_PARTS))]
        headers = [table.headers[i] for i in clock]
        for name, unit in scan.units.items():
            said_by = "the column of units" if unit else ""
            headers.append(Header(name, strip_brackets(unit), said_by))
        return cls(table, places, scan, headers, dict(enumerate(clock)))

    def lines(
        self, time: LogColumn, form: Form, columns: Sequence[LogColumn]
    ) -> Iterator[RowBatch]:
        """Yield batches of a row a time and a column a parameter, or, sorted, codes and values."""
        raise NotImplementedError

    @property
    def numerals(self) -> Numerals:
        """How numbers are written."""
        return Numerals()

    @property
    def file(self) -> LogFile:
        """The file."""
        return self.table.file

    @property
    def likely_rows(self) -> int:
        """The rows that the file may hold, if each time has a line for every parameter."""
        return self.table.likely_rows // max(len(self.scan.units), 1) + 16

    @property
    def preamble(self) -> str:
        """The words above the table."""
        return self.table.preamble

    def described(self) -> dict[str, Any]:
        """Return how the file is written, in facts worth printing."""
        return self.table.described() | {"table": "long", "parameters": len(self.scan.units)}

    def cells(self, column: LogColumn) -> list[str]:
        """Return the text of a column's first cells, empty where nothing was recorded."""
        if column.index in self._clock:
            return self.table.cells(self._own(column))
        return ["" if cell in MISSING else cell for cell in self.scan.sample[column.name]]

    def first_cell(self, column: LogColumn) -> str:
        """Return the text of a column's first cell."""
        return next((cell for cell in self.cells(column) if cell), "")

    def sampled(self, column: LogColumn) -> Floats:
        """Return the numbers of a column's first rows, NaN where there is none."""
        value = self.numerals.value
        return np.array([value(cell) for cell in self.cells(column)], dtype=np.float64)

    def rounding(self, column: LogColumn) -> float:
        """Return the greatest relative error of the file's number format."""
        return 0.0

    def clock(self, column: LogColumn) -> Form:
        """Tell how the time column counts."""
        return self.table.clock(self._own(column))

    def _own(self, column: LogColumn) -> LogColumn:
        return replace(column, index=self._clock[column.index])

    def row_batches(self, time: LogColumn, form: Form, columns: Sequence[LogColumn],
               low_memory: bool = False, sink: ColumnSink | None = None) -> Iterator[RowBatch]:
        """Yield the table batch by batch: a row a time, a column a parameter."""
        form = replace(form, parts=tuple(map(self._own, form.parts)))
        fillers = [Filler(column) for column in columns]
        raw = self.lines(form.parts[0] if form.parts else self._own(time), form, columns)
        wide = (self._by_time(raw, columns) if self.scan.by_time else
                self._by_parameter(raw, columns, form))
        for batch in wide:
            counted: Counter[str] = Counter(batch.counted)
            yield replace(batch, counted=counted, arrays=[
                filler.cleaned(array, counted)
                for filler, array in zip(fillers, batch.arrays, strict=True)])

    def _by_time(self, raw: Iterator[RowBatch], columns: Sequence[LogColumn]) -> Iterator[RowBatch]:
        """Make rows of the lines that share a time; the last one may go on in the next batch."""
        rest: tuple[Ticks, list[Floats]] | None = None
        for batch in raw:
            ticks, values = batch.ticks, [_numbers(array) for array in batch.arrays]
            if rest is not None:
                ticks, values = _continued(rest, ticks, values, columns, str(self.file.path))
            if len(ticks) > 1:
                yield _batch(ticks[:-1], [column[:-1] for column in values], batch.left_out)
            rest = (ticks[-1:], [column[-1:].copy() for column in values]) if len(ticks) else rest
        if rest is not None:
            yield _batch(*rest, 0)

    def _by_parameter(self, raw: Iterator[RowBatch], columns: Sequence[LogColumn],
                      form: Form) -> Iterator[RowBatch]:
        """Make rows of a table that is sorted by parameter, held whole."""
        held: list[tuple[Ticks, NDArray[np.int32], Floats]] = []
        left_out = 0
        for batch in raw:
            codes, values = numbers(batch.arrays[0])[0], _numbers(batch.arrays[1])
            known = (codes >= 0) & ~np.isnan(values)
            held.append((batch.ticks[known], codes[known], values[known]))
            left_out += batch.left_out
        if not held:
            return
        ticks = np.concatenate([part[0] for part in held])
        codes = np.concatenate([part[1] for part in held])
        values = np.concatenate([part[2] for part in held])
        for i, column in enumerate(columns if ticks.ndim == 1 else ()):
            own = ticks[codes == i]
            if len(own) > 1 and not (own[1:] > own[:-1]).all():
                raise Problem(f'the times of "{column.name}" repeat or run backwards', str(
                    self.file.path), "export the log in the order of time, with one value for each "
                    "parameter and time" + (", and the date" if form.daily else ""))
        if ticks.ndim > 1:
            raise Problem("the table is sorted by parameter, and several columns make its clock",
                          str(self.file.path), "export the log in the order of time")
        union, rows = np.unique(ticks, return_inverse=True)
        wide = [np.full(len(union), np.nan) for _ in columns]
        for i, values_of in enumerate(wide):
            values_of[rows[codes == i]] = values[codes == i]
        for start in range(0, len(union), BATCH):
            part = slice(start, start + BATCH)
            yield _batch(union[part], [column[part] for column in wide], left_out)
            left_out = 0


class LongCsv(LongLog):
    """A long table in text."""

    table: CsvLog

    @classmethod
    def open(cls, table: CsvLog, places: dict[str, int]) -> LongCsv:
        """Find the parameters; raises Problem where a unit changes on the way."""
        return cls.of(table, places, find_parameters(table, places))

    def lines(
        self, time: LogColumn, form: Form, columns: Sequence[LogColumn]
    ) -> Iterator[RowBatch]:
        """Yield batches of a row a time and a column a parameter, or, sorted, codes and values."""
        return self.table.parsed(LongParser(self.table, self.places, time, form, columns,
                                            self.scan.by_time))

    @property
    def numerals(self) -> Numerals:
        """How numbers are written."""
        return self.table.dialect.numerals


def _numbers(array: pa.Array) -> Floats:
    return np.asarray(numbers(array)[0], dtype=np.float64)


def _continued(rest: tuple[Ticks, list[Floats]], ticks: Ticks, values: list[Floats],
               columns: Sequence[LogColumn], where: str) -> tuple[Ticks, list[Floats]]:
    """Join the last time of a batch to the next batch, of which it may be the first time."""
    last, before = rest
    if len(ticks) and np.array_equal(last[0], ticks[0]):
        for old, new, column in zip(before, values, columns, strict=True):
            if not np.isnan(old[0]) and not np.isnan(new[0]):
                raise second_value(column.name, "", where)
            new[0] = old[0] if np.isnan(new[0]) else new[0]
        return ticks, values
    return (np.concatenate([last, ticks]),
            [np.concatenate(pair) for pair in zip(before, values, strict=True)])


def _batch(ticks: Ticks, values: list[Floats], left_out: int) -> RowBatch:
    return RowBatch(ticks, [floats(column) for column in values], left_out)
