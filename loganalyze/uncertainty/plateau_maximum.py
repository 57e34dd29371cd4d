"""The greatest true excess of a stretch in which many samples are as high as the greatest.

There the greatest sample is the greatest of the noise: the more samples, the further above the
truth. So the stretch is separated into motion and noise (`screening.noise_estimation`), courses of
the true excess that fit the samples are drawn, and each course's own greatest value is taken: the
posterior of the maximum by simulation. The draws start from one fixed seed.

References
----------
.. [1] Durbin and Koopman, Biometrika 89 (2002), 603 (drawing states given the samples; here in
   the frequency domain, where the draws are independent).
.. [2] Widrow and Kollar, Quantization noise, Cambridge University Press 2008, chapter 9 (what is
   left of the rounding's error where noise spreads the values over steps).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray

from loganalyze.screening import spectra
from loganalyze.screening.noise_combinations import Filtered, shared_length
from loganalyze.screening.noise_estimation import Fit, despiked, extended

Floats = NDArray[np.float64]

PAIRS, SEED, AT_ONCE = 60, 20, 7680
"""Pairs of courses drawn, the seed of the draws, and how many values at once: the system needn't
clear small blocks of memory, which takes longer than the drawing."""
FEWEST = 5
"""The fewest samples that are separated into motion and noise."""
MOST = 512
"""More samples than this are averaged in groups: the noise's average is as good as the noise."""
SPAN_S, HIGH, QUIET_S = 2.0, 3.0, 30.0
"""A stretch holds what lies, averaged over about 2 s, within 3 standard deviations of its top,
down to no such sample for 30 s."""
TRIMMED = 0.2
"""Its ends are where the average first and last reaches this quantile: no flank is left."""
BESIDE = 2
"""It reaches so many samples to either side of the greatest at least."""


@dataclass(frozen=True, slots=True)
class Greatest:
    """The greatest true excess: mean and standard deviation, and the top's bend.

    ``curvature`` : coefficient of t^2 at the top [unit/s^2]; ``samples`` : how many were used.
    """

    excess: float
    error: float
    curvature: float
    samples: int


def stretch(excess: Floats, worst: int, interval: float, white: float, wander: float, step: float
            ) -> tuple[int, int]:
    """Return the rows (half-open) of the plateau about `worst`, among samples without a gap.

    `white`, `wander` : the standard deviations of the noise, in the unit of `excess`.
    """
    count = min(max(round(SPAN_S / interval), 1), 8) | 1
    padded = extended(excess, count // 2)
    average = np.convolve(padded, np.full(count, 1 / count), "valid")
    top = average[max(worst - count, 0) : worst + count + 1].max()
    depth = HIGH * math.hypot(white / math.sqrt(count), wander) + 0.5 * step
    high = np.flatnonzero(average >= top - depth)
    apart = np.diff(high) > max(round(QUIET_S / interval), 3)
    here = min(int(np.searchsorted(high, worst)), len(high) - 1)
    before, after = np.flatnonzero(apart[:here]), np.flatnonzero(apart[here:])
    first = int(high[before[-1] + 1] if len(before) else high[0])
    last = int(high[here + after[0]] if len(after) else high[-1])
    inside = average[first : last + 1]
    reached = np.flatnonzero(inside >= np.quantile(inside, TRIMMED))
    first, last = first + int(reached[0]), first + int(reached[-1])
    return (max(min(first, worst - BESIDE), 0),
            min(max(last, worst + BESIDE), len(excess) - 1) + 1)


def greatest(excess: Floats, interval: float, step: float, known: Filtered | None = None
             ) -> Greatest:
    """Estimate the greatest true excess of a plateau.

    Parameters
    ----------
    excess : float64[m]  [kt or Mach]
        Its samples, an `interval` [s] apart, without NaN, at least `FEWEST` of them.
    step : float
        The recorder's step, in the same unit; 0 where there is none.
    known : Filtered, optional
        Noise of known size. Without it all that is slower than white noise counts as motion.

    Returns
    -------
    Greatest
        Gusts count as motion: they are what the aircraft met.
    """
    group = -(-len(excess) // MOST)
    values = despiked(excess, step)
    count = shared_length(len(values) // group)
    values = values[: count * group].reshape(-1, group).mean(axis=1)
    fit = Fit.of(values, interval * group, step / math.sqrt(12 * group), known,
                 group)
    tops, mean = _tops(fit)
    white = math.sqrt(float(fit.weight @ fit.scale) * group)
    left = rounding_left(step, math.hypot(white, known.standard if known else 0.0))
    at, reach = int(mean.argmax()), max(1, round(1 / (interval * group)))
    bend = 0.0
    if reach <= at < len(mean) - reach:
        bend = float(mean[at - reach] - 2 * mean[at] + mean[at + reach]) / 2
    return Greatest(float(tops.mean()), math.hypot(float(tops.std()), left),
                    bend / (reach * interval * group) ** 2, len(values))


def rounding_left(step: float, scatter: float) -> float:
    """Standard deviation of the rounding's error that averaging leaves [2]_.

    `scatter` : the samples' standard deviation, rounding included. Without noise the values of
    a level stay on one step, and the whole step / sqrt(12) stays with them; noise of half a
    step spreads them over several, and nothing does.
    """
    if not step > 0:
        return 0.0
    noise = max(scatter**2 / step**2 - 1 / 12, 0.0)
    orders = np.arange(1, 8)
    waves = np.exp(-4 * math.pi**2 * orders**2 * noise) / (2 * math.pi**2 * orders**2)
    return step * math.sqrt(float(waves.sum()))


def _tops(fit: Fit) -> tuple[Floats, Floats]:
    """Draw courses of the true excess given the samples.

    They come in pairs that lie as far above the likeliest course as below it, so that half as many
    are computed, and their mean is that course. Returns each one's greatest value,
    float64[2 * PAIRS], and the mean course, float64[n].
    """
    n = len(fit.line)
    normals, of_level, of_scale = _draws(fit.freedom)
    # Each combination as often as it is likely: one pair from each of equal parts of the weights.
    rows = np.searchsorted(np.cumsum(fit.weight), (np.arange(PAIRS) + 0.5) / PAIRS)
    rows = np.minimum(rows, len(fit.weight) - 1)
    kinds, which = np.unique(rows, return_inverse=True)
    size = np.sqrt(fit.scale[rows] * of_scale)
    sizes = fit.parts.sizes[kinds]
    shapes = fit.parts.shapes(np.pi / n * np.arange(1, n, dtype=np.float64))
    motion, noise = sizes[:, :-1] @ shapes[:-1], 1.0 + sizes[:, -1:] * shapes[-1]
    share = motion / (motion + noise)
    spread = np.sqrt(share * noise)
    centre = np.zeros((len(kinds), n))
    np.multiply(share, fit.coefficients[1:], out=centre[:, 1:])
    centre = spectra.from_cosines(centre) + fit.line
    tops = np.empty((2, PAIRS))
    at_once = max(1, AT_ONCE // n)
    for first in range(0, PAIRS, at_once):
        some = slice(first, first + at_once)
        off = np.zeros((len(rows[some]), n))
        np.multiply(normals[some, : n - 1], spread[which[some]], out=off[:, 1:])
        off[:, 1:] *= size[some, None]
        off = spectra.from_cosines(off)
        about = centre[which[some]]
        tops[0, some] = (about + off).max(axis=1)
        tops[1, some] = (about - off).max(axis=1)
    level = 1.0 + sizes[:, -1] * n * _of_mean(fit.parts.filtered_keep, n * fit.parts.group)
    level = size * np.sqrt(level[which] / n) * of_level
    return np.concatenate([tops[0] + level, tops[1] - level]), np.bincount(which) / PAIRS @ centre


@cache
def _normals() -> tuple[Floats, Floats]:
    """Draw standard normal deviates of the coefficients and of the level, the same for every fit.

    Returns float64[PAIRS, MOST] and float64[PAIRS]. Different stretches share them: each estimate
    by itself is as good as with draws of its own.
    """
    rng = np.random.default_rng(SEED)
    return rng.normal(size=(PAIRS, MOST)), rng.normal(size=PAIRS)


@lru_cache(maxsize=MOST)
def _draws(freedom: float) -> tuple[Floats, Floats, Floats]:
    """Return `_normals`, and the factors of the white noise's variance, float64[PAIRS]."""
    rng = np.random.default_rng(SEED + 1)
    return *_normals(), freedom / rng.chisquare(freedom, PAIRS)


def _of_mean(keep: float, n: int) -> float:
    """Variance of the mean of n samples of a first-order process of unit variance."""
    return float((n * (1 - keep**2) - 2 * keep * (1 - keep**n)) / (n * (1 - keep)) ** 2)
