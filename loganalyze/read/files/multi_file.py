"""Several files of one recording, read as one: in the order of time, each stretch once."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from loganalyze.problems import Problem
from loganalyze.read.cells.arrow_arrays import convert, numbers
from loganalyze.read.clocks.time_codes import MISSING, Clock, Form, Ticks
from loganalyze.read.columns.recognition import Header, LogColumn
from loganalyze.read.files.file_types import LogFile
from loganalyze.read.files.row_batches import ColumnSink, RowBatch
from loganalyze.record.units import find_unit

TEXTS = (".csv", ".txt", ".tsv", ".tab", ".dat", ".asc", ".log")
TABLES = (".parquet", ".parq", ".pq")
PACKED = (".gz", ".zst", ".zstd", ".zip")
HALF_A_DAY = 43200.0


class Log(Protocol):
    """A log that is understood but not yet read, whatever its format."""

    @property
    def file(self) -> LogFile:
        """The file, or the first of several."""
        ...

    @property
    def headers(self) -> list[Header]:
        """Its columns."""
        ...

    @property
    def likely_rows(self) -> int:
        """The rows that it may hold."""
        ...

    @property
    def preamble(self) -> str:
        """The words above its table, or its metadata."""
        ...

    def described(self) -> dict[str, Any]:
        """Return how it is written, in facts worth printing."""
        ...

    def cells(self, column: LogColumn) -> list[str]:
        """Return the text of a column's first cells, empty where nothing was recorded."""
        ...

    def first_cell(self, column: LogColumn) -> str:
        """Return the text of a column's first cell."""
        ...

    def sampled(self, column: LogColumn) -> NDArray[np.float64]:
        """Return the numbers of a column's first rows, NaN where there is none."""
        ...

    def rounding(self, column: LogColumn) -> float:
        """Return the greatest relative error of the number format."""
        ...

    def clock(self, column: LogColumn) -> Form:
        """Tell how the time column counts."""
        ...

    def row_batches(self, time: LogColumn, form: Form, columns: Sequence[LogColumn],
               low_memory: bool = False, sink: ColumnSink | None = None) -> Iterator[RowBatch]:
        """Yield it batch by batch, in order; `sink` may be filled on the way."""
        ...


@dataclass
class SeveralLog:
    """Logs of the same columns, one after the other."""

    logs: list[Log]
    headers: list[Header]

    @classmethod
    def of(cls, logs: list[Log]) -> SeveralLog:
        """Take logs as one; raises Problem where their columns differ."""
        first = logs[0]
        for log in logs[1:]:
            if not _alike(log, first):
                raise Problem(f"its columns aren't those of {first.file.path.name}",
                              str(log.file.path), "give files of one export in one folder")
        return cls(logs, first.headers)

    @property
    def file(self) -> LogFile:
        """The first file."""
        return self.logs[0].file

    @property
    def likely_rows(self) -> int:
        """The rows that the files may hold."""
        return sum(log.likely_rows for log in self.logs)

    @property
    def preamble(self) -> str:
        """The words above the first file's table."""
        return self.logs[0].preamble

    def described(self) -> dict[str, Any]:
        """Return how the first file is written, and how many there are."""
        return self.logs[0].described() | {"files": len(self.logs)}

    def cells(self, column: LogColumn) -> list[str]:
        """Return the text of a column's first cells, empty where nothing was recorded."""
        return self.logs[0].cells(column)

    def first_cell(self, column: LogColumn) -> str:
        """Return the text of a column's first cell."""
        return self.logs[0].first_cell(column)

    def sampled(self, column: LogColumn) -> NDArray[np.float64]:
        """Return the numbers of a column's first rows, NaN where there is none."""
        found = []
        for log in self.logs:
            own = _in(log, column)
            values = pa.array(log.sampled(own))
            found.append(numbers(converted(values, own, column))[0])
        return np.concatenate(found)

    def rounding(self, column: LogColumn) -> float:
        """Return the greatest relative error of the files' number format."""
        return max(log.rounding(_in(log, column)) for log in self.logs)

    def clock(self, column: LogColumn) -> Form:
        """Tell how the time column counts."""
        return self.logs[0].clock(column)

    def row_batches(self, time: LogColumn, form: Form, columns: Sequence[LogColumn],
               low_memory: bool = False, sink: ColumnSink | None = None) -> Iterator[RowBatch]:
        """Yield the files batch by batch, in the order of time.

        Raises Problem where one begins before the one before it ends.
        """
        first: dict[int, float] = {}
        logs = self.logs
        if not form.daily and (form.join is None or form.dated):
            first = {i: _first(log, time, form) for i, log in enumerate(logs)}
            logs = [logs[i] for i in sorted(first, key=first.__getitem__)]
        end, before, clock = -np.inf, None, Clock(form)
        for log in logs:
            begun = False
            parts = tuple(_in(log, part) for part in form.parts)
            own = [_in(log, column) for column in columns]
            for batch in log.row_batches(_in(log, time), replace(form, parts=parts), own,
                                         low_memory):
                known = _instants(clock, batch.ticks)
                if len(known) and not begun and before is not None:
                    _check(float(known[0]), end, form, log, before)
                begun = begun or bool(len(known))
                if len(known):
                    end = max(end, float(known.max())) if begun and not form.daily else float(
                        known[-1])
                yield replace(batch, file=log.file.path, arrays=[
                    converted(array, here, column)
                    for array, here, column in zip(batch.arrays, own, columns, strict=True)])
            before = log


def _alike(log: Log, first: Log) -> bool:
    """Whether two logs have the same columns; units may differ where each file states its own."""
    units, others = ({header.name: header.unit for header in file.headers} for file in (log, first))
    return units.keys() == others.keys() and all(
        unit == others[name] or _convertible(unit, others[name]) for name, unit in units.items())


def _convertible(first_unit: str, other: str) -> bool:
    found = [find_unit(first_unit), find_unit(other)] if first_unit and other else [None]
    return None not in found and len({unit.dimension for unit in found if unit}) == 1 and (
        found[0] is not None and found[0].dimension not in ("time", "discrete"))


def _in(log: Log, column: LogColumn) -> LogColumn:
    """Return a column where it stands in one of the files, in the unit that the file states."""
    index = next(i for i in (column.index, *range(len(log.headers)))
                 if i < len(log.headers) and log.headers[i].name == column.name)
    stated = log.headers[index].unit
    by_file = any(word in column.unit_by for word in ("units", "metadata"))
    if column.unit is None or stated == column.recorded_unit or not by_file:
        return column if index == column.index else replace(column, index=index)
    unit = find_unit(stated, column.unit.dimension)
    return replace(column, index=index, unit=unit or column.unit, recorded_unit=stated)


def converted(array: pa.Array, own: LogColumn, wanted: LogColumn) -> pa.Array:
    """Return a column's numbers in the unit of the first file."""
    if own.unit is None or wanted.unit is None or own.unit == wanted.unit:
        return array
    out = np.empty(len(array))
    convert(array, own.unit.factor / wanted.unit.factor,
            (own.unit.offset - wanted.unit.offset) / wanted.unit.factor, out)
    return pa.Array.from_buffers(pa.float64(), len(out), [None, pa.py_buffer(out)])


def _known(ticks: Ticks) -> NDArray[Any]:
    return ticks[ticks != MISSING] if ticks.dtype == np.int64 else ticks[np.isfinite(ticks)]


def _instants(clock: Clock, ticks: Ticks) -> NDArray[Any]:
    """Return the known ticks, or seconds that run on where several columns make the clock."""
    return _known(ticks if clock.form.join is None else clock.elapsed(ticks))


def _first(log: Log, time: LogColumn, form: Form) -> float:
    clock = Clock(replace(form, parts=tuple(_in(log, part) for part in form.parts)))
    batches = log.row_batches(_in(log, time), clock.form, [], low_memory=True)
    known = next((found for batch in batches
                  if len(found := _instants(clock, batch.ticks))), [np.inf])
    start = clock.utc_start if form.join is not None else None
    return float(known[0]) if start is None else start.astype(np.int64) * 1e-9


def _check(first: float, end: float, form: Form, log: Log, before: Log) -> None:
    """Refuse a file that begins before the one before it ended."""
    if first > end or (
            form.daily and end - first > HALF_A_DAY * form.per_second):
        return
    name = before.file.path.name
    raise Problem(f"it begins before {name} ends", str(log.file.path),
                  "give each stretch of time once" if form.dated else
                  "give each stretch of time once, and files whose clock runs on, or has a date")


def files_in(folder: Path, tabular: Sequence[str] = TABLES) -> list[Path]:
    """Return the files of one recording in a folder, by name, 2 before 10.

    `tabular` : how the names of files end that hold tables and no text.

    Raises Problem where the folder holds no log, or logs of two formats.
    """
    paths = [path for path in folder.rglob("*") if path.is_file()
             and not any(part.startswith(("_", ".")) for part in path.relative_to(folder).parts)]
    tables = [path for path in paths if path.suffix.casefold() in tabular]
    texts = [path for path in paths if path.parent == folder and _plain_suffix(path) in TEXTS]
    if tables and texts:
        parquet = all(path.suffix.casefold() in TABLES for path in tables)
        other = "Parquet" if parquet else tables[0].suffix
        raise Problem(f"the folder holds CSV and {other} files", str(folder),
                      "give the files of one export in one folder")
    found = tables or texts
    if not found:
        raise Problem("no log is in this folder", str(folder),
                      "name a log, or a folder with the files of one")
    return sorted(found, key=lambda path: _natural(path.relative_to(folder).as_posix()))


def _plain_suffix(path: Path) -> str:
    suffix = path.suffix.casefold()
    return Path(path.stem).suffix.casefold() if suffix in PACKED else suffix


def _natural(name: str) -> list[tuple[int, str]]:
    return [(int(part), "") if part.isdigit() else (-1, part)
            for part in re.split(r"(\d+)", name.casefold())]
