"""A log piece by piece: some of its rows as the file holds them, and room to gather them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from loganalyze.read.arrow import convert
from loganalyze.read.clock import Ticks, rises
from loganalyze.record.units import Unit


@dataclass(frozen=True, eq=False)
class Piece:
    """Some rows in sequence: the ticks of their clock and an Arrow array a column.

    ``left_out`` : lines that hold no sample (comments, repeated headers, a cut last line);
    ``counted`` : what else was set aside, by name.
    """

    ticks: Ticks
    arrays: list[pa.Array]
    left_out: int = 0
    counted: Counter[str] = field(default_factory=Counter)
    placed: bool = False
    """Whether its columns were converted in place already (`Rows.place`); `arrays` is empty."""

    def __len__(self) -> int:
        return len(self.ticks)

    def rows(self, start: int, stop: int) -> Piece:
        """Return the rows from `start` to before `stop`, sharing memory."""
        return Piece(self.ticks[start:stop],
                     [array.slice(start, stop - start) for array in self.arrays])


class Rows:
    """Gathers pieces into one float64 array a column, in SI: the copy is the conversion."""

    def __init__(self, units: Sequence[Unit | None], room: int) -> None:
        self._given = tuple(units)
        self._units = [(unit.factor, unit.offset) if unit else (1.0, 0.0) for unit in units]
        # Room that is never filled is never touched, so it costs no memory.
        self._arrays = [np.empty(room) for _ in range(len(units) + 1)]
        self._count = 0
        self.rising = True
        self.left_out = 0
        self.counted: Counter[str] = Counter()

    def __len__(self) -> int:
        return self._count

    def add(self, time: NDArray[np.float64], piece: Piece) -> None:
        """Add a piece whose elapsed time [s] is `time`."""
        self.left_out += piece.left_out
        self.counted += piece.counted
        if not len(time):
            return
        start, stop = self._count, self._count + len(time)
        if stop > len(self._arrays[0]):
            for i, array in enumerate(self._arrays):  # One by one, so that only one is there twice.
                self._arrays[i] = _enlarged(array, start, 2 * stop)
        stamps = self._arrays[0]
        stamps[start:stop] = time
        self.rising = self.rising and rises(stamps[max(start - 1, 0) : stop])
        for i, array in enumerate(piece.arrays):
            self.place(i, start, array)
        self._count = stop

    def place(self, column: int, start: int, array: pa.Array) -> None:
        """Convert a column's values from row `start` on; there must be room for them."""
        factor, offset = self._units[column]
        convert(array, factor, offset, self._arrays[column + 1][start : start + len(array)])

    def after(self, row: int, room: int) -> Rows:
        """Return the rows from `row` on, copied to room of their own."""
        rest = Rows(self._given, max(room, self._count - row))
        rest._count = self._count - row
        for array, out in zip(self._arrays, rest._arrays, strict=True):
            out[: rest._count] = array[row : self._count]
        rest.rising = self.rising or rises(rest.time)
        return rest

    def before(self, start: int, stop: int) -> Rows:
        """Return the rows from `start` to before `stop`, sharing memory, and hand on the counts."""
        part = Rows(self._given, 0)
        part._arrays = [array[start:stop] for array in self._arrays]
        part._count = stop - start
        part.rising = self.rising or rises(part.time)
        part.left_out, part.counted = self.left_out, self.counted
        self.left_out, self.counted = 0, Counter()
        return part

    @property
    def time(self) -> NDArray[np.float64]:
        """Elapsed time [s] of every row."""
        return self._arrays[0][: self._count]

    @property
    def values(self) -> list[NDArray[np.float64]]:
        """The columns' values in SI, NaN where there is none."""
        return [array[: self._count] for array in self._arrays[1:]]


def _enlarged(array: NDArray[np.float64], filled: int, room: int) -> NDArray[np.float64]:
    larger = np.empty(room)
    larger[:filled] = array[:filled]
    return larger
