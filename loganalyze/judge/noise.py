"""The noise of a recorded speed or margin, estimated from the samples themselves.

A recorded series is taken as the sum of three parts, told apart by their spectra:

- a *trend*: level and slope that wander, an integrated random walk (spectrum ~ frequency^-4);
- a *wander*: a first-order autoregressive process of standard deviation ``wander`` that forgets
  itself over ``wander_s`` seconds. Real gusts look like this, and so does sensor noise that a
  filter has smoothed: one channel alone can't tell them apart;
- *white* noise, drawn anew at every sample: sensor and recorder noise, rounding included, and
  gusts faster than the sampling.

The samples' discrete cosine transform has nearly independent coefficients whose variances are
the spectrum (Whittle's likelihood); the parts' sizes are weighed on a fixed grid, so that the
same samples always give the same answer.

References
----------
.. [1] Harvey, Forecasting, structural time series models and the Kalman filter, Cambridge
   University Press 1989, 2.3.2 and 4.3 (local linear trend, likelihood in the frequency domain).
.. [2] Whittle, Arkiv for Matematik 2 (1953), 423 (the likelihood).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from loganalyze.record.intervals import HELD_INTERVALS

Floats = NDArray[np.float64]

FEWEST = 8
"""Fewer samples than this tell no noise."""
MOST = 4096
"""So many samples tell the noise as well as more."""
WANDER_S = (1.0, 2.0, 4.0, 8.0, 14.0)
"""Correlation times that are weighed [s]; slower wander counts as trend."""
WANDER_VARIANCES = (0.0, 0.25, 1.0, 4.0, 16.0, 64.0, 256.0)
"""Variances of the wander that are weighed, white noise being 1."""
_PRIOR_SAMPLES = 3.0
"""The rounding error counts as so many samples of white noise seen beforehand."""


@dataclass(frozen=True, slots=True)
class Noise:
    """Scatter of a series, in the series' unit.

    ``white`` : standard deviation of what is drawn anew at every sample, rounding included;
    ``wander`` : that of what is correlated over ``wander_s`` [s] (real gusts or filtered noise:
    one channel can't tell), 0 where the samples show none (``wander_s`` is then 0);
    ``samples`` : how many told it; 0 where they were too few and ``white`` is the rounding's.
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
        Rising. Half a minute to some minutes about the stretch in question tell most.
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
    known = np.flatnonzero(~np.isnan(values))
    least = step / math.sqrt(12.0)
    if len(known) < FEWEST:
        return Noise(least, 0.0, 0.0, 0)
    gaps = np.diff(time[known])
    usual = float(np.median(gaps))
    edges = np.concatenate([[0], np.flatnonzero(gaps > HELD_INTERVALS * usual) + 1, [len(known)]])
    longest = int(np.diff(edges).argmax())
    run = values[known[edges[longest] : edges[longest + 1]]][:MOST]
    if len(run) < FEWEST:
        return Noise(least, 0.0, 0.0, 0)
    found = Fit.of(despiked(run, step), usual, least).noise
    return replace(found, white=max(found.white, least))


@dataclass(frozen=True, eq=False)
class Fit:
    """The weighed grid of a series: its parts' sizes and how likely each combination is.

    ``trend`` [of omega^-4], ``wander``, ``keep`` (correlation from sample to sample) : float64[g],
    variances, white noise being 1; ``weight`` : float64[g], sum 1; ``scale`` : float64[g], the
    white noise's variance, sum of squares over ``freedom``.
    """

    trend: Floats
    wander: Floats
    keep: Floats
    weight: Floats
    scale: Floats
    freedom: float
    interval: float
    samples: int

    @classmethod
    def of(cls, values: Floats, interval: float, least: float) -> Fit:
        """Weigh the grid for samples an `interval` [s] apart, without NaN, at least 8 of them.

        `least` : standard deviation of the rounding error alone, in the unit of `values`.
        """
        power = cosines(straightened(values)[0])[1:] ** 2
        n = len(values)
        first = _bins(n)
        members = np.diff(np.append(first, n))
        mean = np.add.reduceat(power, first - 1) / members
        middle = np.pi / n * (first + 0.5 * (members - 1))
        trend, wander, keep = _grid(n, interval)
        spectrum = 1.0 + trend_spectrum(middle) * trend[:, None]
        spectrum += wander[:, None] * wander_spectrum(middle, keep[:, None])
        # Level and slope were taken off: one coefficient less.
        half = 0.5 * (n - 2 + _PRIOR_SAMPLES)
        floor = max(least**2, 1e-18 * float(np.abs(values).max()) ** 2, 1e-30)
        squares = _PRIOR_SAMPLES * floor + (members * mean / spectrum).sum(axis=1)
        log = -half * np.log(squares) - 0.5 * (members * np.log(spectrum)).sum(axis=1)
        # No wander at all is as likely beforehand as any.
        log -= np.where(wander > 0, math.log(max((wander > 0).sum() / (wander == 0).sum(), 1.0)), 0)
        weight = np.exp(log - log.max())
        return cls(trend, wander, keep, weight / weight.sum(), squares / (2 * half), 2 * half,
                   interval, n)

    @property
    def noise(self) -> Noise:
        """The parts' sizes, averaged over the grid: with wander, or without if that is likelier."""
        some = self.weight * (self.wander > 0)
        if some.sum() < 0.5:
            none = self.weight * (self.wander == 0)
            white = float(none @ self.scale / none.sum())
            return Noise(math.sqrt(white), 0.0, 0.0, self.samples)
        some = some / some.sum()
        seconds = -self.interval / np.log(np.where(self.wander > 0, self.keep, 0.5))
        return Noise(math.sqrt(some @ self.scale), math.sqrt(some @ (self.scale * self.wander)),
                     float(some @ seconds), self.samples)


def despiked(values: Floats, step: float) -> Floats:
    """Return values with single outliers replaced by the median of the five about them.

    An outlier is further from that median than 6 standard deviations, by the median absolute
    deviation, and than 2 steps: dirt, which would pass for noise.
    """
    padded = np.pad(values, 2, mode="edge")
    middle = np.median(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=-1)
    off = np.abs(values - middle)
    spread = 1.4826 * float(np.median(off))
    return np.where(off > 6 * spread + 2 * step, middle, values)


def straightened(values: Floats) -> tuple[Floats, Floats]:
    """Return values less their straight line of least squares, and that line."""
    at = np.arange(len(values)) - 0.5 * (len(values) - 1)
    line = values.mean() + at * (at @ values / (at @ at))
    return values - line, line


def cosines(values: Floats) -> Floats:
    """Orthonormal discrete cosine transform (of type 2) along the last axis."""
    n = values.shape[-1]
    mirrored = np.concatenate([values, values[..., ::-1]], axis=-1)
    turn = np.exp(-0.5j * np.pi * np.arange(n) / n)
    found = (np.fft.rfft(mirrored)[..., :n] * turn).real
    found *= np.sqrt(0.5 / n)
    found[..., 0] *= np.sqrt(0.5)
    return np.asarray(found)


def from_cosines(found: Floats) -> Floats:
    """Inverse of `cosines`."""
    n = found.shape[-1]
    turned = np.zeros((*found.shape[:-1], n + 1), dtype=np.complex128)
    turned[..., :n] = found * np.exp(0.5j * np.pi * np.arange(n) / n)
    turned[..., 0] *= np.sqrt(2.0)
    return np.asarray(np.fft.irfft(turned, 2 * n)[..., :n] * np.sqrt(2.0 * n))


def trend_spectrum(omega: Floats) -> Floats:
    """Spectrum of an integrated random walk of unit steps, omega in radians a sample."""
    return np.asarray((2.0 - 2.0 * np.cos(omega)) ** -2)


def wander_spectrum(omega: Floats, keep: Floats) -> Floats:
    """Spectrum of a first-order autoregressive process of unit variance."""
    return np.asarray((1.0 - keep**2) / (1.0 - 2.0 * keep * np.cos(omega) + keep**2))


def _bins(n: int) -> NDArray[np.intp]:
    """First coefficients of each bin: single ones, then ever wider ones by a seventh."""
    edges, at = [], 1
    while at < n:
        edges.append(at)
        at += max(1, at // 7)
    return np.array(edges, dtype=np.intp)


def _grid(n: int, interval: float) -> tuple[Floats, Floats, Floats]:
    """Every combination of trend, wander and its correlation that is weighed."""
    corner = np.pi / n * 1.4 ** np.arange(math.ceil(math.log(n) / math.log(1.4)))
    trends = np.concatenate([[0.0], (2.0 - 2.0 * np.cos(np.minimum(corner, np.pi))) ** 2])
    keeps = [math.exp(-interval / seconds) for seconds in WANDER_S
             if seconds > interval and seconds < n * interval / 4]
    pairs = [(0.0, 0.0)] + [(size, keep) for size in WANDER_VARIANCES[1:] for keep in keeps]
    trend, pair = (one.ravel() for one in np.meshgrid(
        trends, np.arange(len(pairs)), indexing="ij"))
    chosen = np.array(pairs)[pair.astype(np.intp)]
    return trend, chosen[:, 0], chosen[:, 1]
