"""Room for columns: memory that one flight after the other is gathered in."""

from __future__ import annotations

import weakref
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Reused:
    """Gives arrays whose memory is used again once nobody holds them, or a part of them.

    Memory from the system is blank, and blanking it costs as much as filling it. An array from
    here holds whatever was in it before. Only room of the size last asked for is kept, for `most`
    numbers at most, and nothing once the giver itself is gone.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._size = 0
        self._free: list[Floats] = []

    def __call__(self, count: int) -> Floats:
        """Return float64[count], to be filled."""
        # Room that is never filled is never touched, so rounding up costs no memory.
        size = 1 << (count - 1).bit_length() if count else 0
        if size != self._size:
            self._size, self._free = size, []
        try:
            # Arrays come back at any time, from any thread: a look before would tell nothing.
            memory = self._free.pop()
        except IndexError:
            memory = np.empty(size)
        lent = _Lent(memory)
        weakref.finalize(lent, _give_back, weakref.ref(self), memory).atexit = False
        return np.asarray(lent)[:count]

    def take_back(self, memory: Floats) -> None:
        """Keep memory that nobody holds any more, if it may be of use."""
        if len(memory) == self._size and (len(self._free) + 1) * self._size <= self._most:
            self._free.append(memory)


class _Lent:
    """What an array is a view of, and so are its parts: it goes when the last of them does."""

    def __init__(self, memory: Floats) -> None:
        self.__array_interface__: dict[str, Any] = memory.__array_interface__


def _give_back(giver: weakref.ref[Reused], memory: Floats) -> None:
    if (there := giver()) is not None:
        there.take_back(memory)


def pooled(count: int) -> Floats:
    """Return float64[count] from Arrow's pool, which keeps memory that is given back.

    The next log then finds it warm; only for room that will be filled.
    """
    return np.frombuffer(pa.allocate_buffer(8 * count), np.float64)
