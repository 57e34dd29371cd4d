"""Several flights in shared columns, end to end: the rows of each flight."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class FlightBatch:
    """Row offsets of flights whose columns lie end to end; one flight is a batch of one.

    ``offsets`` : int64[flights + 1], ascending from 0: flight k has the rows offsets[k] to
    offsets[k + 1] - 1.
    """

    offsets: NDArray[np.int64]

    @classmethod
    def of(cls, lengths: Sequence[int]) -> FlightBatch:
        """Return the batch of flights with these numbers of rows."""
        return cls(np.concatenate([[0], np.cumsum(lengths, dtype=np.int64)]).astype(np.int64))

    def __len__(self) -> int:
        """Return the number of flights."""
        return len(self.offsets) - 1

    @property
    def rows(self) -> int:
        """The number of rows of all flights together."""
        return int(self.offsets[-1])

    def rows_of(self, flight: int) -> slice:
        """Return the slice of the shared columns that holds a flight's rows."""
        return slice(int(self.offsets[flight]), int(self.offsets[flight + 1]))

    def blocks(self, size: int) -> Iterator[tuple[int, int, int]]:
        """Yield blocks of at most `size` rows as (flight, start, stop), in the flight's own rows.

        No block crosses the boundary of a flight, so that blocks don't depend on other flights.
        """
        for flight, count in enumerate(np.diff(self.offsets).tolist()):
            for start in range(0, count, size):
                yield flight, start, min(start + size, count)
