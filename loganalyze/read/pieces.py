"""A piece of a log: some of its rows, as the file holds them."""

from __future__ import annotations

from dataclasses import dataclass

import pyarrow as pa

from loganalyze.read.clock import Ticks


@dataclass(frozen=True, eq=False)
class Piece:
    """Some rows in sequence: the ticks of their clock and an Arrow array a column."""

    ticks: Ticks
    arrays: list[pa.Array]

    def __len__(self) -> int:
        return len(self.ticks)

    def rows(self, start: int, stop: int) -> Piece:
        """Return the rows from `start` to before `stop`, sharing memory."""
        return Piece(self.ticks[start:stop],
                     [array.slice(start, stop - start) for array in self.arrays])
