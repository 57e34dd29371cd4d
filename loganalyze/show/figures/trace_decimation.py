"""Long records as a line of a few thousand points that loses no peak and bridges no gap."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from loganalyze.record.arrays import Floats
from loganalyze.record.intervals import HELD_INTERVALS

BINS = 1000
"""Columns of a plot; each keeps its least and its greatest value, so 2,000 points in all."""



def trace(time: Floats, values: NDArray[np.floating], interval: float) -> tuple[Floats, Floats]:
    """Return points that draw as the whole record does.

    Parameters
    ----------
    time : ndarray, shape (n,)  [s]
        Rising.
    values : ndarray, shape (n,)
        NaN where unknown.
    interval : float  [s]
        The normal step; a longer one than 1.5 of it breaks the line.

    Returns
    -------
    tuple of ndarray
        Times and values, NaN where the line breaks. Beyond 2,000 samples, the least and
        the greatest known value of each of 1,000 equal stretches of time; a stretch without
        any breaks the line, and so does a gap longer than a stretch.
    """
    if len(time) > 2 * BINS:
        time, values = _least_and_greatest(time, values)
        interval = max(interval, float(time[-1] - time[0]) / BINS)
    points = np.asarray(values, dtype=np.float64)
    breaks = np.flatnonzero(np.diff(time) > HELD_INTERVALS * interval) + 1
    return np.insert(time, breaks, time[breaks - 1]), np.insert(points, breaks, np.nan)


def _least_and_greatest(
    time: Floats, values: NDArray[np.floating]
) -> tuple[Floats, NDArray[np.floating]]:
    edges = np.linspace(time[0], time[-1], BINS + 1)[:-1]
    firsts = np.unique(np.searchsorted(time, edges, side="left"))
    least = np.fmin.reduceat(values, firsts)
    greatest = np.fmax.reduceat(values, firsts)
    lasts = np.append(firsts[1:], len(time)) - 1
    # A rising stretch is drawn from its least to its greatest value, a falling one the other way.
    rising = values[lasts] >= values[firsts]
    points = np.where(rising, [least, greatest], [greatest, least]).T.ravel()
    quarter = (time[lasts] - time[firsts]) / 4
    times = np.column_stack([time[firsts] + quarter, time[lasts] - quarter]).ravel()
    times[0], times[-1] = time[0], time[-1]
    return times, points
