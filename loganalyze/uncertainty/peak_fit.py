"""The peak of an excess between and among its samples: a local quadratic fit.

Window rule: to either side of the greatest sample as many samples as lie within 2 s, but at
least 2 and at most 4, never across a gap or a change of what is judged. If the samples scatter
about the parabola by more than twice what the recorder's steps and the noise of the samples
around explain, the window shrinks, to 2 samples at the least: a parabola must not smooth a gust
away.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FEWEST, MOST, WITHIN_S = 2, 4, 2.0
MISFIT = 2.0
_NAN = float("nan")


@dataclass(frozen=True, slots=True)
class Peak:
    """A fitted peak: ``excess`` and its standard error, ``curvature`` [unit/s^2], samples used.

    ``curvature`` is the coefficient of t^2; NaN where there were too few samples to fit.
    """

    excess: float
    error: float
    curvature: float
    samples: int


def window(first: int, last: int, worst: int, interval: float) -> tuple[int, int]:
    """Return the rows (half-open) of the widest window about `worst` in [first, last]."""
    reach = MOST
    if interval > 0:
        reach = min(max(round(WITHIN_S / interval), FEWEST), MOST)
    return max(first, worst - reach), min(last, worst + reach) + 1


def fit(time: Floats, excess: Floats, worst: int, noise: float) -> Peak:
    """Fit a parabola about the greatest sample and return its peak.

    Parameters
    ----------
    time, excess : float64[m]  [s], [kt or Mach]
        The window's samples, without NaN.
    worst : int
        Index of the greatest sample.
    noise : float
        The independent error of each sample, as a standard uncertainty in the excess's unit.

    Returns
    -------
    Peak
        With fewer than 5 samples the greatest sample itself and the noise.

    References
    ----------
    JCGM 100:2008, H.3 (least squares and its standard error), here of second degree.
    """
    best = Peak(float(excess[worst]), noise, _NAN, 1)
    for reach in range(MOST, FEWEST - 1, -1):
        first, stop = max(0, worst - reach), min(len(time), worst + reach + 1)
        if stop - first > 2 * FEWEST:
            best, scatter = _parabola(time[first:stop] - time[worst], excess[first:stop], noise)
            if scatter <= MISFIT * noise:
                break
    return best


def _parabola(t: Floats, y: Floats, noise: float) -> tuple[Peak, float]:
    scale = np.ptp(t)
    design = np.stack([np.ones(len(t)), t / scale, (t / scale) ** 2], axis=1)
    covariance = np.linalg.inv(design.T @ design)
    a, b, c = covariance @ (design.T @ y)
    residual = y - design @ np.array([a, b, c])
    scatter = float(np.sqrt(residual @ residual / (len(t) - 3)))
    x = 0.0 if c >= 0 else float(np.clip(-b / (2 * c), t[0] / scale, t[-1] / scale))
    at = np.array([1.0, x, x * x])
    error = max(scatter, noise) * float(np.sqrt(at @ covariance @ at))
    if np.ptp(design @ np.array([a, b, c])) < 2 * np.sqrt(12) * noise:
        # Values that stay on one or two steps share their rounding: it doesn't average out.
        error = max(error, noise)
    return Peak(float(at @ np.array([a, b, c])), error, float(c / scale**2), len(t)), scatter


def missed(time: Floats, excess: Floats, worst: int) -> tuple[float, float]:
    """Return what a peak between samples may have added to the greatest one.

    Parameters
    ----------
    time, excess : float64[m]  [s], [kt or Mach]
        Samples without a gap among them; the acceleration is the greatest over all of them.
    worst : int
        Index of the greatest sample.

    Returns
    -------
    tuple of float
        By the parabola through the samples about the greatest one (for even steps
        (y+ - y-)^2 / (8 |y+ - 2 y0 + y-|)), and the greatest |acceleration| dt^2 / 8. NaN where
        a neighbour is missing. Gusts faster than the sampling can't be bounded.
    """
    if len(time) < 3:
        return _NAN, _NAN
    step = np.diff(time)
    slope = np.diff(excess) / step
    acceleration = 2 * np.diff(slope) / (step[1:] + step[:-1])
    beside = max(step[max(worst - 1, 0)], step[min(worst, len(step) - 1)])
    bound = float(np.abs(acceleration).max() * beside**2 / 8)
    if not 0 < worst < len(time) - 1:
        return _NAN, bound
    bend = acceleration[worst - 1]
    tangent = (slope[worst - 1] * step[worst] + slope[worst] * step[worst - 1]) / (
        step[worst] + step[worst - 1])
    added = tangent**2 / (2 * abs(bend)) if bend < 0 else 0.0
    return float(added), bound
