"""Spectra of evenly sampled series: a cosine transform, and what trends and noise look like in it.

References
----------
.. [1] Ahmed, Natarajan and Rao, IEEE Transactions on Computers C-23 (1974), 90 (the transform).
.. [2] Rasmussen and Williams, Gaussian processes for machine learning, MIT Press 2006, 4.2.1 and
   B.2 (Matern processes and their spectra).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def cosines(values: Floats) -> Floats:
    """Orthonormal discrete cosine transform (of type 2) along the last axis [1]_."""
    n = values.shape[-1]
    mirrored = np.concatenate([values, values[..., ::-1]], axis=-1)
    found = (np.fft.rfft(mirrored)[..., :n] * np.exp(-0.5j * np.pi * np.arange(n) / n)).real
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


def trend(omega: Floats, bend: Floats | float = 0.0) -> Floats:
    """Spectrum of a smooth motion, at frequencies `omega` [radians a sample] above 0.

    With `bend` 0 an integrated random walk of unit steps; else a Matern process of order 3/2
    [2]_, sampled, that returns to its mean within 1 / sqrt(bend) samples.
    """
    return np.asarray((2.0 - 2.0 * np.cos(omega) + bend) ** -2)


def wander(omega: Floats, keep: float, group: int = 1) -> Floats:
    """Spectrum of a first-order autoregressive process of unit variance.

    Parameters
    ----------
    omega : float64[k]  [radians a value]
    keep : float
        Its correlation from one sample to the next, 0 (white noise) to less than 1.
    group : int
        Values are the averages of so many samples each: what lies between is folded in.
    """
    return np.asarray(wanders(omega, (keep,), group)[0])


def wanders(omega: Floats, keeps: Sequence[float], group: int = 1) -> Floats:
    """Spectra of several such processes, float64[len(keeps), k]."""
    twice, square = (np.array(one)[:, None] for one in zip(
        *((2.0 * keep, keep**2) for keep in keeps), strict=True))
    found = np.zeros((len(keeps), len(omega)))
    for turn in range(group):
        fine = (omega + 2.0 * np.pi * turn) / group
        passed = (np.sin(0.5 * group * fine) / (group * np.sin(0.5 * fine))) ** 2
        found += passed * (1.0 - square) / (1.0 - twice * np.cos(fine) + square)
    return found / group


def bands(n: int) -> NDArray[np.intp]:
    """First coefficient of each band of `n`: single ones, then ever wider ones by a seventh."""
    edges, at = [], 1
    while at < n:
        edges.append(at)
        at += max(1, at // 7)
    return np.array(edges, dtype=np.intp)
