"""Half-open intervals of time, and their algebra.

An instant t lies in [a, b) when a <= t < b, so that adjacent intervals neither overlap nor
leave a gap; unions, intersections and differences of half-open intervals are half-open again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from loganalyze.record.arrays import Mask

HELD_INTERVALS = 1.5
"""A sample is valid for at most this many of its channel's normal intervals."""


@dataclass(frozen=True, eq=False)
class Intervals:
    """Sorted, disjoint, half-open intervals of time.

    ``edges`` : float64[k, 2]  [s], each row a start and an end, start < end, and every end
    before the next start (intervals that touch are one).
    """

    edges: NDArray[np.float64]

    @classmethod
    def of(cls, pairs: Iterable[tuple[float, float]]) -> Intervals:
        """Make intervals from (start, end) pairs [s] in any order; empty ones are dropped.

        Raises ValueError for a NaN edge or an end before its start.
        """
        edges = np.array(list(pairs), dtype=np.float64).reshape(-1, 2)
        if np.isnan(edges).any() or (edges[:, 1] < edges[:, 0]).any():
            raise ValueError("an interval needs a start and an end that isn't before it")
        return cls(_merged(edges[edges[:, 1] > edges[:, 0]]))

    @classmethod
    def from_mask(cls, mask: ArrayLike, time: ArrayLike, interval: float,
                  breaks: NDArray[np.intp] | None = None) -> Intervals:
        """Return the time covered by the true samples of `mask`.

        Sample i covers [t_i, t_i + min(t_{i+1} - t_i, 1.5 `interval`)), the last one for
        `interval`. `time` : float64[n] [s], increasing; `interval` [s] is the normal step;
        `breaks` : what `breaks_of` found in them, where it is known already.
        """
        held = np.asarray(mask, dtype=bool)
        stamps = np.asarray(time, dtype=np.float64)
        if not held.any():
            return cls(np.empty((0, 2)))
        goes_on = held[:-1] & held[1:]
        goes_on[breaks_of(stamps, interval) if breaks is None else breaks] = False
        first, last = held.copy(), held.copy()
        first[1:] &= ~goes_on
        last[:-1] &= ~goes_on
        lasts = np.flatnonzero(last)
        nexts = stamps[np.minimum(lasts + 1, len(stamps) - 1)]
        ends = np.where(lasts == len(stamps) - 1, stamps[lasts] + interval,
                        np.minimum(nexts, stamps[lasts] + HELD_INTERVALS * interval))
        edges = np.column_stack([stamps[first], ends])
        return cls(_merged(edges[edges[:, 1] > edges[:, 0]]))

    def __len__(self) -> int:
        return len(self.edges)

    def __iter__(self) -> Iterator[tuple[float, float]]:
        return iter((float(start), float(end)) for start, end in self.edges)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Intervals) and np.array_equal(self.edges, other.edges)

    __hash__ = None  # type: ignore[assignment]

    @property
    def duration(self) -> float:
        """Total time [s]."""
        return float((self.edges[:, 1] - self.edges[:, 0]).sum())

    def contains(self, time: ArrayLike) -> NDArray[np.bool_]:
        """Whether each instant of `time` [s] (any shape) lies inside; False for NaN."""
        stamps = np.asarray(time, dtype=np.float64)
        inside = np.searchsorted(self.edges.ravel(), stamps, side="right") % 2 == 1
        return np.asarray(inside & ~np.isnan(stamps))

    def __or__(self, other: Intervals) -> Intervals:
        return Intervals(_merged(np.concatenate([self.edges, other.edges])))

    def __and__(self, other: Intervals) -> Intervals:
        if not len(self) or not len(other):
            return Intervals(np.empty((0, 2)))
        return _combined(self, other, lambda a, b: a & b)

    def __sub__(self, other: Intervals) -> Intervals:
        return _combined(self, other, lambda a, b: a & ~b)


def breaks_of(time: NDArray[np.float64], interval: float) -> NDArray[np.intp]:
    """Return the samples after which the next one is more than 1.5 `interval` [s] away, intp[k]."""
    return np.flatnonzero(time[1:] - time[:-1] > HELD_INTERVALS * interval)


def _merged(edges: NDArray[np.float64]) -> NDArray[np.float64]:
    if len(edges) < 2:
        return edges.reshape(-1, 2)
    edges = edges[np.argsort(edges[:, 0], kind="stable")]
    reach = np.maximum.accumulate(edges[:, 1])
    opens = np.concatenate([[True], edges[1:, 0] > reach[:-1]])
    closes = np.concatenate([opens[1:], [True]])
    return np.column_stack([edges[opens, 0], reach[closes]])


def _combined(first: Intervals, second: Intervals,
              rule: Callable[[Mask, Mask], Mask]) -> Intervals:
    cuts = np.unique(np.concatenate([first.edges.ravel(), second.edges.ravel()]))
    starts, ends = cuts[:-1], cuts[1:]
    keep = rule(first.contains(starts), second.contains(starts))
    return Intervals(_merged(np.column_stack([starts[keep], ends[keep]])))
