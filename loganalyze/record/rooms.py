"""Room for columns: memory that one flight after the other is gathered in."""

from __future__ import annotations

import weakref
from collections import deque
from contextlib import suppress
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Reused:
    """Gives arrays whose memory is used again once nobody holds them, or a part of them.

    Memory from the system is blank, and blanking it costs as much as filling it. An array from
    here holds whatever was in it before. Room for at most `most` numbers is kept for later.
    """

    def __init__(self, most: float = np.inf) -> None:
        self._free: dict[int, deque[Floats]] = {}
        self._most = most

    def __call__(self, count: int) -> Floats:
        """Return float64[count], to be filled."""
        # Room that is never filled is never touched, so rounding up costs no memory.
        room = 1 << (count - 1).bit_length() if count else 0
        memory = self._large_enough(room)
        if memory is None:
            self._free.clear()  # What is too small now would only be in the way.
            memory = np.empty(room)
        lent = _Lent(memory)
        weakref.finalize(lent, self._take_back, memory).atexit = False
        return np.asarray(lent)[:count]

    def _large_enough(self, room: int) -> Floats | None:
        for size in sorted(self._free):
            # Arrays come back at any time, from any thread: a look before would tell nothing.
            with suppress(KeyError, IndexError):
                if size >= room:
                    return self._free[size].pop()
        return None

    def _take_back(self, memory: Floats) -> None:
        kept = sum(room * len(free) for room, free in list(self._free.items()))
        if kept + len(memory) <= self._most:
            self._free.setdefault(len(memory), deque()).append(memory)


class _Lent:
    """What an array is a view of, and so are its parts: it goes when the last of them does."""

    def __init__(self, memory: Floats) -> None:
        self.__array_interface__: dict[str, Any] = memory.__array_interface__


def pooled(count: int) -> Floats:
    """Return float64[count] from Arrow's pool, which keeps memory that is given back.

    The next log then finds it warm; only for room that will be filled.
    """
    return np.frombuffer(pa.allocate_buffer(8 * count), np.float64)
