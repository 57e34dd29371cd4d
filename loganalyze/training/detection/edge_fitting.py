"""Where a value begins and ends to change: broken lines by least squares.

A threshold on a noisy value is passed early or late by chance; a broken line through all samples
about the change is not. Its standard uncertainty is about 2 s / (r sqrt(n)) for white noise of
standard deviation s, a slope that changes by r and n samples on either side (the intersection of
two lines by least squares).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loganalyze.record.arrays import Floats

FEW_CELLS = 7
"""Edges that are sought within no more cells than this are placed to a quarter of one."""


@dataclass(frozen=True, slots=True)
class Ramp:
    """A change from one level to another.

    ``start``, ``end`` : cells of the values' index, with fractions; ``before``, ``after`` : the
    levels; ``scatter`` : standard deviation of the values about the broken line.
    """

    start: float
    end: float
    before: float
    after: float
    scatter: float


def ramp(values: Floats, start: int, end: int, reach: int, lead: int) -> Ramp:
    """Fit level, straight line, level to a change of a value.

    Parameters
    ----------
    values : float64[n]
    start, end : int
        First guesses of the cells at which the change begins and ends.
    reach : int
        How many cells the edges may be away from the guesses.
    lead : int
        How many cells of the levels before and after are used, at most.

    Returns
    -------
    Ramp
    """
    start, end = (min(max(cell, 0), len(values) - 1) for cell in (start, end))
    low, high = max(start - lead, 0), min(end + lead + 1, len(values))
    at = np.arange(low, high, dtype=np.float64)
    y = values[low:high]
    known = np.isfinite(y)
    at, y = at[known], y[known]
    fine = 0.25 if reach <= FEW_CELLS else 1.0
    starts = np.arange(max(start - reach, low), min(start + reach, high - 2) + fine, fine)
    ends = np.arange(max(end - reach, low + 1), min(end + reach, high - 1) + fine, fine)
    first, last = (grid.ravel() for grid in np.meshgrid(starts, ends, indexing="ij"))
    some = last > first
    first, last = first[some], last[some]
    if len(y) < 4 or not len(first):
        return Ramp(float(start), float(end), float(values[start]), float(values[end]), np.nan)
    share = np.clip((at - first[:, None]) / (last - first)[:, None], 0.0, 1.0)
    squares, before, change = _line(share, y)
    best = int(np.argmin(squares))
    return Ramp(float(first[best]), float(last[best]), float(before[best]),
                float(before[best] + change[best]), float(np.sqrt(squares[best] / len(y))))


@dataclass(frozen=True, slots=True)
class Knee:
    """Where a level passes into a slope, or a slope into a level.

    ``cell`` : of the values' index, with a fraction; ``slope`` : per cell; ``change`` : by how much
    the value changes on the slope; ``scatter`` : standard deviation about the broken line.
    """

    cell: float
    slope: float
    change: float
    scatter: float


def knee(values: Floats, low: int, high: int, *, level_first: bool) -> Knee:
    """Fit a level and a slope that meet.

    Where the passage is rounded, the knee is where the two lines through what was flown before and
    after it cross.

    Parameters
    ----------
    values : float64[n]
    low, high : int
        The cells that are used, half-open; the knee lies between them.
    level_first : bool
        The level comes before the slope; else after it.
    """
    low, high = max(low, 0), min(high, len(values))
    y = values[low:high]
    at = np.arange(low, high, dtype=np.float64)
    known = np.isfinite(y)
    at, y = at[known], y[known]
    if len(y) < 5:
        return Knee((low + high - 1) / 2.0, 0.0, 0.0, np.nan)
    knees = at[1:-1]
    gap = at - knees[:, None]
    squares, _, slope = _line(np.maximum(gap, 0.0) if level_first else np.minimum(gap, 0.0), y)
    best = int(np.argmin(squares))
    cell = float(knees[best])
    if 0 < best < len(knees) - 1:
        before, here, after = (float(square) for square in squares[best - 1 : best + 2])
        bend = before - 2.0 * here + after
        if bend > 0:
            cell += (before - after) / (2.0 * bend)
    long = (at[-1] - cell) if level_first else (cell - at[0])
    return Knee(cell, float(slope[best]), float(slope[best]) * long,
                float(np.sqrt(squares[best] / len(y))))


def _line(x: Floats, y: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the sums of squares, intercepts and slopes of y on each row of x, float64[k]."""
    mean_x, mean_y = x.mean(axis=1, keepdims=True), y.mean()
    dx, dy = x - mean_x, y - mean_y
    spread = np.maximum((dx**2).sum(axis=1), 1e-12)
    slope = (dx * dy).sum(axis=1) / spread
    squares = np.maximum((dy**2).sum() - slope**2 * spread, 0.0)
    return squares, mean_y - slope * mean_x[:, 0], slope


def slopes(values: Floats, width: int) -> Floats:
    """Return the slope per cell of the straight line through `width` cells about each, float64[n].
    """
    width = min(max(width | 1, 3), (len(values) - 1) | 1)
    if width < 3 or len(values) < 3:
        return np.zeros(len(values))
    half = width // 2
    weights = np.arange(-half, half + 1, dtype=np.float64)
    weights /= (weights**2).sum()
    padded = np.pad(values, half, mode="reflect", reflect_type="odd")
    return np.convolve(padded, weights[::-1], mode="valid")[: len(values)]


def scatter_about_line(values: Floats) -> float:
    """Return the standard deviation of values about their straight line; 0 of one or two."""
    at = np.arange(len(values)) - (len(values) - 1) / 2.0
    if len(values) < 3:
        return 0.0
    left = values - values.mean()
    left = left - at * float((at * left).sum() / (at**2).sum())
    return float(np.sqrt((left**2).sum() / (len(values) - 2)))
