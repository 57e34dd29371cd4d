"""Spectra of evenly sampled series: a cosine transform, and the spectra of trends and noise.

References
----------
.. [1] Ahmed, Natarajan and Rao, IEEE Transactions on Computers C-23 (1974), 90 (the transform).
.. [2] Rasmussen and Williams, Gaussian processes for machine learning, MIT Press 2006, 4.2.1 and
   B.2 (Matern processes and their spectra).
.. [3] Makhoul, IEEE Transactions on Acoustics, Speech and Signal Processing 28 (1980), 27 (the
   transform of n samples by a Fourier transform of n).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def cosines(values: Floats) -> Floats:
    """Return the orthonormal discrete cosine transform (type 2) along the last axis [1]_.

    Parameters
    ----------
    values : float64[..., n]
        Evenly spaced samples, n at least 1, in any unit. A NaN makes every coefficient of its
        series NaN.

    Returns
    -------
    float64[..., n]
        Coefficients in the samples' unit; the sum of their squares is that of the samples. Number
        k belongs to pi k / n radians a sample; number 0 is sqrt(n) times the mean.
    """
    n = values.shape[-1]
    mirrored = np.concatenate([values, values[..., ::-1]], axis=-1)
    found = (np.fft.rfft(mirrored)[..., :n] * np.exp(-0.5j * np.pi * np.arange(n) / n)).real
    found *= np.sqrt(0.5 / n)
    found[..., 0] *= np.sqrt(0.5)
    return np.asarray(found)


def from_cosines(found: Floats) -> Floats:
    """Return the inverse of `cosines` along the last axis.

    Parameters
    ----------
    found : float64[..., n]
        Coefficients as `cosines` gives them; a NaN makes every sample of its series NaN.

    Returns
    -------
    float64[..., n]
        The samples, in the coefficients' unit.
    """
    n = found.shape[-1]
    # Of half the length: even samples in order, then the odd ones in reverse [3]_.
    half = n // 2 + 1
    along, across = _quarter_turn(n)
    back = np.zeros((*found.shape[:-1], half))
    back[..., 1:] = found[..., : n - half : -1]
    turned = np.empty(back.shape, dtype=np.complex128)
    turned.real = found[..., :half] * along + back * across
    turned.imag = found[..., :half] * across - back * along
    turned[..., 0] *= np.sqrt(2.0)
    folded = np.fft.irfft(turned, n)
    samples = np.empty(found.shape)
    samples[..., ::2] = folded[..., : (n + 1) // 2]
    samples[..., 1::2] = folded[..., : (n + 1) // 2 - 1 : -1]
    return samples


@lru_cache(maxsize=64)
def _quarter_turn(n: int) -> tuple[Floats, Floats]:
    """Return cosine and sine of the first n // 2 + 1 frequencies' quarter turns, scaled."""
    angle = 0.5 * np.pi * np.arange(n // 2 + 1) / n
    return np.sqrt(0.5 * n) * np.cos(angle), np.sqrt(0.5 * n) * np.sin(angle)


def trend(omega: Floats, bend: Floats | float = 0.0) -> Floats:
    """Return the spectrum of smooth motion.

    Parameters
    ----------
    omega : float64[k]
        Frequencies [radians a sample], above 0; infinite or NaN where they are 0 and `bend` is 0.
    bend : float or float64[k]
        0 for an integrated random walk of unit steps; else that of a Matern process of order 3/2
        [2]_, sampled, which returns to its mean within 1 / sqrt(bend) samples.

    Returns
    -------
    float64[k]
        Variance of a coefficient of `cosines` at each frequency, for steps of unit variance.
    """
    return np.asarray((2.0 - 2.0 * np.cos(omega) + bend) ** -2)


def wander(omega: Floats, keep: float, group: int = 1) -> Floats:
    """Return the spectrum of a first-order autoregressive process of unit variance, float64[k].

    Parameters
    ----------
    omega : float64[k]
        Frequencies [radians a value], above 0 and below 2 pi.
    keep : float
        Correlation from one sample to the next, 0 (white noise) to less than 1.
    group : int
        Number of samples averaged to each value; higher frequencies are aliased accordingly.

    Returns
    -------
    float64[k]
        Variance of a coefficient of `cosines` at each frequency; 1 throughout for white noise of
        one sample a value.
    """
    return np.asarray(wanders(omega, (keep,), group)[0])


def wanders(omega: Floats, keeps: Sequence[float], group: int = 1) -> Floats:
    """Return the spectra of several first-order processes.

    Parameters
    ----------
    omega, group
        As in `wander`.
    keeps : sequence of float
        Each one's correlation from one sample to the next.

    Returns
    -------
    float64[len(keeps), k]
        A row a process.
    """
    twice, square = (np.array(parts)[:, None] for parts in zip(
        *((2.0 * keep, keep**2) for keep in keeps), strict=True))
    found = np.zeros((len(keeps), len(omega)))
    for turn in range(group):
        fine = (omega + 2.0 * np.pi * turn) / group
        passed = (np.sin(0.5 * group * fine) / (group * np.sin(0.5 * fine))) ** 2
        found += passed * (1.0 - square) / (1.0 - twice * np.cos(fine) + square)
    return found / group


def bands(n: int) -> NDArray[np.intp]:
    """Return the bands into which the coefficients of a series are gathered.

    Parameters
    ----------
    n : int
        Number of coefficients; number 0, the mean, is in no band.

    Returns
    -------
    intp[bands]
        The first coefficient of each band. Bands are one wide up to number 13, from then on a
        seventh of their first number; empty for `n` below 2.
    """
    edges, at = [], 1
    while at < n:
        edges.append(at)
        at += max(1, at // 7)
    return np.array(edges, dtype=np.intp)
