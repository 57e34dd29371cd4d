"""Numbers out of Arrow arrays without a detour through pandas."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

DTYPES: dict[pa.DataType, np.dtype[Any]] = {
    pa.float64(): np.dtype(np.float64), pa.float32(): np.dtype(np.float32),
    pa.float16(): np.dtype(np.float16),
    pa.int64(): np.dtype(np.int64), pa.int32(): np.dtype(np.int32),
    pa.int16(): np.dtype(np.int16), pa.int8(): np.dtype(np.int8),
    pa.uint64(): np.dtype(np.uint64), pa.uint32(): np.dtype(np.uint32),
    pa.uint16(): np.dtype(np.uint16), pa.uint8(): np.dtype(np.uint8),
}


def numbers(
    array: pa.Array, dtype: np.dtype[Any] | None = None
) -> tuple[NDArray[Any], NDArray[np.bool_] | None]:
    """Return a view of an Arrow array's numbers, and a mask of those present (None: all).

    Elements without a number are undefined.
    """
    dtype = dtype or DTYPES[array.type]
    validity, data = array.buffers()
    count, offset = len(array), array.offset
    if data is None or not count:
        return np.zeros(count, dtype), np.zeros(count, dtype=bool)
    values = np.frombuffer(data, dtype, count, offset * dtype.itemsize)
    if validity is None or not array.null_count:
        return values, None
    # From the byte on that holds the first: a slice far into an array costs what it holds.
    bits = np.frombuffer(validity, np.uint8, offset=offset // 8)
    valid = np.unpackbits(bits, count=offset % 8 + count, bitorder="little")[offset % 8 :]
    return values, valid.view(np.bool_)


def convert(array: pa.Array, factor: float, offset: float, out: NDArray[np.float64]) -> None:
    """Write ``array * factor + offset`` to `out`, NaN where the array holds nothing."""
    values, valid = numbers(array)
    if factor != 1:
        # float64 throughout: NumPy would multiply float32 by a Python float in float32.
        np.multiply(values, factor, out=out, dtype=np.float64, casting="unsafe")
        if offset:
            out += offset
    elif offset:
        np.add(values, offset, out=out, dtype=np.float64, casting="unsafe")
    else:
        out[:] = values
    if valid is not None:
        out[~valid] = np.nan


def words(array: pa.Array) -> list[str | None]:
    """Return an Arrow array's text, None where null.

    CSV columns aren't checked for valid UTF-8 while they are read: a byte that is none becomes
    U+FFFD, so that a damaged cell is refused as a cell and not as an encoding.
    """
    return [None if cell is None else cell.decode("utf-8", "replace")
            for cell in array.cast(pa.binary()).to_pylist()]


def listed(array: pa.Array) -> list[Any]:
    """Return the cells of an array, as numbers where they are stamps of no calendar."""
    try:
        if pa.types.is_timestamp(array.type) and array.type.tz in (None, "UTC") and (
                array.type.unit in _MICROSECONDS):
            return _instants(array)
        return list(array.to_pylist())
    except (OverflowError, ValueError):
        return list(array.cast(pa.int64()).to_pylist())


_MICROSECONDS = {"s": 1_000_000, "ms": 1_000, "us": 1}


def _instants(array: pa.Array) -> list[datetime | None]:
    """Return what pyarrow's own list of instants holds, for which it would load pandas."""
    unit = _MICROSECONDS[array.type.unit]
    start = datetime(1970, 1, 1, tzinfo=UTC if array.type.tz else None)
    return [None if ticks is None else start + timedelta(microseconds=ticks * unit)
            for ticks in array.cast(pa.int64()).to_pylist()]
