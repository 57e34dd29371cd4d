"""The noise of one channel, from what it doesn't share with another one.

Let two channels follow the same quantity m with noise of their own: x = m + a, y = m + b. Their
difference d = x - y = a - b holds no motion, and since m, a and b are independent of each other the
cross-spectrum of x and d is the spectrum A of a alone, whatever the other channel's noise b is, and
that of -y and d the spectrum B of b. A first-order spectrum and white noise are fitted to each,
every frequency weighed by the variance of its estimate [1]_: where the motion is strong, x says
little of a. With both known, A / (A + B) of d is what is to be expected of a (Wiener's filter
[2]_), and of a the spectrum A B / (A + B) is left.

References
----------
.. [1] Bendat and Piersol, Random data, 4th edition, Wiley 2010, 9.1 (variance of estimates of
   auto- and cross-spectra).
.. [2] Wiener, Extrapolation, interpolation, and smoothing of stationary time series, Wiley 1949,
   chapter 3.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loganalyze.screening import spectra
from loganalyze.screening.noise_estimation import Filtered

Floats = NDArray[np.float64]

EVERY_S = 1.0
"""Spectra are estimated from no more than one value in this [s]; others are averaged."""
CORRELATED_S = tuple(0.7 * 2.0 ** (0.5 * k) for k in range(11))
"""Correlation times that are weighed, .7 to 22 s: slower noise is an error of the stretch."""
P_WHITE = 0.5
"""Probability beforehand that all noise is white."""
SMOOTHED = 3
"""Powers are averaged over so many bands to either side for their variances."""
SCALE = 0.01
"""Standard deviation of the two channels' difference in scale beforehand (engineering judgement:
two static sources differ by some such share)."""
SLOWEST_S = 600.0
"""A slower difference is an error of one of the channels, and stays where it is [s]."""


@dataclass(frozen=True, eq=False)
class Unshared:
    """A channel's correlated noise, in the channel's unit.

    ``noise`` : None where white noise explains all; ``expected`` : float64[m], what is to be
    expected of it at each sample; ``left`` : the noise that is left without that, and ``slow`` :
    the standard deviation of what is left and slower than `SLOWEST_S`.
    """

    noise: Filtered | None
    expected: Floats
    left: Filtered | None
    slow: float = 0.0


@dataclass(frozen=True)
class _Spectrum:
    """White noise and first-order noise, by the variance of each; the latter's keep a sample."""

    white: float
    variance: float
    seconds: float

    def at(self, omega: Floats, interval: float) -> Floats:
        """Return the spectrum of its samples at frequencies [radians a sample]."""
        found = np.full(len(omega), self.white)
        if self.variance > 0:
            found += self.variance * spectra.wander(omega, math.exp(-interval / self.seconds))
        return found


def unshared(own: Floats, other: Floats, interval: float) -> Unshared:
    """Separate the noise of a channel from what it shares with another one.

    Parameters
    ----------
    own, other : float64[m]  [any unit]
        The channels, an `interval` [s] apart, without gaps or NaN, at least 60 samples.

    Returns
    -------
    Unshared
    """
    differ = _less_scale(own, other, interval)
    group = max(1, round(EVERY_S / interval))
    a = _fit(own, differ, interval, group)
    if not a.variance > 0:
        return Unshared(None, np.zeros(len(own)), None)
    noise = Filtered(math.sqrt(a.variance), a.seconds)
    b = _fit(-other, differ, interval, group)
    count = len(differ)
    omega = np.pi / count * np.arange(1, count, dtype=np.float64)
    of_a, of_b = a.at(omega, interval), b.at(omega, interval)
    share = of_a / (of_a + of_b)
    slow = omega < 2 * np.pi * interval / SLOWEST_S
    share[slow] = 0.0
    found = spectra.cosines(differ)
    found[0] = 0.0
    found[1:] *= share
    # The samples themselves show the white noise.
    left = (1 - share) * (of_a - a.white * (1 - share))
    return Unshared(noise, spectra.from_cosines(found), _first_order(left[~slow], interval),
                    math.sqrt(max(float(left[slow].sum()) / count, 0.0)))


def _first_order(spectrum: Floats, interval: float) -> Filtered | None:
    """Return the noise of first order that has the power of a spectrum and of its square."""
    variance = float(spectrum.mean())
    if not variance > 0:
        return None
    seconds = float(np.mean(spectrum**2)) * interval / variance**2
    return Filtered(math.sqrt(variance), min(max(seconds, interval), CORRELATED_S[-1]))


def _less_scale(own: Floats, other: Floats, interval: float) -> Floats:
    """The difference without its straight line and without what follows the slow motion."""
    differ, motion = _without_line(own - other), _without_line(0.5 * (own + other))
    # Its error is at most that of noise of the longest correlation time.
    noise = float(differ @ differ) / len(differ) * 2 * CORRELATED_S[-1] / interval
    slope = float(differ @ motion) / max(float(motion @ motion) + noise / SCALE**2, 1e-300)
    return np.asarray(differ - slope * motion)


def _fit(series: Floats, differ: Floats, interval: float, group: int) -> _Spectrum:
    """Fit white and first-order noise to the cross-spectrum of a series and the difference."""
    count = len(series) // group
    x, d = (spectra.cosines(_without_line(values[: count * group].reshape(-1, group).mean(axis=1)))
            for values in (series, differ))
    first = spectra.bands(count)
    members = np.diff(np.append(first, count))
    xx, dd, xd = (np.add.reduceat(product[1:], first - 1) for product in (x**2, d**2, x * d))
    of_x, of_d, cross = (_smooth(product) / _smooth(members) for product in (xx, dd, xd))
    both = of_x * of_d
    if not (both > 0).all():  # One of them doesn't move at all.
        return _Spectrum(0.0, 0.0, 0.0)
    weight = members / (both + np.minimum(cross**2, both))
    omega = np.pi / count * (first + 0.5 * (members - 1))
    found = xd / members
    keeps = [math.exp(-interval / seconds) for seconds in CORRELATED_S]
    (alone, white, _), *fits = _least_squares(
        found, weight, spectra.wanders(omega, keeps, group))
    misfit, whites, sizes = np.array(fits).T
    likely = np.exp(-0.5 * (misfit - misfit.min())) * (sizes > 0)
    some = (1 - P_WHITE) * float(likely.mean())
    if not some > P_WHITE * math.exp(-0.5 * (alone - float(misfit.min()))):
        return _Spectrum(white * group, 0.0, 0.0)
    likely /= likely.sum()
    return _Spectrum(float(likely @ whites) * group, float(likely @ sizes),
                     math.exp(float(likely @ np.log(CORRELATED_S))))


def _without_line(values: Floats) -> Floats:
    """Values less their straight line of least squares."""
    at = np.arange(len(values)) - 0.5 * (len(values) - 1)
    values = values - values.mean()
    return np.asarray(values - at * (float(at @ values) / float(at @ at)))


def _smooth(powers: NDArray[np.float64] | NDArray[np.intp]) -> Floats:
    """Sums over neighbouring bands."""
    padded = np.pad(powers.astype(np.float64), SMOOTHED, mode="edge")
    return np.convolve(padded, np.ones(2 * SMOOTHED + 1), "valid")


def _least_squares(found: Floats, weight: Floats, shapes: Floats
                   ) -> list[tuple[float, float, float]]:
    """Fit white noise alone, then with each spectrum, neither below 0; misfit and both sizes."""
    total, power = float(weight.sum()), float(weight @ found)
    white = max(power / total, 0.0)
    alone = float(weight @ (found - white) ** 2), white, 0.0
    along = [float(weight @ (shape * found)) for shape in shapes]
    matrices = np.array([[[weight @ shape**2, weight @ shape], [weight @ shape, total]]
                         for shape in shapes])
    rights = np.array([[[position], [power]] for position in along])
    fits = [alone]
    for shape, matrix, part, (size, white) in zip(
            shapes, matrices, along, np.linalg.solve(matrices, rights)[..., 0], strict=True):
        if white < 0:
            size, white = part / float(matrix[0, 0]), 0.0
        if not size > 0:
            fits.append(alone)
        else:
            fits.append((float(weight @ (found - size * shape - white) ** 2), float(white),
                         float(size)))
    return fits
