"""The noise of a recorded speed or margin, estimated from the samples themselves.

A recorded series is taken as the sum of up to four parts, told apart by their spectra:

- a *trend*, the aircraft's own smooth motion: level and slope that wander, an integrated random
  walk (spectrum ~ frequency^-4), or the same held about a level; perhaps none;
- a *wander*: a first-order autoregressive process that forgets itself over some seconds. Gusts
  along the flight path have this spectrum [3]_, and so has sensor noise that a filter has
  smoothed: one channel alone can't tell them apart;
- *white* noise, drawn anew at every sample: sensor and recorder noise, rounding included, and
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
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from loganalyze.judge import spectra
from loganalyze.record.intervals import HELD_INTERVALS

Floats = NDArray[np.float64]

FEWEST = 8
"""Fewer samples than this tell no noise."""
MOST = 4096
"""So many samples tell the noise as well as more."""
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
P_WANDER, P_LEVEL = 0.2, 0.3
"""Probability beforehand of a wander, and without one of a level that doesn't move."""
SLOPED = 2.5
"""A slope is one from so many of its standard errors on."""


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


@dataclass(frozen=True, slots=True)
class Filtered:
    """Noise whose size is known: standard deviation, and correlation time above 0 [s]."""

    standard: float
    correlation_s: float


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
    least = step / math.sqrt(12.0)
    first, stop, usual = unbroken(time, values)
    if stop - first < FEWEST:
        return Noise(least, 0.0, 0.0, 0)
    run = values[first:stop][:MOST]
    found = Fit.of(despiked(run, step), usual, least).noise
    return replace(found, white=max(found.white, least))


def unbroken(time: Floats, values: Floats) -> tuple[int, int, float]:
    """Return the longest run of samples without a gap or NaN (half-open) and its interval [s].

    A gap is more than 1.5 usual intervals. Without two known samples the run is empty.
    """
    known = np.flatnonzero(~np.isnan(values))
    if len(known) < 2:
        return 0, 0, 0.0
    steps = np.diff(time[known])
    usual = float(np.median(steps))
    ends = np.flatnonzero((steps > HELD_INTERVALS * usual) | (np.diff(known) > 1)) + 1
    edges = np.concatenate([[0], ends, [len(known)]])
    longest = int(np.diff(edges).argmax())
    return int(known[edges[longest]]), int(known[edges[longest + 1] - 1]) + 1, usual


@dataclass(frozen=True, eq=False)
class Parts:
    """Combinations of a series' parts, one a row: variances, white noise being 1.

    ``trend`` : of an integrated random walk's steps, ``bend`` : see `spectra.trend`; ``wander``
    with ``keep``, its correlation from sample to sample; ``filtered`` noise with
    ``filtered_keep``. float64[g] each.
    """

    trend: Floats
    bend: Floats
    wander: Floats
    keep: Floats
    filtered: Floats
    filtered_keep: float

    def motion(self, omega: Floats) -> Floats:
        """Spectrum of the trend, float64[g, k]."""
        return np.asarray(self.trend[:, None] * spectra.trend(omega, self.bend[:, None]))

    def gusts(self, omega: Floats) -> Floats:
        """Spectrum of the wander, float64[g, k]."""
        return np.asarray(self.wander[:, None] * spectra.wander(omega, self.keep[:, None]))

    def noise(self, omega: Floats) -> Floats:
        """Spectrum of white and filtered noise, float64[g, k]."""
        return np.asarray(
            1.0 + self.filtered[:, None] * spectra.wander(omega, self.filtered_keep))

    def chosen(self, rows: NDArray[np.intp]) -> Parts:
        """Some of the combinations."""
        return Parts(self.trend[rows], self.bend[rows], self.wander[rows], self.keep[rows],
                     self.filtered[rows], self.filtered_keep)


@dataclass(frozen=True, eq=False)
class Fit:
    """A series' parts: combinations and how likely each is.

    ``weight`` : float64[g], sum 1; ``scale`` : float64[g], the white noise's variance, told with
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
    def of(cls, values: Floats, interval: float, least: float, known: Filtered | None = None
           ) -> Fit:
        """Weigh the parts of samples an `interval` [s] apart, without NaN, at least 8 of them.

        `least` : standard deviation of the rounding error alone, in the unit of `values`; it
        counts as one sample of white noise. `known` : filtered noise of known size.
        """
        n = len(values)
        line = _line(values, interval, least, known)
        coefficients = spectra.cosines(values - line)
        first = spectra.bands(n)
        members = np.diff(np.append(first, n))
        power = np.add.reduceat(coefficients[1:] ** 2, first - 1)
        middle = np.pi / n * (first + 0.5 * (members - 1))
        parts = _alone(n, interval) if known is None else _beside(n, interval, known)
        spectrum = parts.noise(middle) + parts.motion(middle) + parts.gusts(middle)
        # Level and slope were taken off, and the rounding is one sample more.
        freedom = n - 1.0
        floor = max(least**2, 1e-18 * float(np.abs(values).max()) ** 2, 1e-30)
        scale = (floor + (power / spectrum).sum(axis=1)) / freedom
        log = -0.5 * freedom * np.log(scale) - 0.5 * (members * np.log(spectrum)).sum(axis=1)
        gusty, still = parts.wander > 0, parts.trend == 0
        for which, share in ((gusty, P_WANDER), (~gusty & still, (1 - P_WANDER) * P_LEVEL),
                             (~gusty & ~still, (1 - P_WANDER) * (1 - P_LEVEL))):
            log[which] += math.log(share / max(int(which.sum()), 1))
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
        seconds = -self.interval / np.log(np.where(gusty, self.parts.keep, 0.5))
        return Noise(math.sqrt(some @ self.scale),
                     math.sqrt(some @ (self.scale * self.parts.wander)), float(some @ seconds),
                     samples)


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


def _trends(n: int, interval: float) -> Floats:
    """Sizes and bends of the trends that are weighed, float64[k, 2]; the first is none."""
    count = math.ceil(math.log(n) / math.log(1.5))
    corner = 2.0 - 2.0 * np.cos(np.minimum(np.pi / n * 1.5 ** np.arange(count), np.pi))
    pairs = [(0.0, 0.0)]
    for seconds in MEANDERS_S:
        if math.isinf(seconds) or 2 * interval < seconds < n * interval / 3:
            bend = (interval / seconds) ** 2
            # Where trend and white noise are as strong as each other.
            pairs += [(float((one + bend) ** 2), bend) for one in corner]
    return np.array(pairs)


def _alone(n: int, interval: float) -> Parts:
    """All combinations of trend and wander that are weighed."""
    pairs = [(0.0, 0.0)] + [
        (size, math.exp(-interval / seconds)) for size in WANDERS for seconds in WANDERS_S
        if 2 * interval < seconds < n * interval / 4]
    trends, winds = _trends(n, interval), np.array(pairs)
    i, j = (one.ravel() for one in np.indices((len(trends), len(winds))))
    return Parts(trends[i, 0], trends[i, 1], winds[j, 0], winds[j, 1], np.zeros(len(i)), 0.0)


def _beside(n: int, interval: float, known: Filtered) -> Parts:
    """All combinations of trend, gusts and filtered noise that are weighed."""
    keep = math.exp(-interval / known.correlation_s)
    trends, sizes, filtered = _trends(n, interval), np.array([0.0, *GUSTS]), np.array(FILTERED)
    i, j, k = (one.ravel() for one in np.indices((len(trends), len(sizes), len(filtered))))
    # Trends are weighed by the strength of all slow noise.
    slow = 1.0 + filtered[k] * (1 + keep) / (1 - keep)
    return Parts(trends[i, 0] * slow, trends[i, 1], sizes[j] * filtered[k],
                 np.full(len(i), math.exp(-interval / GUST_S)), filtered[k], keep)
