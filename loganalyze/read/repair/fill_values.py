"""Fill values: numbers that recorders and their ground stations write where there is none.

A number counts as a fill value only where it is one of those in use *and* implausible for its
channel: 4095 ft may be an altitude, 4095 kt is no airspeed. Which numbers are in use is common
practice, without a published source.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from loganalyze.read.cells.arrow_arrays import DTYPES, numbers
from loganalyze.read.columns.recognition import LogColumn
from loganalyze.read.columns.required_channels import TEMPERATURES
from loganalyze.read.files.row_batches import BLOCK, Look
from loganalyze.record.channels import kind as channel_kind
from loganalyze.record.derivations import AIRSPEEDS
from loganalyze.record.findings import Finding
from loganalyze.record.units import Unit

_NINES = [sign * value for sign in (1, -1) for value in (
    99.99, 99.9, 999.0, 999.9, 999.99, 9999.0, 9999.9, 9999.99, 99999.0, 99999.9, 99999.99,
    999999.0, 999999.9, 9999999.0, 99999999.0, 999999999.0, 8888.0, 7777.0, 6999.0, 777.7, 888.8,
    1e10, 1e15, 1e20, 1e30, 1e35, 1e36, 1e37, 1e38, 1e99,
    9.969209968386869e36,  # The default fill value of a common format for scientific arrays.
    float(np.finfo(np.float32).max), float(np.finfo(np.float64).max), np.inf)]
_WORDS_OF_ONES = [float(value) for bits in (8, 10, 11, 12, 13, 14, 15, 16, 18, 20, 24, 31, 32, 63)
                  for value in (2**bits - 1, 2**bits, -(2**bits), 1 - 2**bits, 2**bits - 2)]
FILLS = np.unique(np.array([*_NINES, *_WORDS_OF_ONES]))
"""Numbers in use: rows of nines, and words of 8 to 64 bits that are all ones, or their limit."""


FEWEST = 3
"""Number of equal values in sequence that isn't chance."""

FEWEST_THROUGHOUT, LEAST_THROUGHOUT = 60, 9999.0
"""So many samples that all hold one number of this size at least, which is in use as a fill value,
hold nothing else: an airfield may lie at 1,023 or 4,096 ft, and a log hold no flight."""

FLOWN = frozenset((
    *AIRSPEEDS, *TEMPERATURES, "true_airspeed", "mach", "pressure_altitude", "indicated_altitude",
    "satellite_altitude", "static_pressure", "total_pressure", "impact_pressure", "ground_speed"))
"""What can't step there and back. Levers and surfaces that are recorded by their detents do."""


def flown(column: LogColumn) -> bool:
    """Whether a column holds what can't step there and back, so that plateaus tell fill values."""
    return column.channel in FLOWN and not column.wraps_at


class Filler:
    """Replaces the fill values of one column by NaN."""

    def __init__(self, column: LogColumn) -> None:
        kind = channel_kind(column.channel.removesuffix(".fine"))
        self.name = column.name
        self._low, self._high = -np.inf, np.inf
        unit = column.unit
        if kind is not None and kind.discrete and not column.values:
            self._low, self._high = 0.0, 1.0
        elif kind is not None and unit is not None and not column.wraps_at:
            bounds = [(value * kind.unit.factor + kind.unit.offset - unit.offset) / unit.factor
                      for value in (kind.lowest, kind.highest)]
            self._low, self._high = min(bounds), max(bounds)
        own = [cell for cell in column.missing if not isinstance(cell, str)]
        own += [number for cell in column.missing if isinstance(cell, str)
                and (number := _number(cell)) is not None]
        self._own = np.array(own, dtype=np.float64)
        self._fills = _fills_beyond(self._low, self._high)

    def cleaned(self, array: pa.Array, counted: Counter[str]) -> pa.Array:
        """Return the array with NaN for each fill value, and count them."""
        if not len(self._fills) + len(self._own) or array.type not in DTYPES:
            return array
        values, valid = numbers(array)
        if not len(values) or self._plausible(values):
            return array
        suspect = np.isin(values, self._own) if len(self._own) else np.zeros(len(values), bool)
        beyond = np.flatnonzero((values < self._low) | (values > self._high))
        with np.errstate(over="ignore"):
            fills = self._fills.astype(values.dtype if values.dtype.kind == "f" else np.float64)
        suspect[beyond] |= np.isin(values[beyond], fills)
        bad = suspect if valid is None else suspect & valid
        count = int(bad.sum())
        if not count:
            return array
        counted[fills_of(self.name)] += count
        cleaned = values.astype(np.float64)
        cleaned[bad if valid is None else suspect | ~valid] = np.nan
        return pa.Array.from_buffers(pa.float64(), len(cleaned), [None, pa.py_buffer(cleaned)])

    def _plausible(self, values: NDArray[np.generic]) -> bool:
        """Whether no value can be a fill value, in two quick passes; NaN leaves it open."""
        return not len(self._own) and bool(
            values.min() >= self._low and values.max() <= self._high)


@lru_cache(maxsize=64)
def _fills_beyond(lowest: float, highest: float) -> NDArray[np.float64]:
    return FILLS[(lowest > FILLS) | (highest < FILLS)]


def plateaus(values: NDArray[np.float64], time: NDArray[np.float64], rate: float,
             looks: Sequence[Look] | None = None) -> NDArray[np.intp]:
    """Return the rows of numbers that no value could have got to and come back from.

    A word of ones may lie within a channel's range (511.9 kt). What gives it away is that the
    same number stands several times in sequence, and that the stretch begins and ends with a
    step faster than is physically possible, away from the values around it and back to them,
    which are in order themselves.

    Parameters
    ----------
    values : float64[n]
        In SI; NaN where there is none.
    time : float64[n]
        Rising [s].
    rate : float
        The greatest plausible rate of change [SI/s]; inf where none is known.
    looks : sequence, optional
        What `Rows.looks` tells of these rows.

    Returns
    -------
    int[k]
        The rows, in order.
    """
    jumps = _jumps(values, time, rate, looks)
    if len(jumps) < 2:
        return jumps[:0]
    before, last = jumps[:-1], jumps[1:]
    start, after = before + 1, last + 1
    # The values around are in order where no other jump stands right beside them.
    apart = np.diff(jumps, prepend=-2) > 1
    orderly = apart[:-1] & np.append(apart[2:], True)
    with np.errstate(invalid="ignore"):
        back = np.abs(values[after] - values[before]) <= rate * (time[after] - time[before])
    alike = (values[start] == values[last]) & (last - start + 1 >= FEWEST) & back & orderly & (
        (values[start] > values[before]) == (values[last] > values[after]))
    rows = [np.arange(start[i], after[i]) for i in np.flatnonzero(alike)
            if (values[start[i] : after[i]] == values[start[i]]).all()]
    return np.concatenate([jumps[:0], *rows])


def only_fill(values: NDArray[np.float64], unit: Unit) -> float | None:
    """Return the fill value that a whole column holds, though it lies within its range; or None.

    Nothing that is flown keeps one large word of ones from the first sample to the last.

    Parameters
    ----------
    values : float64[n]
        In SI; NaN where there is none.
    unit
        The unit in which the column was recorded.
    """
    if len(values) < FEWEST_THROUGHOUT or values[0] != values[-1]:
        return None
    if not (values == values[0]).all():
        return None
    number = round(float((values[0] - unit.offset) / unit.factor), 6)
    return number if abs(number) >= LEAST_THROUGHOUT and number in FILLS else None


def _jumps(values: NDArray[np.float64], time: NDArray[np.float64], rate: float,
           looks: Sequence[Look] | None) -> NDArray[np.intp]:
    """Return the rows after which a step is faster than `rate`."""
    if not np.isfinite(rate) or len(values) < 2:
        return np.empty(0, dtype=np.intp)
    if looks is None:  # Each block has to be looked at.
        starts = range(0, len(values), BLOCK)
        looks = [(start, start + BLOCK, rate * np.diff(time[start : start + BLOCK]).min(
            initial=np.inf)) for start in starts]
    found = []
    for start, stop, beyond in looks:
        if beyond < np.inf:
            steps = np.abs(np.diff(values[start:stop]))
            rows = np.flatnonzero(steps > beyond)
            lasts = time[start + rows + 1] - time[start + rows]
            found.append(start + rows[steps[rows] > rate * lasts])
    edges = np.array([stop - 1 for _, stop, _ in looks[:-1]], dtype=np.intp)
    over = np.abs(values[edges + 1] - values[edges]) > rate * (time[edges + 1] - time[edges])
    return np.sort(np.concatenate([edges[over], *found]))


def fills_of(name: str) -> str:
    """Return the name under which the fill values of a column are counted."""
    return f'fill values in "{name}"'


def fill_findings(counted: Counter[str]) -> list[Finding]:
    """Return a finding for each column in which fill values were left out."""
    start = "fill values in "
    return [Finding("fill_values", {"column": key.removeprefix(start)[1:-1], "count": count})
            for key, count in sorted(counted.items()) if key.startswith(start)]


def _number(cell: str) -> float | None:
    try:
        return float(cell)
    except ValueError:
        return None
