"""Memory for the columns of a flight."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray


def pooled(count: int) -> NDArray[np.float64]:
    """Return float64[count], unwritten, from Arrow's memory pool.

    The pool keeps memory that was given back for a while, so that the next flight finds it
    mapped already: the system blanks new memory, which costs as much as filling it.
    """
    return np.frombuffer(pa.allocate_buffer(8 * count), np.float64)
