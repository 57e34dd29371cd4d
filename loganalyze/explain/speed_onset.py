"""Onset of a speed reduction: smoothed speeds around an instant, their noise, and their corner."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from loganalyze.events.analysis import Analysis
from loganalyze.explain.energy_replay import local_fits
from loganalyze.record.intervals import HELD_INTERVALS

Floats = NDArray[np.float64]

LEAST_BEND = 0.1
"""Least change of the acceleration that counts [m/s2]."""

LEFT_BY_BEND = 0.2
"""Of the sum of squares; flights of known dynamics leave a hundredth, noise .3 to .9."""


def smoothed_twice(grid: Floats, time: Floats, speed: Floats, width: float
              ) -> tuple[Floats, Floats, float]:
    """Smooth twice: what the first smoothing leaves of a sharp peak is smoothed and added.

    The shares of noise are those of one smoothing times 1.3, as for a parabola in the middle of
    its samples. (J. W. Tukey, "Exploratory Data Analysis" (1977), section 16: twicing.)
    """
    smooth, share, noise = local_fits(grid, time, speed, width)
    left = speed - local_fits(time, time, speed, width)[0]
    return smooth + local_fits(grid, time, left, width)[0], 1.3 * share, noise


def unbroken(time: Floats, known: NDArray[np.bool_], worst: int) -> tuple[int, int]:
    """Return the samples around the worst one without long gaps between them."""
    places = np.flatnonzero(known)
    if not len(places):
        return worst, worst + 1
    usual = float(np.median(np.diff(time))) if len(time) > 1 else 1.0
    wide = np.flatnonzero(np.diff(time[places]) > max(2 * HELD_INTERVALS * usual, 1e-9))
    before = wide[time[places[wide + 1]] <= time[min(worst, len(time) - 1)]]
    after = wide[time[places[wide]] >= time[min(worst, len(time) - 1)]]
    start = places[before[-1] + 1] if len(before) else places[0]
    stop = places[after[0]] if len(after) else places[-1]
    return int(start), int(stop) + 1


def configuration_moved(analysis: Analysis, rows: NDArray[np.intp]) -> bool:
    """Whether flaps or gear moved."""
    log = analysis.log
    for name, least in (("flap", 0.02), ("flap_lever", 0.02), ("gear_down", 0.5)):
        if name in log:
            values = log.aligned(name)[rows]
            if np.nanmax(values, initial=-np.inf) - np.nanmin(values, initial=np.inf) > least:
                return True
    return False


def unsteadiness(time: Floats, speed: Floats, peak: int, until: float) -> float:
    """Return how far smooth speeds scatter about a parabola through the 30 s before an instant.

    Gusts and slow noise pass the smoothing; white noise alone would make them look certain.
    """
    some = (time >= time[peak] - 30.0) & (time <= until)
    if some.sum() < 8:
        return 0.0
    t, v = time[some] - until, speed[some]
    return float(np.sqrt(np.sum((v - np.polyval(np.polyfit(t, v, 2), t)) ** 2) / (len(t) - 3)))


def bend(time: Floats, speed: Floats, peak: int) -> float:
    """Return when the speed bent down before or at its peak [s]; NaN where it didn't.

    Two parabolas that meet in a corner are fitted to the 30 s before and the 12 s after the peak,
    the corner where the sum of squares is least. It is no bend where it leaves more than
    LEFT_BY_BEND of what one parabola leaves: noise has corners, too.
    """
    some = (time >= time[peak] - 30.0) & (time <= time[peak] + 12.0)
    t, v = time[some] - time[peak], speed[some]
    least, bend, turn = np.inf, float("nan"), 0.0
    for corner in np.arange(max(t[0] + 5.0, -20.0), min(t[-1] - 3.0, 4.0), 0.5):
        after = np.clip(t - corner, 0.0, None)
        terms = np.column_stack([np.ones_like(t), t, t**2, after, after**2])
        fitted, _, _, _ = np.linalg.lstsq(terms, v, rcond=None)
        squares = float(np.sum((v - terms @ fitted) ** 2))
        if squares < least:
            least, bend, turn = squares, corner + float(time[peak]), float(fitted[3])
            reach = min(8.0, float(t[-1]) - corner)
            turn += float(fitted[4]) * reach
    parabola = np.vander(t, 3)
    plain = float(np.sum((v - parabola @ np.linalg.lstsq(parabola, v, rcond=None)[0]) ** 2))
    return bend if turn < -LEAST_BEND and least < LEFT_BY_BEND * plain else float("nan")
