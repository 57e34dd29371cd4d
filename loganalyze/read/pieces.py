"""A log piece by piece: some of its rows as the file holds them, and room to gather them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from loganalyze.read.arrow import convert
from loganalyze.read.clock import Ticks, rises
from loganalyze.record.units import Unit


@dataclass(frozen=True, eq=False)
class Piece:
    """Some rows in sequence: the ticks of their clock and an Arrow array a column.

    ``left_out`` : lines that hold no sample (comments, repeated headers, a cut last line).
    """

    ticks: Ticks
    arrays: list[pa.Array]
    left_out: int = 0

    def __len__(self) -> int:
        return len(self.ticks)

    def rows(self, start: int, stop: int) -> Piece:
        """Return the rows from `start` to before `stop`, sharing memory."""
        return Piece(self.ticks[start:stop],
                     [array.slice(start, stop - start) for array in self.arrays])


class Rows:
    """Gathers pieces into one float64 array a column, in SI: the copy is the conversion."""

    def __init__(self, units: Sequence[Unit | None], room: int) -> None:
        self._units = [(unit.factor, unit.offset) if unit else (1.0, 0.0) for unit in units]
        # Room that is never filled is never touched, so it costs no memory.
        self._arrays = [np.empty(room) for _ in range(len(units) + 1)]
        self._count = 0
        self.rising = True

    def __len__(self) -> int:
        return self._count

    def add(self, time: NDArray[np.float64], piece: Piece) -> None:
        """Add a piece whose elapsed time [s] is `time`."""
        if not len(time):
            return
        start, stop = self._count, self._count + len(time)
        if stop > len(self._arrays[0]):
            for i, array in enumerate(self._arrays):  # One by one, so that only one is there twice.
                self._arrays[i] = _enlarged(array, start, 2 * stop)
        stamps = self._arrays[0]
        stamps[start:stop] = time
        self.rising = self.rising and rises(stamps[max(start - 1, 0) : stop])
        for array, out, (factor, offset) in zip(piece.arrays, self._arrays[1:], self._units,
                                                strict=True):
            convert(array, factor, offset, out[start:stop])
        self._count = stop

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
