"""Several flights end to end: where each one's rows lie in columns that all share."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class FlightBatch:
    """Row offsets of flights whose columns lie end to end; one flight is a batch of one.

    ``offsets`` : int64[flights + 1], rising from 0: flight k has the rows offsets[k] to before
    offsets[k + 1].
    """

    offsets: NDArray[np.int64]

    @classmethod
    def of(cls, lengths: Sequence[int]) -> FlightBatch:
        """Return the batch of flights with so many rows each."""
        return cls(np.concatenate([[0], np.cumsum(lengths, dtype=np.int64)]).astype(np.int64))

    def __len__(self) -> int:
        """Return the number of flights."""
        return len(self.offsets) - 1

    @property
    def rows(self) -> int:
        """The number of rows of all flights together."""
        return int(self.offsets[-1])

    def rows_of(self, flight: int) -> slice:
        """Return where a flight's rows lie."""
        return slice(int(self.offsets[flight]), int(self.offsets[flight + 1]))

    def blocks(self, size: int) -> Iterator[tuple[int, int, int]]:
        """Yield blocks of at most `size` rows: flight, and its own rows from and before.

        No block crosses the boundary of a flight, so that each is cut as if it were alone.
        """
        for flight, count in enumerate(np.diff(self.offsets).tolist()):
            for start in range(0, count, size):
                yield flight, start, min(start + size, count)
