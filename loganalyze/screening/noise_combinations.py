"""Which combinations of trend, wander and noise a series is weighed as, and how likely each is.

See `noise_estimation` for the parts and the sources.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from loganalyze.screening import spectra

Floats = NDArray[np.float64]

MEANDERS_S = (math.inf, 30.0, 12.0, 5.0)
"""Times within which a trend returns to its level that are weighed [s]; infinite: never."""
WANDERS_S = (1.5, 4.0, 10.0)
"""Correlation times of a wander that are weighed [s]."""
WANDERS = (0.25, 1.0, 4.0, 16.0, 64.0, 256.0)
"""Variances of a wander that are weighed, white noise being 1."""
GUST_S, GUSTS = 4.0, (0.5, 2.0, 8.0)
"""The same beside filtered noise of known size: correlation time [s], variances by that size."""
FILTERED = tuple(2.0**power for power in range(-2, 13))
"""Variances of filtered noise that are weighed, white noise being 1."""
KNOWN_WITHIN = 0.4
"""Standard deviation of the logarithm of filtered noise's variance about the one known."""
P_WANDER, P_LEVEL = 0.15, 0.5
"""Probability beforehand of a wander, and without one of a level that doesn't move."""
SMOOTHER = 0.7
"""A trend half as fast again is by this less likely beforehand."""
AT_ONCE = 256
"""Combinations whose spectra are computed at a time."""


@dataclass(frozen=True, slots=True)
class Filtered:
    """Noise whose size is known: standard deviation, and correlation time above 0 [s]."""

    standard: float
    correlation_s: float


@dataclass(frozen=True, eq=False)
class Parts:
    """Combinations of a series' parts, one a row: variances, white noise being 1.

    ``sizes`` : float64[g, b + c + 1], how much there is of each spectrum of `shapes`: of trends
    with the b ``bends`` (see `spectra.trend`), of wanders with the c ``keeps`` (correlation from
    sample to sample), and of filtered noise with ``filtered_keep``. A combination has one trend
    and one wander at most.
    """

    sizes: Floats
    bends: tuple[float, ...]
    keeps: tuple[float, ...]
    filtered_keep: float
    usual: Floats
    """Logarithm of how likely a combination is beforehand among its like."""
    group: int = 1
    """Values are averages of so many samples."""

    @property
    def trends(self) -> Floats:
        """Variances of the steps of the integrated random walks, float64[g, b]."""
        return self.sizes[:, : len(self.bends)]

    @property
    def wanders(self) -> Floats:
        """Variances of the wanders, float64[g, c]."""
        return self.sizes[:, len(self.bends) : -1]

    @property
    def filtered(self) -> Floats:
        """Variance of filtered noise, float64[g]."""
        return self.sizes[:, -1]

    @cached_property
    def wander(self) -> Floats:
        """Variance of the wander, whichever it is, float64[g]."""
        return np.asarray(self.wanders.sum(axis=1))

    @cached_property
    def different_wanders(self) -> tuple[Floats, NDArray[np.intp]]:
        """The different wanders, float64[w, c], and which one each combination has, intp[g]."""
        different, which = np.unique(self.wanders, axis=0, return_inverse=True)
        return different, which.ravel()

    def shapes(self, omega: Floats) -> Floats:
        """Spectra of unit size, float64[b + c + 1, k]."""
        found = np.empty((len(self.bends) + len(self.keeps) + 1, len(omega)))
        for shape, bend in zip(found, self.bends, strict=False):
            shape[:] = spectra.trend(omega, bend)
        found[len(self.bends) :] = spectra.wanders(
            omega, (*self.keeps, self.filtered_keep), self.group)
        return found


@dataclass(frozen=True, eq=False)
class Weighing:
    """What series of one length, interval and known noise are weighed with.

    ``first`` : the first frequency of each band; ``inverse`` : float64[g, bands], one over the
    spectrum; ``spread`` : float64[g], half the sum of its logarithms; ``beforehand`` : float64[g],
    logarithm of each combination's probability beforehand.
    """

    parts: Parts
    first: NDArray[np.intp]
    inverse: Floats
    spread: Floats
    beforehand: Floats


def shared_length(n: int) -> int:
    """Return the greatest length up to `n` at which series are weighed.

    At most an eighth is left off of more than 64, a sixteenth of more than 128: stretches then
    share their weighings, which take longer to make than to use, and lengths of small factors are
    transformed many times faster than primes.
    """
    step = max(8, 1 << (n.bit_length() - 5)) if n > 64 else 1
    return n - n % step


@lru_cache(maxsize=32)
def weighing(n: int, interval: float, known_s: float | None, group: int) -> Weighing:
    """Return what series are weighed with; the stretches of a flight and a fleet share it.

    `known_s` : correlation time of filtered noise whose size is known [s].
    """
    first = spectra.bands(n)
    members = np.diff(np.append(first, n))
    middle = np.pi / n * (first + 0.5 * (members - 1))
    parts = (_alone(n, interval, group) if known_s is None
             else _beside(n, interval, known_s, group))
    shapes, count = parts.shapes(middle), len(parts.sizes)
    spread, inverse = np.empty(count), np.empty((count, len(first)))
    # Some at a time: large blocks of memory taken anew cost more than the arithmetic.
    for some in (slice(start, start + AT_ONCE) for start in range(0, count, AT_ONCE)):
        spectrum = 1.0 + parts.sizes[some] @ shapes
        spread[some] = 0.5 * (np.log(spectrum) @ members)
        np.reciprocal(spectrum, out=inverse[some])
    gusty, still = parts.wander > 0, parts.trends.sum(axis=1) == 0
    beforehand = np.empty(len(parts.sizes))
    for which, share in ((gusty, P_WANDER), (~gusty & still, (1 - P_WANDER) * P_LEVEL),
                         (~gusty & ~still, (1 - P_WANDER) * (1 - P_LEVEL))):
        usual = np.exp(parts.usual[which])
        beforehand[which] = parts.usual[which] + math.log(
            share / max(float(usual.sum()), 1e-300))
    return Weighing(parts, first, inverse, spread, beforehand)


def _trends(n: int, interval: float) -> tuple[tuple[float, ...], Floats, Floats]:
    """Bends of the trends that are weighed, sizes float64[k, b] and prior; the first is none."""
    count = math.ceil(math.log(n) / math.log(1.5))
    corner = 2.0 - 2.0 * np.cos(np.minimum(np.pi / n * 1.5 ** np.arange(count), np.pi))
    bends = tuple((interval / seconds) ** 2 for seconds in MEANDERS_S
                  if math.isinf(seconds) or 2 * interval < seconds < n * interval / 3)
    sizes = np.zeros((1 + count * len(bends), len(bends)))
    for k, bend in enumerate(bends):
        # Where trend and white noise are as strong as each other.
        sizes[1 + k * count : 1 + (k + 1) * count, k] = (corner + bend) ** 2
    usual = np.append(0.0, np.tile(np.arange(count) * math.log(SMOOTHER), len(bends)))
    return bends, sizes, usual


def _alone(n: int, interval: float, group: int) -> Parts:
    """All combinations of trend and wander that are weighed."""
    keeps = tuple(math.exp(-interval / group / seconds) for seconds in WANDERS_S
                  if 2 * interval < seconds < n * interval / 4)
    bends, trends, usual = _trends(n, interval)
    some = np.kron(np.array(WANDERS)[:, None], np.eye(len(keeps)))
    winds = np.concatenate([np.zeros((1, len(keeps))), some])
    sizes = np.hstack([np.repeat(trends, len(winds), axis=0), np.tile(winds, (len(trends), 1)),
                       np.zeros((len(trends) * len(winds), 1))])
    return Parts(sizes, bends, keeps, 0.0, np.repeat(usual, len(winds)), group)


def _beside(n: int, interval: float, known_s: float, group: int) -> Parts:
    """All combinations of trend, gusts and filtered noise that are weighed."""
    keep = math.exp(-interval / group / known_s)
    (bends, trends, usual), filtered = _trends(n, interval), np.array(FILTERED)
    gusts = np.array([0.0, *GUSTS])
    i, j, k = (index.ravel() for index in np.indices((len(trends), len(gusts), len(filtered))))
    # Trends are weighed by the strength of all slow noise.
    slow = 1.0 + filtered * (1 + keep) / (1 - keep) / group
    sizes = np.column_stack([trends[i] * slow[k, None], gusts[j] * filtered[k], filtered[k]])
    return Parts(sizes, bends, (math.exp(-interval / group / GUST_S),), keep, usual[i], group)
