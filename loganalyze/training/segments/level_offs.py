"""Levels within a climb or a descent, which belong neither to it nor to the cruise."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from loganalyze.record.arrays import Mask
from loganalyze.training.segments.flown_speeds import FlownSpeeds
from loganalyze.training.segments.segment_results import LevelOff

LONGEST_S = 600.0
"""[s] A longer level is flown for its own sake (the program's own definition)."""
ONWARD_FT = 4500.0
"""[ft] So much is climbed after it, or was descended before it: more than a change of cruise level,
2,000 or 4,000 ft (common practice, no source)."""


def level_offs(speeds: FlownSpeeds, sign: NDArray[np.int64], free: Mask) -> tuple[LevelOff, ...]:
    """Return the levels within climbs and descents.

    Parameters
    ----------
    speeds : FlownSpeeds
    sign : int64[n]
        1 in climbs, -1 in descents, 0 in levels by cell.
    free : bool[n]
        Cells that are en route, and outside any speed by configuration.
    """
    runs = np.split(np.arange(len(sign)), np.flatnonzero(np.diff(sign) != 0) + 1)
    found = []
    for before, level, after in zip(runs, runs[1:], runs[2:], strict=False):
        way = int(sign[before[0]])
        seconds = float(speeds.time[level[-1]] - speeds.time[level[0]])
        if (sign[level[0]] != 0 or way not in (1, -1) or sign[after[0]] != way
                or seconds > LONGEST_S or not free[level].all()):
            continue
        beyond = slice(after[0], None) if way > 0 else slice(0, level[0])
        heights = speeds.altitude_ft[beyond]
        heights = heights[np.isfinite(heights)]
        known = speeds.altitude_ft[level][np.isfinite(speeds.altitude_ft[level])]
        if not len(heights) or not len(known) or (
                heights.max() - np.median(known) < ONWARD_FT):
            continue
        found.append(LevelOff("climb" if way > 0 else "descent", float(speeds.time[level[0]]),
                              float(speeds.time[level[-1]]), float(np.median(known))))
    return tuple(found)
