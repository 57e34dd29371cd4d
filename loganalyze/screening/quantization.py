"""The quantization step of recorded values, and whether the recorder truncates or rounds."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_SLACK = 0.05
"""Greatest distance from a multiple of the step [steps], to allow for float32 and conversions."""
_LOOKS = 50_000
"""Number of samples from which a step is estimated."""
_LEAST = 200
"""Least number of samples from which a bias is estimated."""
_CLEAR = 0.2
"""Greatest distance [steps] of a mean remainder from that of rounding (0) or truncating (0.5); one
between may be a difference of the two sources."""
_FLAT = (0.22, 0.36)
"""Range of the remainder's standard deviation [steps]; 1 / sqrt(12) for quantization alone."""


def step_of(values: Floats, stated: float = float("nan")) -> float:
    """Return the quantization step [unit of `values`]: `stated` if above 0, else estimated.

    `values` : float64[n], NaN left out. The estimate is the smallest difference of two values, if
    all differences are multiples of it; else NaN, as for averaged or constant values.
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
    """Return whether a recorder truncates or rounds, by a finer source of the same quantity.

    Keys: ``recorder`` : "truncates", "rounds" or "not determinable"; ``by`` : the finer channel;
    ``left`` : the mean remainder [steps], 0 for rounding and 0.5 for truncating. `ways` : functions
    of rows that return the other sources, by channel.
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
    """Return at most about `_LOOKS` of the values, evenly spaced."""
    return values[:: max(len(values) // _LOOKS, 1)]


def _finer(values: Floats, step: float) -> bool:
    """Whether values have a step of at most a quarter of `step`, or hardly ever repeat."""
    return step_of(values) <= step / 4 or len(np.unique(values)) >= len(values) / 2
