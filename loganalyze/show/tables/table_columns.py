"""Columns of the tables on disk: their definition, their Arrow form and their CSV text.

Whatever is unknown or not recorded is null in every column, never NaN and never a stand-in value;
every column is present in every file, so that the files of a fleet stack.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from loganalyze.text.facts import FlightFacts
from loganalyze.text.flight_account import Judged

Kind = Literal["number", "integer", "string", "boolean", "datetime"]


@dataclass(frozen=True)
class Column:
    """A column on disk: its name, type, unit and description."""

    name: str
    kind: Kind
    unit: str
    words: str
    required: bool = False
    choices: tuple[str, ...] = ()


@dataclass(frozen=True)
class Origin:
    """The origin of a row, in every table: log, aircraft and limits sheet."""

    log: str
    aircraft: str
    limits_sheet: str
    hidden: bool = False

    @property
    def cells(self) -> tuple[str | None, ...]:
        """The values of ORIGIN_COLUMNS."""
        return (self.log or None, self.aircraft or None, self.limits_sheet or None)


HIDDEN = Origin("", "", "", hidden=True)
"""The origin of a de-identified flight: neither names nor UTC times."""

ORIGIN_COLUMNS = (
    Column("log", "string", "", "file name of the log; blank where de-identified"),
    Column("aircraft", "string", "", "aircraft, as the limits sheet names it; blank where "
           "de-identified"),
    Column("limits_sheet", "string", "", "file name of the limits sheet"),
)
"""The last columns of every table."""


@dataclass(frozen=True)
class ResultTable:
    """A table of rows on disk, ``<name>.csv`` and ``<name>.parquet``.

    ``stated_columns`` : its columns without ORIGIN_COLUMNS, or what tells them where they follow
    from what is registered; ``rows`` : the rows of one flight, as the columns say.
    """

    name: str
    stated_columns: tuple[Column, ...] | Callable[[], tuple[Column, ...]]
    rows: Callable[[Judged, FlightFacts], Iterable[Sequence[Any]]]

    @property
    def columns(self) -> tuple[Column, ...]:
        """All columns, those of the origin last."""
        return (*self.own_columns, *ORIGIN_COLUMNS)

    @property
    def own_columns(self) -> tuple[Column, ...]:
        """Its columns without those of the origin."""
        stated = self.stated_columns
        return stated() if callable(stated) else stated

    def csv(self, rows: Iterable[Sequence[Any]]) -> str:
        """Return rows as CSV text: a header row, then a row each; blank where unknown."""
        stream = io.StringIO()
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow([column.name for column in self.columns])
        for row in rows:
            writer.writerow([str(value).lower() if isinstance(value, bool) else value
                             for value in row])
        return stream.getvalue()

    def arrow(self, rows: Sequence[Sequence[Any]]) -> pa.Table:
        """Return rows as an Arrow table; an empty one has all the columns."""
        return arrow_table(self.columns, rows)


def arrow_table(columns: Sequence[Column], rows: Sequence[Sequence[Any]]) -> pa.Table:
    """Return rows of some columns as an Arrow table; an empty one has all the columns."""
    arrays = [_MAKERS[column.kind]([row[i] for row in rows])
              for i, column in enumerate(columns)]
    schema = pa.schema([pa.field(column.name, array.type, metadata=metadata(column))
                        for column, array in zip(columns, arrays, strict=True)])
    return pa.Table.from_arrays(arrays, schema=schema)


def metadata(column: Column) -> dict[str, str]:
    """Return the metadata of a column's definition for its Arrow field."""
    return {"unit": column.unit, "description": column.words}


def table_schema(columns: Sequence[Column], title: str) -> dict[str, Any]:
    """Return the Table Schema (frictionless data, version 1) of some columns."""
    return {
        "title": title,
        "missingValues": [""],
        "fields": [
            {
                "name": column.name,
                "type": column.kind,
                "description": column.words,
                **({"unit": column.unit} if column.unit else {}),
                **({"constraints": _constraints(column)} if _constraints(column) else {}),
            }
            for column in columns
        ],
    }


def _constraints(column: Column) -> dict[str, Any]:
    found: dict[str, Any] = {}
    if column.required:
        found["required"] = True
    if column.choices:
        found["enum"] = list(column.choices)
    return found


# pa.array and everything that takes a NumPy array or a list through it import pandas, which
# costs more than the whole analysis of a flight: arrays are made from their buffers.

def _buffer(values: NDArray[Any]) -> pa.Buffer:
    return pa.py_buffer(np.ascontiguousarray(values))


def _valid(known: NDArray[np.bool_]) -> tuple[pa.Buffer | None, int]:
    missing = int(known.size - np.count_nonzero(known))
    return (_buffer(np.packbits(known, bitorder="little")), missing) if missing else (None, 0)


def numbers(values: NDArray[Any], kind: pa.DataType) -> pa.Array:
    """Return `values` as an Arrow array of `kind`, null where they are NaN or NaT."""
    known, missing = (None, 0)
    if values.dtype.kind in "fM":
        known, missing = _valid(~np.isnan(values))
    return pa.Array.from_buffers(kind, len(values), [known, _buffer(values)], missing)


def texts(values: Sequence[str | None]) -> pa.Array:
    """Return strings as an Arrow array, null where None."""
    coded = [(value or "").encode() for value in values]
    ends = np.cumsum([0, *map(len, coded)], dtype=np.int32)
    known, missing = _valid(np.array([value is not None for value in values], dtype=bool))
    return pa.Array.from_buffers(pa.string(), len(coded),
                                 [known, _buffer(ends), pa.py_buffer(b"".join(coded))], missing)


def words(codes: NDArray[np.uint8], names: Sequence[str]) -> pa.Array:
    """Return codes as an Arrow dictionary of `names`, null where the code has none."""
    known, missing = _valid(codes < len(names))
    indices = pa.Array.from_buffers(pa.uint8(), len(codes), [known, _buffer(codes)], missing)
    return pa.DictionaryArray.from_arrays(indices, texts(names))


UTC = pa.timestamp("us", tz="UTC")


def _floats(values: list[float | None]) -> pa.Array:
    return numbers(np.array([np.nan if value is None else value for value in values],
                            dtype=np.float64), pa.float64())


def _integers(values: list[int]) -> pa.Array:
    return numbers(np.array(values, dtype=np.int32), pa.int32())


def _booleans(values: list[bool]) -> pa.Array:
    bits = np.packbits(np.array(values, dtype=bool), bitorder="little")
    return pa.Array.from_buffers(pa.bool_(), len(values), [None, _buffer(bits)], 0)


def _instants(values: list[str | None]) -> pa.Array:
    return numbers(np.array([value[:-1] if value else "NaT" for value in values],
                            dtype="datetime64[us]"), UTC)


_MAKERS: dict[Kind, Callable[[list[Any]], pa.Array]] = {
    "number": _floats, "integer": _integers, "string": texts, "boolean": _booleans,
    "datetime": _instants}
