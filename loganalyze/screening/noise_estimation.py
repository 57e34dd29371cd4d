"""The noise of a recorded speed or margin, estimated from the samples themselves.

A recorded series is taken as the sum of up to four parts, separated by their spectra:

- a *trend*, the aircraft's own smooth motion: level and slope that wander, an integrated random
  walk (spectrum ~ frequency^-4), or the same held about a level; perhaps none;
- a *wander*: a first-order autoregressive process that forgets itself over some seconds. Gusts
  along the flight path have this spectrum [3]_, and so has sensor noise that a filter has
  smoothed: one channel alone can't separate them;
- *white* noise, independent at every sample: sensor and recorder noise, rounding included, and
  gusts faster than the sampling;
- *filtered* noise of a size and correlation time that are known from elsewhere.

The samples' discrete cosine transform has nearly independent coefficients whose variances are
the spectrum (Whittle's likelihood [2]_). The parts' sizes are weighed on a fixed grid, so that the
same samples always give the same answer.

References
----------
.. [1] Harvey, Forecasting, structural time series models and the Kalman filter, Cambridge
   University Press 1989, 2.3.2 and 4.3 (local linear trend, likelihood in the frequency domain).
.. [2] Whittle, Arkiv for Matematik 2 (1953), 423 (the likelihood).
.. [3] MIL-HDBK-1797, appendix A, 4.9.1 (Dryden's spectrum of longitudinal gusts is of first
   order; at 250 kt and medium altitude its 1750 ft are 4 s).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.screening import spectra
from loganalyze.screening.noise_combinations import (
    KNOWN_WITHIN,
    P_WANDER,
    Filtered,
    Parts,
    weighing,
)

Floats = NDArray[np.float64]

__all__ = ["FEWEST", "MOST", "SLOPED", "Filtered", "Fit", "Noise", "despiked", "extended",
           "noise_near", "noise_of", "shared_wander", "unbroken"]

FEWEST = 8
"""The fewest samples from which noise is estimated."""
MOST = 4096
"""More samples than this don't improve the estimate."""
SLOPED = 2.5
"""A slope is one from so many of its standard errors on."""


@dataclass(frozen=True, slots=True)
class Noise:
    """Scatter of a series, in the series' unit.

    ``white`` : standard deviation of the independent errors, rounding included;
    ``wander`` : that of what is correlated over ``wander_s`` [s] (real gusts or filtered noise:
    one channel can't tell), 0 where the samples show none (``wander_s`` is then 0);
    ``samples`` : how many were used; 0 where they were too few and ``white`` is the rounding's.
    """

    white: float
    wander: float
    wander_s: float
    samples: int

    @property
    def standard(self) -> float:
        """Standard deviation of a single sample about the trend."""
        return math.hypot(self.white, self.wander)


def noise_near(time: Floats, values: Floats, step: float = 0.0) -> Noise:
    """Estimate the noise of a series, such as one limit's margin near the limit.

    Parameters
    ----------
    time : float64[m]  [s]
        Rising. Half a minute to some minutes about the stretch in question are best.
    values : float64[m]  [any unit, such as kt or Mach]
        The recorded series; NaN where nothing was recorded.
    step : float
        The recorder's step in the unit of `values`; 0 where there is none.

    Returns
    -------
    Noise
        From the longest run of samples without a gap (a gap is more than 1.5 usual intervals).
        ``white`` is at least step / sqrt(12), which is all that is said of fewer than 8 samples
        (``samples`` is then 0). Single outliers are left out.

    Notes
    -----
    Two samples of a steady speed differ by more than 2.8 * ``white`` once in twenty.
    """
    least = step / math.sqrt(12.0)
    first, stop, usual = unbroken(time, values)
    if stop - first < FEWEST:
        return Noise(least, 0.0, 0.0, 0)
    run = values[first:stop][:MOST]
    found = Fit.of(despiked(run, step), usual, least).noise
    return replace(found, white=max(found.white, least))


def noise_of(values: Floats) -> float:
    """Return the scatter from sample to sample that no smooth motion explains.

    From the median of the absolute third differences, which a parabola doesn't move and single
    gusts hardly: median / (0.6745 sqrt(20)) for normal scatter. 0 for fewer than 8 samples.
    """
    if len(values) < 8:
        return 0.0
    return float(np.median(np.abs(np.diff(values, 3))) / (0.6745 * np.sqrt(20.0)))


def unbroken(time: Floats, values: Floats, at: int | None = None) -> tuple[int, int, float]:
    """Return a run of samples without a gap or NaN (half-open) and its interval [s].

    The run is the longest, or the one that holds the sample `at`. A gap is more than 1.5 usual
    intervals. Without two known samples the run is empty, and so it is where `at` isn't known.
    """
    known = np.flatnonzero(~np.isnan(values))
    if len(known) < 2:
        return 0, 0, 0.0
    steps = np.diff(time[known])
    usual = float(np.median(steps))
    ends = np.flatnonzero((steps > HELD_INTERVALS * usual) | (np.diff(known) > 1)) + 1
    edges = np.concatenate([[0], ends, [len(known)]])
    run = int(np.diff(edges).argmax())
    if at is not None:
        place = int(np.searchsorted(known, at))
        if place == len(known) or known[place] != at:
            return 0, 0, usual
        run = int(np.searchsorted(edges, place, side="right")) - 1
    return int(known[edges[run]]), int(known[edges[run + 1] - 1]) + 1, usual


@dataclass(frozen=True, eq=False)
class Fit:
    """A series' parts: combinations and how likely each is.

    ``weight`` : float64[g], sum 1; ``scale`` : float64[g], the white noise's variance, known with
    ``freedom`` degrees; ``line`` : float64[n], the level or straight line that was taken off,
    ``coefficients`` : float64[n], the cosine transform of what is left; ``interval`` [s].
    """

    parts: Parts
    weight: Floats
    scale: Floats
    freedom: float
    line: Floats
    coefficients: Floats
    interval: float

    @classmethod
    def of(cls, values: Floats, interval: float, least: float, known: Filtered | None = None,
           group: int = 1) -> Fit:
        """Weigh the parts of values an `interval` [s] apart, without NaN, at least 5 of them.

        `least` : standard deviation of the rounding error alone, in the unit of `values`; it
        counts as one sample of white noise. `known` : filtered noise of known size. `group` :
        the values are averages of so many samples each.
        """
        n = len(values)
        line = _line(values, interval, least, known)
        coefficients = spectra.cosines(values - line)
        # Hundredths of a second change nothing, and would keep stretches from sharing.
        known_s = known and max(round(known.correlation_s, 1), 0.1)
        prepared = weighing(n, interval, known_s, group)
        parts = prepared.parts
        power = np.add.reduceat(coefficients[1:] ** 2, prepared.first - 1)
        # Level and slope were taken off, and the rounding is one sample more.
        freedom = n - 1.0
        floor = max(least**2, 1e-18 * float(np.abs(values).max()) ** 2, 1e-30)
        scale = (floor + prepared.inverse @ power) / freedom
        log = -0.5 * freedom * np.log(scale) - prepared.spread
        log += prepared.beforehand
        if known is not None:
            sizes = np.log(scale * parts.filtered / known.standard**2)
            log -= 0.5 * (sizes / KNOWN_WITHIN) ** 2
        weight = np.exp(log - log.max())
        return cls(parts, weight / weight.sum(), scale, freedom, line, coefficients, interval)

    @property
    def noise(self) -> Noise:
        """The parts' sizes, averaged over the grid: with wander, or without if that is likelier."""
        gusty = self.parts.wander > 0
        some = self.weight * gusty
        samples = len(self.coefficients)
        if some.sum() < 0.5:
            none = self.weight * ~gusty
            return Noise(math.sqrt(none @ self.scale / none.sum()), 0.0, 0.0, samples)
        some = some / some.sum()
        return Noise(math.sqrt(some @ self.scale),
                     math.sqrt(some @ (self.scale * self.parts.wander)),
                     float(some @ self.correlation_s(self.parts.wanders)), samples)

    def correlation_s(self, wanders: Floats) -> Floats:
        """Correlation time of wanders of the sizes float64[m, c] [s], float64[m]; 0 of none."""
        seconds = -self.interval / self.parts.group / np.log(self.parts.keeps)
        return np.asarray((wanders > 0) @ seconds)


def shared_wander(fits: Sequence[Fit], slower_s: float, most: float) -> tuple[float, float]:
    """Return the wander that stretches of one length have in common, each with a trend of its own.

    Parameters
    ----------
    fits : sequence of Fit
        Of stretches of the same length and interval.
    slower_s, most : float
        A trend moves by at most this standard deviation [the series' unit] within less than so
        many seconds: what does isn't the aircraft's own motion.

    Returns
    -------
    tuple of float
        Its standard deviation and correlation time [s]; 0, 0 where none is likelier.
    """
    parts = fits[0].parts
    wanders, pair = parts.different_wanders
    wander = wanders.sum(axis=1)
    some = wander > 0
    if not some.any():
        return 0.0, 0.0
    prior = np.where(some, P_WANDER / some.sum(), 1 - P_WANDER)
    # What a trend moves at frequencies that are too fast for it, white noise's variance being 1.
    n = len(fits[0].coefficients)
    omega: Floats = np.pi / n * np.arange(1, n, dtype=np.float64)
    omega = omega[omega > 2 * math.pi * fits[0].interval / slower_s]
    fast = parts.trends @ np.array([spectra.trend(omega, bend).sum() / n for bend in parts.bends])
    likely = [fit.weight * (fit.scale * fast <= most**2) for fit in fits]
    found = [np.bincount(pair, weights) for weights in likely]
    log = sum((np.log(np.maximum(density, 1e-300)) for density in found), np.zeros(len(wander)))
    log -= (len(fits) - 1) * np.log(prior)
    share = np.exp(log - log.max())
    if share[some].sum() < 0.5 * share.sum():
        return 0.0, 0.0
    share = share * some / share[some].sum()
    scale = np.mean([np.bincount(pair, weights * fit.scale) / np.maximum(each, 1e-300)
                     for weights, each, fit in zip(likely, found, fits, strict=True)], axis=0)
    return (math.sqrt(float(share @ (scale * wander))),
            float(share @ fits[0].correlation_s(wanders)))


def despiked(values: Floats, step: float) -> Floats:
    """Return values with single outliers replaced by the median of the five about them.

    An outlier is further from that median than 6 standard deviations and than 2 steps: dirt,
    which would pass for noise. The standard deviation is that of the median absolute deviation
    or of the 97 % quantile without the two greatest, whichever is more: of values in coarse
    steps more than half may equal their median, and what flickers is no outlier.
    """
    middle = _median_of_five(extended(values, 2))
    off = np.abs(values - middle)
    spread = 1.4826 * float(np.median(off))
    rank = len(off) - 1 - max(2, len(off) // 32)
    if rank >= 0:
        spread = max(spread, float(np.partition(off, rank)[rank]) / 2.17)
    return np.where(off > 6 * spread + 2 * step, middle, values)


def _median_of_five(values: Floats) -> Floats:
    """Return the median of each five values in sequence, float64[n - 4]."""
    a, b, c, d, e = (values[start : len(values) - 4 + start] for start in range(5))
    # Of four the least and the greatest can't be it: of the two others and the fifth the middle.
    low = np.maximum(np.minimum(a, b), np.minimum(c, d))
    high = np.minimum(np.maximum(a, b), np.maximum(c, d))
    return np.maximum(np.minimum(e, low), np.minimum(np.maximum(e, low), high))


def extended(values: Floats, count: int) -> Floats:
    """Return values with the first and the last repeated `count` times more."""
    return np.concatenate([np.repeat(values[:1], count), values, np.repeat(values[-1:], count)])


def _line(values: Floats, interval: float, least: float, known: Filtered | None) -> Floats:
    """The straight line of least squares where it has a slope beyond noise, else the level."""
    n = len(values)
    at = np.arange(n) - 0.5 * (n - 1)
    slope = float(at @ values / (at @ at))
    scatter = max(math.sqrt(float(np.mean(np.diff(values) ** 2)) / 2), least)
    if known is not None:
        keep = math.exp(-interval / known.correlation_s)
        scatter = max(scatter, known.standard * math.sqrt((1 + keep) / (1 - keep)))
    if abs(slope) * (n - 1) < SLOPED * scatter * math.sqrt(12 / n):
        slope = 0.0
    return np.asarray(values.mean() + slope * at)
