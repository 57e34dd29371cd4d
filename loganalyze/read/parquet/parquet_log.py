"""Parquet logs, read a row group at a time."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from loganalyze.problems import Problem
from loganalyze.read.cells.arrow_arrays import DTYPES, listed, numbers
from loganalyze.read.cells.cell_text import MISSING, Numerals, may_be_number
from loganalyze.read.cells.discrete_words import UnknownStateError, mapped, meaning, recoded
from loganalyze.read.clocks.time_codes import Form, Ticks, form_of_numbers, ticks_of
from loganalyze.read.clocks.timestamps import BadStampError, form_of_cells, parse_stamps
from loganalyze.read.columns.recognition import Header, LogColumn
from loganalyze.read.csv.number_style import numerals_of
from loganalyze.read.files.file_types import LogFile
from loganalyze.read.files.row_batches import ColumnSink, RowBatch
from loganalyze.read.parquet.parquet_decoding import DAMAGE, Decoder, damaged
from loganalyze.read.parquet.parquet_headers import headers_of
from loganalyze.read.repair.fill_values import Filler
from loganalyze.record.channels import kind as channel_kind
from loganalyze.record.findings import Finding
from loganalyze.record.threads import MOST, in_order, one_ahead
from loganalyze.sheets.columns_file import CLOCK_PARTS

LARGEST_GROUP = 1 << 22
"""Rows above which a row group is read batch by batch, to bound memory."""
LOW_MEMORY_GROUP = 1 << 19
"""As that, where memory is to be spared."""
MANY_GROUPS, SMALL_GROUP = 8, 100_000
"""So many row groups of fewer rows, on average, are read batch by batch, too: a task for each
column of each costs more than decoding does."""
BATCH = 1 << 17
"""Rows of a batch: more of them take Arrow's pool memory that it doesn't give back."""
LOW_MEMORY_AHEAD = 4
"""Columns decoded ahead where memory is to be spared."""
FEW = 8
LONGEST_WORD = 200
"""Bytes of an entry of the metadata that may name something; longer ones describe the columns."""


@dataclass
class ParquetLog:
    """A Parquet log, understood but not yet read."""

    file: LogFile
    schema: pa.Schema
    headers: list[Header]
    about: pq.FileMetaData
    _decoder: Decoder = field(repr=False)
    _cells: dict[int, list[str]] = field(default_factory=dict, repr=False)
    """The first values of the columns that were looked at, as text, by index."""
    kind: str = "Parquet"
    """The format of the file that was brought to Parquet."""

    @classmethod
    def open(cls, file: LogFile) -> ParquetLog:
        """Read the file's own description; raises Problem where it is damaged or empty."""
        where = str(file.path)
        try:
            source = pq.ParquetFile(file.data, pre_buffer=False)
            schema = source.schema_arrow
        except DAMAGE as error:
            raise damaged(error, where) from None
        about = source.metadata
        if not about.num_rows:
            source.close()
            raise Problem("the file holds columns but no rows", where, "export the log again")
        headers = list(headers_of(schema.serialize().to_pybytes()))
        return cls(file, schema, headers, about, Decoder(file, schema, about, source))

    @property
    def likely_rows(self) -> int:
        """The rows that the file holds."""
        return sum(self._decoder.groups)

    @property
    def preamble(self) -> str:
        """The text in the file's metadata, a key and its value a line."""
        return "\n".join(f"{key.decode('utf-8', 'replace')}: {value.decode('utf-8', 'replace')}"
                         for key, value in (self.schema.metadata or {}).items()
                         if len(value) < LONGEST_WORD)

    def described(self) -> dict[str, Any]:
        """Return how the file is written, in facts worth printing."""
        return {"format": self.kind, "row_groups": self.about.num_row_groups}

    def cells(self, column: LogColumn) -> list[str]:
        """Return the text of a column's first cells, empty where nothing was recorded."""
        if column.index not in self._cells:
            first = self._decoder.first(column.index)
            if pa.types.is_timestamp(first.type):
                # All are written alike: a few show what 400 do.
                first = (first.drop_null() if first.null_count else first).slice(0, FEW)
            self._cells[column.index] = [
                "" if cell is None else str(cell) for cell in listed(first)]
        return self._cells[column.index]

    def first_cell(self, column: LogColumn) -> str:
        """Return the text of a column's first cell."""
        return next((cell for cell in self.cells(column) if cell), "")

    def sampled(self, column: LogColumn) -> np.ndarray[Any, np.dtype[np.float64]]:
        """Return the numbers of a column's first rows, NaN where there is none."""
        array = self._numeric(self._decoder.first(column.index), column)
        values, valid = numbers(array)
        wide = values.astype(np.float64)
        return wide if valid is None else np.where(valid, wide, np.nan)

    def rounding(self, column: LogColumn) -> float:
        """Return the greatest relative error of the file's number format."""
        kind = self._kind(column)
        return {pa.float32(): 2.0**-24, pa.float16(): 2.0**-11}.get(kind, 0.0)

    def clock(self, column: LogColumn) -> Form:
        """Tell how the time column counts."""
        kind = self._kind(column)
        if pa.types.is_timestamp(kind):
            zone = kind.tz or any(word in column.name.casefold() for word in ("utc", "gmt", "zulu"))
            return Form(1e9, "timestamps", dated=True, inferred=None if zone else
                        Finding("zone_not_stated", {"columns": [column.name]}))
        if pa.types.is_time(kind):
            return Form(1e9, "time of day", daily=True)
        if pa.types.is_duration(kind):
            return Form(1e9, "elapsed time")
        if textual(kind) and not self._holds_numbers(column):
            cells = [cell for cell in self._decoder.first(column.index).to_pylist() if cell]
            return form_of_cells(cells, column.name, str(self.file.path))
        return form_of_numbers(self.sampled(column), column.unit, column.recorded_unit,
                               column.name, str(self.file.path))

    def row_batches(self, time: LogColumn, form: Form, columns: Sequence[LogColumn],
               low_memory: bool = False, sink: ColumnSink | None = None) -> Iterator[RowBatch]:
        """Yield the file batch by batch, in order; `low_memory` ones spare memory.

        With `sink` the columns of large batches are converted to it at once: by the threads that
        decode them, for which it must have the capacity for all rows, or (`low_memory`) before the
        batch is given.
        """
        clock = form.parts or (time,)
        groups = self._decoder.groups
        small = len(groups) > MANY_GROUPS and sum(groups) < SMALL_GROUP * len(groups)
        if small or max(groups) > (LOW_MEMORY_GROUP if low_memory else LARGEST_GROUP):
            yield from self._batches(clock, form, columns)
            return
        # A task decodes one column of a group: it then lies in the cache to be converted.
        starts = np.cumsum([0, *groups[:-1]]).tolist()
        fillers = [Filler(column) for column in columns]
        at_once = None if low_memory else sink

        def tasks() -> Iterator[Callable[[], Any]]:
            for group, rows in enumerate(groups):
                if rows:
                    yield partial(self._clock_of, group, clock, form)
                    for i, column in enumerate(columns):
                        yield partial(self._column_of, group, column, fillers[i], i,
                                      starts[group], at_once)

        # Of columns converted in place nothing is held: a whole group of them may be ahead.
        ahead = (LOW_MEMORY_AHEAD if low_memory else MOST if sink is None
                 else MOST + len(columns))
        done = in_order(tasks(), ahead)
        for rows, start in zip(groups, starts, strict=True):
            if rows:
                ticks, counted, arrays = next(done), Counter[str](), list[pa.Array]()
                for i in range(len(columns)):
                    array, found = next(done)
                    if found:
                        counted += found
                    if sink is None:
                        arrays.append(array)
                    elif low_memory:
                        sink.write_column(i, start, array)
                yield RowBatch(ticks, arrays, counted=counted, placed=sink is not None)

    def _clock_of(self, group: int, clock: Sequence[LogColumn], form: Form) -> Ticks:
        return self.ticks(
            self._decoder.of_group(group, [column.index for column in clock]), clock, form
        )

    def _column_of(self, group: int, column: LogColumn, filler: Filler, place: int,
                   start: int, sink: ColumnSink | None) -> tuple[pa.Array | None, Counter[str]]:
        counted: Counter[str] = Counter()
        array = filler.cleaned(
            self._numeric(self._decoder.of_group(group, [column.index])[0], column), counted)
        if sink is None:
            return array, counted
        sink.write_column(place, start, array)
        return None, counted

    def _batches(self, clock: Sequence[LogColumn], form: Form, columns: Sequence[LogColumn]
                 ) -> Iterator[RowBatch]:
        fillers = [Filler(column) for column in columns]
        for arrays in self._side_by_side([column.index for column in (*clock, *columns)]):
            ticks = self.ticks(arrays[:len(clock)], clock, form)
            counted: Counter[str] = Counter()
            yield RowBatch(ticks, [
                filler.cleaned(self._numeric(array, column), counted)
                for array, column, filler in zip(arrays[len(clock):], columns, fillers,
                                                 strict=True)], counted=counted)

    def _side_by_side(self, places: Sequence[int]) -> Iterator[list[pa.Array]]:
        """Yield what `batches` does; meanwhile two threads decode what comes next."""
        halves = self._halves(places)
        streams = [one_ahead(self.batches(half)) for half in halves]
        ready: list[list[pa.Array]] = [[] for _ in halves]
        while True:
            ready = [arrays or next(stream, [])
                     for arrays, stream in zip(ready, streams, strict=True)]
            if not all(ready):
                return
            # A column of a dictionary ends its batch with each new one.
            rows = min(len(arrays[0]) for arrays in ready)
            cut = {place: array.slice(0, rows) for half, arrays in zip(halves, ready, strict=True)
                   for place, array in zip(half, arrays, strict=True)}
            yield [cut[place] for place in places]
            ready = [[array.slice(rows) for array in arrays] if len(arrays[0]) > rows else []
                     for arrays in ready]

    def _halves(self, places: Sequence[int]) -> list[list[int]]:
        """Share columns out to two lists, by the bytes there are to decode."""
        group = self.about.row_group(0)
        sizes: Counter[str] = Counter()
        for column in map(group.column, range(group.num_columns)):
            sizes[column.path_in_schema.split(".")[0]] += column.total_uncompressed_size
        load = {place: sizes[self.schema.field(place).name] + 1 for place in places}
        halves: list[list[int]] = [[], []]
        for place in sorted(load, key=load.__getitem__, reverse=True):
            min(halves, key=lambda half: sum(map(load.__getitem__, half))).append(place)
        return [half for half in halves if half]

    def batches(self, places: Sequence[int]) -> Iterator[list[pa.Array]]:
        """Yield some rows after the other of the columns at `places`, as the file holds them."""
        names = [str(self.schema.field(place).name) for place in places]
        with self._decoder.source() as source:
            batches = source.iter_batches(BATCH, columns=names, use_threads=False)
            while (batch := self._decoder.guarded(lambda: next(batches, None))) is not None:
                yield [batch.column(name) for name in names]

    def ticks(self, arrays: list[pa.Array], clock: Sequence[LogColumn], form: Form) -> Ticks:
        """Return the ticks of the clock that the columns `clock` make."""
        if form.join is None:
            return self._ticks(arrays[0], clock[0], form)
        return self._joined(form, arrays, clock)

    def _joined(self, form: Form, arrays: list[pa.Array], parts: Sequence[LogColumn]) -> Ticks:
        assert form.join is not None
        cells = {part.channel: array.cast(pa.string()) if textual(array.type) else array
                 if _temporal(array.type) else self._numeric(array, part)
                 for array, part in zip(arrays, parts, strict=True)}
        try:
            return form.join(cells)
        except BadStampError as bad:
            raise self._no_time(bad, parts[0]) from None

    def _no_time(self, bad: BadStampError, column: LogColumn) -> Problem:
        return Problem(f'"{bad.cell}" in the time column "{column.name}" isn\'t a time like '
                       "the others", str(self.file.path), "export the log again")

    def _ticks(self, array: pa.Array, column: LogColumn, form: Form) -> Ticks:
        if textual(array.type) and form.textual:
            try:
                return parse_stamps(array.cast(pa.string()))
            except BadStampError as bad:
                raise self._no_time(bad, column) from None
        if _temporal(array.type):
            return ticks_of(array)
        return ticks_of(self._numeric(array, column))

    def _numeric(self, array: pa.Array, column: LogColumn) -> pa.Array:
        """Return an array of plain numbers; raises Problem for anything that isn't."""
        kind = channel_kind(column.channel)
        discrete = kind is not None and kind.discrete
        if (discrete or column.values) and textual(array.type):
            return self.states(column, lambda: mapped(array, meaning(
                column.values, column.missing, discrete, Numerals()).of))
        if array.type in DTYPES:
            return self._recoded(array, column)
        if textual(array.type) and self._holds_numbers(column):
            return self._numbers_in_text(array, column)
        if pa.types.is_dictionary(array.type):
            array = array.cast(array.type.value_type)
        if pa.types.is_decimal(array.type):
            return array.cast(pa.float64())
        if pa.types.is_boolean(array.type):
            return array.cast(pa.uint8())
        if pa.types.is_null(array.type):
            return array.cast(pa.float64())
        if array.type not in DTYPES:
            what = "text" if textual(array.type) else str(array.type)
            raise Problem(f'column "{column.name}" holds {what}, not numbers', str(self.file.path),
                          "export it as numbers, or name another column as "
                          f"{column.channel} in a columns file")
        return self._recoded(array, column)

    def _recoded(self, array: pa.Array, column: LogColumn) -> pa.Array:
        """Return an array of numbers with those that are words of the columns file as they mean."""
        if any(Numerals().is_number(word) for word in column.values):
            return self.states(column, lambda: recoded(array, column.values))
        return array

    def _holds_numbers(self, column: LogColumn) -> bool:
        """Whether most of the first cells of a text column are numbers."""
        kept = [cell for cell in self._texts(column) if cell not in MISSING]
        return 2 * sum(may_be_number(cell) or cell.lstrip("+-").isdigit() for cell in kept) > (
            len(kept))

    def _texts(self, column: LogColumn) -> list[str]:
        return [cell.strip().replace("\u2212", "-") for cell in self.cells(column)]

    def _numbers_in_text(self, array: pa.Array, column: LogColumn) -> pa.Array:
        """Return text as the numbers that it holds; raises Problem where it holds others."""
        if column.channel in CLOCK_PARTS:
            try:
                return array.cast(pa.int64())  # Nanoseconds since 1970 are exact in no other way.
            except pa.ArrowInvalid:
                pass
        numerals = numerals_of(self._texts(column), column.name, str(self.file.path))
        means = meaning({}, column.missing, False, numerals)
        try:
            return mapped(array, lambda cell: means.of(cell.replace("\u2212", "-")))
        except UnknownStateError as bad:
            raise Problem(f'"{bad.word}" in column "{column.name}" isn\'t a number',
                          str(self.file.path), "export it as a number, or blank where nothing "
                          "was recorded") from None

    def states(self, column: LogColumn, coded: Callable[[], pa.Array]) -> pa.Array:
        """Return what `coded` makes of a column's states; raises Problem for an unknown one."""
        try:
            return coded()
        except UnknownStateError as unknown:
            raise Problem(f'"{unknown.word}" in column "{column.name}" isn\'t a state that is '
                          "known", str(self.file.path), "export states as 0 and 1, or say what it "
                          "means under values in a columns file") from None

    def _kind(self, column: LogColumn) -> pa.DataType:
        return self.schema.field(column.index).type


def textual(kind: pa.DataType) -> bool:
    """Whether an array of this type holds text."""
    if pa.types.is_dictionary(kind):
        kind = kind.value_type
    return bool(pa.types.is_string(kind) or pa.types.is_large_string(kind))


def _temporal(kind: pa.DataType) -> bool:
    return bool(pa.types.is_timestamp(kind) or pa.types.is_time(kind) or pa.types.is_duration(kind)
                or pa.types.is_date32(kind))
