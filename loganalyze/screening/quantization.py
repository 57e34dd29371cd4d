"""The step of a recorder's numbers, and whether it truncates or rounds."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_SLACK = 0.05
"""A value lies on a grid if it is this near to it, in steps: what float32 and units leave."""
_LOOKS = 50_000
"""So many samples determine a step as well as all of them."""
_LEAST = 200
"""The fewest samples that determine a bias."""
_CLEAR = 0.2
"""A mean this near to that of rounding (0) or truncating (half a step) tells them apart; what
lies between may be a difference of the two sources."""
_FLAT = (0.22, 0.36)
"""Spread of what a step leaves over, in steps: 1 / sqrt(12) where nothing else is in it."""


def step_of(values: Floats, stated: float = float("nan")) -> float:
    """Return the step [SI] on which the values lie: as the log's reader stated, or estimated.

    The estimate is the smallest change, if all changes are its multiples; NaN where there is
    none, as for values that were averaged, or that never change.
    """
    if stated > 0:
        return stated
    levels = np.unique(_some(values[~np.isnan(values)]))
    if len(levels) < 3:
        return float("nan")
    steps = np.diff(levels)
    least = float(steps.min())
    shares = (levels - levels[0]) / least
    off = np.abs(shares - np.round(shares))
    return least if (off <= _SLACK).all() else float("nan")


def truncated(
    values: Floats, step: float, ways: Mapping[str, Callable[[NDArray[np.intp]], Floats]]
) -> dict[str, Any]:
    """Tell whether a recorder truncates or rounds, by a finer way to the same quantity.

    Returns ``recorder`` : "truncates", "rounds" or "not determinable", ``by`` : the channel that
    tells, and ``left`` : the mean of what was left over, in steps (0 rounds, 0.5 truncates).
    """
    nothing: dict[str, Any] = {"recorder": "not determinable"}
    if not step > 0:
        return nothing
    rows = _some(np.flatnonzero(~np.isnan(values)))
    for name, at in ways.items():
        other = at(rows)
        known = ~np.isnan(other)
        if known.sum() < _LEAST or not _finer(other[known], step):
            continue
        left = (other[known] - values[rows][known]) / step
        mean, spread = float(left.mean()), float(left.std())
        if not _FLAT[0] <= spread <= _FLAT[1]:
            continue
        for word, at_mean in (("rounds", 0.0), ("truncates", 0.5)):
            if abs(mean - at_mean) <= _CLEAR:
                return {"recorder": word, "by": name, "left": mean}
    return nothing


def _some(values: NDArray[Any]) -> NDArray[Any]:
    """A look at so many of the values, evenly spread."""
    return values[:: max(len(values) // _LOOKS, 1)]


def _finer(values: Floats, step: float) -> bool:
    """Whether values have a step of at most a quarter of `step`, or hardly ever repeat."""
    return step_of(values) <= step / 4 or len(np.unique(values)) >= len(values) / 2
