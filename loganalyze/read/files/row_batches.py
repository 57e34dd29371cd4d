"""A log batch by batch: some of its rows as the file holds them, and arrays that gather them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol, TypeVar

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from loganalyze.read.cells.arrow_arrays import convert
from loganalyze.read.clocks.time_codes import Ticks, rises
from loganalyze.read.files.address_space import require
from loganalyze.record.findings import Finding
from loganalyze.record.units import Unit

BLOCK = 1 << 15
"""Rows converted, and looked at, together: they lie in the processor's cache meanwhile."""

T = TypeVar("T")

Noted = tuple[int, int, float]
"""The first of some rows in sequence, the row after the last, and a number noted of them."""

Look = tuple[int, int, float]
"""The first of some rows in sequence, the row after the last, and a step [SI] up to which none
between two of them is too fast: infinite where none is. Steps between the runs are left open."""


@dataclass(frozen=True, eq=False)
class RowBatch:
    """Some rows in sequence: the ticks of their clock and an Arrow array a column.

    ``left_out`` : lines that hold no sample (comments, repeated headers, a cut last line);
    ``counted`` : what else was left out, by name; ``found`` : what was found in them.
    """

    ticks: Ticks
    arrays: list[pa.Array]
    left_out: int = 0
    counted: Counter[str] = field(default_factory=Counter)
    found: tuple[Finding, ...] = ()
    placed: bool = False
    """Whether its columns were converted in place already (`Rows.place`); `arrays` is empty."""
    file: Path | None = None
    """The file that holds the rows, where a recording is in several."""

    def __len__(self) -> int:
        return len(self.ticks)

    def rows(self, start: int, stop: int) -> RowBatch:
        """Return the rows from `start` to before `stop`, sharing memory."""
        return RowBatch(self.ticks[start:stop],
                     [array.slice(start, stop - start) for array in self.arrays])


class ColumnSink(Protocol):
    """Where a column's values may be put ahead of the batch they belong to."""

    def write_column(self, column: int, start: int, array: pa.Array) -> None:
        """Convert a column's values from row `start` of the file on."""


class Rows:
    """Gathers batches into one float64 array a column, in SI: the copy is the conversion."""

    def __init__(self, units: Sequence[Unit | None], capacity: int,
                 watched: Collection[int] = (),
                 supply: Callable[[int], NDArray[np.float64]] = np.empty) -> None:
        """Make arrays of `capacity` rows for columns in these units, by `supply`; once they are
        full, arrays of twice the rows.

        `watched` : the columns of which the steps are noted, by place.
        """
        self._given, self._watched = tuple(units), frozenset(watched)
        self._least, self._supply = capacity, supply
        self._steep: list[list[Noted]] = [[] for _ in units]
        self._gappy: set[int] = set()
        self._paces: list[Noted] = []
        self._files: list[tuple[int, int, Path]] = []
        self._widest: list[Noted] = []
        self._units = [(unit.factor, unit.offset) if unit else (1.0, 0.0) for unit in units]
        require(8 * capacity * (len(units) + 1))
        self._arrays = [supply(capacity) for _ in range(len(units) + 1)]
        self._count = 0
        self.rising = True
        self.standing = 0
        """Rows up to the last one over which the time stands still, counted by whole blocks."""
        self.left_out = 0
        self.counted: Counter[str] = Counter()
        self.found: list[Finding] = []

    def __len__(self) -> int:
        return self._count

    def add(self, time: NDArray[np.float64], batch: RowBatch) -> None:
        """Add a batch whose elapsed time [s] is `time`."""
        self.left_out += batch.left_out
        self.counted += batch.counted
        self.found += [finding for finding in batch.found if finding not in self.found]
        if not len(time):
            return
        start, stop = self._count, self._count + len(time)
        if batch.file is not None:
            self._files.append((start, stop, batch.file))
        self._make_room(stop)
        stamps = self._arrays[0]
        stamps[start:stop] = time
        self.rising = self.rising and bool(np.isfinite(time[[0, -1]]).all())
        for first in range(start, stop, BLOCK):
            last = min(first + BLOCK, stop)
            # The step from the block before is one of this one's.
            steps = np.diff(stamps[max(first - 1, 0) : last])
            pace = float(steps.min()) if len(steps) else np.inf
            stands = len(steps) > 0 and not steps.any()
            self.standing = self.standing + last - first if stands else 0
            self._paces.append((first, last, pace))
            self._widest.append((first, last, float(steps.max()) if len(steps) else 0.0))
            self.rising = self.rising and pace > 0  # NaN is no rise.
        for i, array in enumerate(batch.arrays):
            self.write_column(i, start, array)
        self._count = stop

    def write_column(self, column: int, start: int, array: pa.Array) -> None:
        """Convert a column's values from row `start` on.

        Threads may do so side by side where there are rows for all of them.
        """
        self._make_room(start + len(array))
        factor, offset = self._units[column]
        watched = column in self._watched
        scratch = np.empty(min(BLOCK, len(array)) if watched else 0)
        for first in range(0, len(array), BLOCK):
            part = array.slice(first, BLOCK)
            begin, end = start + first, start + first + len(part)
            values = self._arrays[column + 1][begin:end]
            convert(part, factor, offset, values)
            if column not in self._gappy and np.isnan(values.max()):
                self._gappy.add(column)
            if watched:
                self._steep[column].append((begin, end, _steepest(values, scratch)))

    def _make_room(self, stop: int) -> None:
        if stop > len(self._arrays[0]):
            capacity = self._least if stop <= self._least else 2 * stop
            # The larger arrays take the place of those there are, one by one.
            require(8 * (len(self._arrays) * (capacity - len(self._arrays[0])) + capacity))
            for i, array in enumerate(self._arrays):  # One by one, so that only one is there twice.
                larger = self._supply(capacity)
                larger[: self._count] = array[: self._count]
                self._arrays[i] = larger

    def after(self, row: int) -> Rows:
        """Return the rows from `row` on, copied; larger arrays are made once more come."""
        rest = self._part(row, self._count)
        rest._least, rest._supply = self._least, self._supply
        return rest.own()

    def before(self, start: int, stop: int) -> Rows:
        """Return the rows from `start` to before `stop`, sharing memory, and hand on the counts."""
        part = self._part(start, stop)
        part.left_out, part.counted, part.found = self.left_out, self.counted, self.found
        self.left_out, self.counted, self.found = 0, Counter(), []
        return part

    def _part(self, start: int, stop: int) -> Rows:
        part = Rows(self._given, 0, self._watched)
        part._steep = [_cut(steep, start, stop) for steep in self._steep]
        part._gappy = set(self._gappy)
        part._paces = _cut(self._paces, start, stop)
        part.standing = self.standing if stop == self._count else 0
        part._files = _cut(self._files, start, stop)
        part._widest = _cut(self._widest, start, stop)
        part._arrays = [array[start:stop] for array in self._arrays]
        part._count = stop - start
        part.rising = self.rising or rises(part.time)
        return part

    def looks(self, column: int, rate: float) -> list[Look] | None:
        """Tell where a column may change faster than `rate` [SI/s], by what was noted of it.

        None where the column isn't watched, or the time doesn't rise.
        """
        if column not in self._watched or not self.rising:
            return None
        return [(start, stop, np.inf if most <= rate * pace else rate * pace)
                for (start, stop, most), (_, _, pace) in zip(
                    sorted(self._steep[column]), self._paces, strict=True)]

    def filled(self, column: int) -> bool:
        """Whether a column surely has a value in each row, by what was noted of it."""
        return column not in self._gappy

    def own(self) -> Rows:
        """Return the same rows, in memory that nothing else shares."""
        # One block of memory: the system gives a large one quicker than many.
        self._arrays = list(np.stack([array[: self._count] for array in self._arrays]))
        return self

    def unsteady(self, row: int, widest: float) -> tuple[int, int] | None:
        """Return the next rows, from `row` on, to which the time may not rise, or by too much.

        The first of them and the row after the last, by what was noted; None where each step to
        a row from `row` on is a rise by `widest` [s] at most.
        """
        for (first, last, least), (_, _, most) in zip(self._paces, self._widest, strict=True):
            if last > row and not (least > 0 and most <= widest):  # NaN is neither.
                return max(first, row), last
        return None

    @property
    def files(self) -> list[Path]:
        """The files that hold the rows, in their order, where a recording is in several."""
        return list(dict.fromkeys(file for _, _, file in self._files))

    @property
    def time(self) -> NDArray[np.float64]:
        """Elapsed time [s] of every row."""
        return self._arrays[0][: self._count]

    @property
    def values(self) -> list[NDArray[np.float64]]:
        """The columns' values in SI, NaN where there is none."""
        return [array[: self._count] for array in self._arrays[1:]]


def _steepest(values: NDArray[np.float64], scratch: NDArray[np.float64]) -> float:
    if len(values) < 2:
        return 0.0
    with np.errstate(invalid="ignore"):  # Infinity less infinity: NaN, as for a missing value.
        steps = np.subtract(values[1:], values[:-1], out=scratch[: len(values) - 1])
        return float(np.maximum(steps.max(), -steps.min()))


def _cut(noted: Sequence[tuple[int, int, T]], start: int, stop: int) -> list[tuple[int, int, T]]:
    """Return what was noted of the rows from `start` to before `stop`, counted from `start`."""
    return [(max(first, start) - start, min(last, stop) - start, finding)
            for first, last, finding in noted if last > start and first < stop]
