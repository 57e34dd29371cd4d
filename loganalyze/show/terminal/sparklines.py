"""A channel in one line of text, that hides neither its extremes nor its gaps."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

BLOCKS = "▁▂▃▄▅▆▇█"
"""Eight levels, the lowest first."""
PLAIN = "_.-~=+*#"
"""The same for a terminal that knows no blocks."""
NO_VALUE, NO_SAMPLE = "·", " "
"""A stretch of samples without a value, and a stretch of time without a sample."""
PLAIN_NO_VALUE = "?"


def sparkline(time: NDArray[np.float64], values: NDArray[np.float64], width: int,
              blocks: str = BLOCKS, within: tuple[float, float] | None = None) -> str:
    """Draw values against time in a line of text.

    Parameters
    ----------
    time : float64[n]  [s]
        Rising.
    values : float64[n]
        In any unit; NaN where missing.
    width : int
        Characters at most, at least 2; a short log takes fewer, and an odd number loses one where
        samples share places.
    blocks : str
        The levels' characters, the lowest first.
    within : (float, float), optional
        The values of the lowest and the highest level; those of the channel if absent.

    Returns
    -------
    str
        Time runs evenly along the line. Where several samples share a place it takes two
        characters, their lowest and their highest value in the order in which they came, so that
        no extreme is lost. `NO_VALUE` stands where samples have no value, `NO_SAMPLE` where
        there is no sample.
    """
    if not len(time):
        return ""
    known = values[np.isfinite(values)]
    low, high = within or ((known.min(), known.max()) if len(known) else (0.0, 0.0))
    # The last sample stands for a step, too, and has a place to itself.
    step = float(np.median(np.diff(time))) if len(time) > 1 else 1.0
    span = float(time[-1] - time[0]) + step
    places = width = min(width, max(round(span / step), 1))
    edges = _edges(time, span, places)
    if (np.diff(edges) > 1).any():
        places = max(width // 2, 1)
        edges = _edges(time, span, places)
    each = width // places
    drawn = []
    for first, stop in pairwise(edges):
        here = values[first:stop]
        seen = here[np.isfinite(here)]
        if not len(here):
            drawn.append(NO_SAMPLE * each)
        elif not len(seen):
            drawn.append((NO_VALUE if blocks == BLOCKS else PLAIN_NO_VALUE) * each)
        else:
            pair = (seen[0],) if each == 1 else _ends(seen)
            drawn.append("".join(_level(value, low, high, blocks) for value in pair))
    return "".join(drawn)


def _edges(time: NDArray[np.float64], span: float, places: int) -> NDArray[np.intp]:
    """Return the rows at which each place begins, and the end of the last."""
    inner = time[0] + span * np.arange(1, places) / places
    return np.concatenate([[0], np.searchsorted(time, inner), [len(time)]])


def _ends(seen: NDArray[np.float64]) -> tuple[float, float]:
    low, high = int(seen.argmin()), int(seen.argmax())
    return (seen[low], seen[high]) if low <= high else (seen[high], seen[low])


def _level(value: float, low: float, high: float, blocks: str) -> str:
    """Return the level of a value; only the least is the lowest, only the greatest the highest."""
    if not high > low:
        return blocks[len(blocks) // 2 - 1]
    if value <= low or value >= high:
        return blocks[0 if value <= low else -1]
    return blocks[1 + min(int((value - low) / (high - low) * (len(blocks) - 2)), len(blocks) - 3)]
