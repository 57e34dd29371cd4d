"""Long tables in Parquet: a row for each time and parameter, read batch by batch."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from loganalyze.problems import Problem
from loganalyze.read.cells.arrow_arrays import numbers
from loganalyze.read.cells.cell_text import MISSING, Numerals
from loganalyze.read.cells.discrete_words import UnknownStateError, mapped, meaning, recoded
from loganalyze.read.clocks.time_codes import Form
from loganalyze.read.columns.recognition import LogColumn
from loganalyze.read.csv.csv_parser import SecondValueError
from loganalyze.read.files.row_batches import RowBatch
from loganalyze.read.long.long_csv import (
    SAMPLE,
    Floats,
    Scan,
    Tally,
    changed_unit,
    coded_text,
    floats,
    found_in,
    grouped,
    second_value,
)
from loganalyze.read.long.long_table import LongLog
from loganalyze.read.parquet.parquet_log import ParquetLog, textual
from loganalyze.record.channels import kind as channel_kind


class LongParquet(LongLog):
    """A long table in Parquet."""

    table: ParquetLog

    @classmethod
    def open(cls, table: ParquetLog, places: dict[str, int]) -> LongParquet:
        """Find the parameters; raises Problem where a unit changes on the way."""
        return cls.of(table, places, _scan(table, places))

    def lines(
        self, time: LogColumn, form: Form, columns: Sequence[LogColumn]
    ) -> Iterator[RowBatch]:
        """Yield batches of a row a time and a column a parameter, or, sorted, codes and values."""
        clock = form.parts or (time,)
        own = [self.places["parameter"], self.places["value"]]
        known = {column.name: i for i, column in enumerate(columns)}
        for arrays in self.table.batches([*own, *(column.index for column in clock)]):
            codes, words = coded_text(_text(arrays[0], self.table, own[0]), "utf-8")
            codes = np.array([*(known.get(word, -1) for word in words), -1])[codes]
            values = self._values(arrays[1], codes, columns)
            ticks = self.table.ticks(arrays[2:], clock, form)
            if not self.scan.by_time:
                yield RowBatch(ticks, [pa.array(codes.tolist(), pa.int32()), floats(values)])
                continue
            try:
                ticks, wide = grouped(ticks, codes, values, len(columns))
            except SecondValueError as twice:
                raise second_value(columns[twice.args[0]].name, "",
                                   str(self.file.path)) from None
            yield RowBatch(ticks, [floats(column) for column in wide])

    def _values(self, array: pa.Array, codes: NDArray[np.int64],
                columns: Sequence[LogColumn]) -> Floats:
        """Return what the cells mean, each as its own parameter's column says."""
        values = np.full(len(codes), np.nan)
        array = _plain(array, self.table, self.places["value"])
        for i, column in enumerate(columns):
            own = np.flatnonzero(codes == i)
            part = array.take(pa.array(own.tolist(), pa.int64()))
            raw, valid = numbers(self._meant(part, column))
            values[own] = raw if valid is None else np.where(valid, raw, np.nan)
        return values

    def _meant(self, part: pa.Array, column: LogColumn) -> pa.Array:
        kind = channel_kind(column.channel)
        discrete = kind is not None and kind.discrete
        if not textual(part.type):
            coded = any(Numerals().is_number(word) for word in column.values)
            return (self.table.states(column, lambda: recoded(part, column.values)) if coded
                    else part)
        means = meaning(column.values, column.missing, discrete, Numerals())
        if means.numerals is None:
            return self.table.states(column, lambda: mapped(part, means.of))
        try:
            return mapped(part, means.of)
        except UnknownStateError as bad:
            raise Problem(f'"{bad.word}" for "{column.name}" isn\'t a number',
                          str(self.file.path), "export it as a number, or blank where nothing "
                          "was recorded") from None


def _scan(table: ParquetLog, places: dict[str, int]) -> Scan:
    """Look through a long table once."""
    tally, first = Tally(), list[str]()
    keys = [key for key in ("parameter", "value", "unit") if key in places]
    for arrays in table.batches([places[key] for key in keys]):
        names = coded_text(_text(arrays[0], table, places["parameter"]), "utf-8")
        values = _plain(arrays[1], table, places["value"])
        units = (coded_text(_text(arrays[2], table, places["unit"]), "utf-8")
                 if "unit" in places else (np.zeros(len(names[0]), np.int64), [""]))
        codes = names[0][:max(SAMPLE - len(first), 0)].tolist()
        first += [names[1][code] for code in codes if code < len(names[1])]
        changed = tally.add(found_in(names, values.cast(pa.string()), units, "utf-8"))
        if changed is not None:
            raise changed_unit(changed, str(table.file.path))
    for cells in tally.sample.values():
        cells[:] = ["" if cell in MISSING else cell for cell in cells]
    return tally.scan(first)


def _text(array: pa.Array, table: ParquetLog, place: int) -> pa.Array:
    """Return names or units as plain text; raises Problem for anything else."""
    if not textual(array.type) and not pa.types.is_null(array.type):
        raise Problem(f'column "{table.headers[place].name}" of the long table holds {array.type}, '
                      "not text", str(table.file.path), "export the names as text, or name another "
                      "column under [long] in a columns file")
    return array.cast(pa.string())


def _plain(array: pa.Array, table: ParquetLog, place: int) -> pa.Array:
    """Return values as plain numbers or text; raises Problem for anything else."""
    if pa.types.is_dictionary(array.type):
        array = array.cast(array.type.value_type)
    if pa.types.is_decimal(array.type) or pa.types.is_null(array.type):
        return array.cast(pa.float64())
    if pa.types.is_boolean(array.type):
        return array.cast(pa.uint8())
    if pa.types.is_integer(array.type) or pa.types.is_floating(array.type) or textual(array.type):
        return array
    raise Problem(f'column "{table.headers[place].name}" of the long table holds {array.type}, '
                  "not numbers", str(table.file.path), "export the values as numbers or text")
