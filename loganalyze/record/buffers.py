"""Uninitialised memory for the columns of a flight, from a pool."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray


def pooled(count: int) -> NDArray[np.float64]:
    """Return an uninitialised float64[count] from Arrow's memory pool.

    The pool reuses released memory that is still mapped, so the next flight avoids the cost of
    the operating system zeroing new pages, which is about that of filling them.
    """
    return np.frombuffer(pa.allocate_buffer(8 * count), np.float64)
