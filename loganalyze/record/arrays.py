"""Names for the array types that every folder above this one uses."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
"""Values of a quantity; NaN where missing."""
Rows = NDArray[np.intp]
"""Row numbers of a log, increasing unless stated otherwise."""
Mask = NDArray[np.bool_]
"""Whether something holds, row by row."""
Bits = NDArray[np.uint16]
"""Flags of a sample, one bit each."""
