"""When one speed was given up for another, and whether it was, weighed over all that is possible.

Each instant of a grid is a possibility, and so is that there was no change: that the first speed
was held on, that it drifted, or that the second one was held all along. Each predicts the airspeed
but for an offset from each held speed, which is free within some knots. What a possibility leaves
of the airspeed is taken as wander and the recorder's white noise. The wander is of unknown size and
correlation time, and rough as in gusts (a first-order process) or smooth as a pilot's (a Matern
process of order 3/2, which has a rate of change). The likelihood is averaged over all of these, so
that a possibility with many instants or offsets isn't favoured for being able to fit more [1]_;
what is left is how probable each one is.

References
----------
.. [1] Kass and Raftery, Journal of the American Statistical Association 90 (1995), 773.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from loganalyze.record.arrays import Floats

OFFSET_KT = 4.0
"""[kt] Standard deviation of how far from the briefed one a speed may be held ..."""
DRIFT_KT = 4.0
"""[kt] ... and of how far a held speed may drift from the middle of the time to its end."""
SIZES_KT = tuple(float(size) for size in np.geomspace(0.1, 6.0, 10))
"""[kt] Sizes of wander and noise together that are averaged over ..."""
TIMES_S = (4.0, 10.0, 20.0, 40.0)
"""[s] ... with correlation times of the wander ..."""
SHARES = (0.0, 0.4, 0.8)
"""... and the shares of the variance that are the recorder's noise."""
SPREAD_S = 60.0
"""[s] Pilots change earlier or later than due by about so much: the scale of a Cauchy distribution,
which excludes no instant."""
WIDER = 1.15
"""The uncertainty is wider than the weights' by this, since no pilot's wander is quite of either
kind (by simulation)."""
NOTABLE = 1e-3
"""Combinations of noise less likely than this, against the likeliest, are left out."""
COARSE = 4
"""The noise is weighed with each so many-th instant."""


@dataclass(frozen=True, eq=False)
class Possibility:
    """An airspeed [kt CAS] but for its offsets, float64[n].

    ``shapes`` : how each free offset comes in, float64[n] each; ``spread_kt`` : their standard
    deviations; ``weight`` : how likely it is before anything is known, in parts of all; ``made_s``
    : when the first speed was given up [s], NaN where it never was.
    """

    speed: Floats
    shapes: tuple[Floats, Floats]
    spread_kt: tuple[float, float]
    weight: float
    made_s: float = math.nan


@dataclass(frozen=True, slots=True)
class Weighed:
    """``probability`` : that there was a change, 0 to 1; ``made_s``, ``u_s`` : when, if there was
    one, and its standard uncertainty [s].
    """

    probability: float
    made_s: float
    u_s: float


def weighed(time: Floats, speed: Floats, possible: Sequence[Possibility]) -> Weighed:
    """Weigh what may have been flown.

    Parameters
    ----------
    time : float64[n]
        [s] Rising.
    speed : float64[n]
        The flown calibrated airspeed [kt], without NaN.
    possible : sequence of Possibility
        With and without a change; those with one by their instants.
    """
    changed = np.array([not math.isnan(possibility.made_s) for possibility in possible])
    coarse = [i for i, has_change in enumerate(changed) if not has_change or i % COARSE == 0]
    noises = [(seconds, share, smooth) for seconds in TIMES_S for share in SHARES
              for smooth in (False, True)]
    first = np.array([_likelihoods(time, speed, [possible[i] for i in coarse], *noise)
                      for noise in noises])
    total = np.logaddexp.reduce(first, axis=1)
    kept = [noise for noise, log in zip(noises, total.tolist(), strict=True)
            if log > total.max() + math.log(NOTABLE)]
    logs = np.logaddexp.reduce(
        np.array([_likelihoods(time, speed, possible, *noise) for noise in kept]), axis=0)
    share = np.exp(logs - logs.max())
    share /= share.sum()
    probability = float(share[changed].sum())
    if not probability > 0:
        return Weighed(0.0, math.nan, math.nan)
    when = np.array([possibility.made_s for possibility in possible])[changed]
    weight = share[changed] / probability
    made = float(weight @ when)
    return Weighed(min(probability, 1.0), made,
                   WIDER * math.sqrt(float(weight @ (when - made) ** 2)))


def prior(time_s: float, due_s: float) -> float:
    """Return how likely a change at an instant is before anything is known, not normed."""
    return 1.0 / (1.0 + ((time_s - due_s) / SPREAD_S) ** 2)


def _likelihoods(
    time: Floats, speed: Floats, possible: Sequence[Possibility], seconds: float, share: float,
    smooth: bool,
) -> Floats:
    """Return the logarithm of each one's weight and likelihood, averaged over the noise's sizes and
    the offsets, for one correlation time [s] and share of white noise.
    """
    apart = np.abs(time[:, None] - time)
    apart /= seconds
    # The smooth process of the same correlation time: the integral of its correlation is equal.
    wander = (1.0 + 2.0 * apart) * np.exp(-2.0 * apart) if smooth else np.exp(-apart)
    lower = np.linalg.cholesky((1.0 - share) * wander + (share + 1e-6) * np.eye(len(time)))
    count = len(possible)
    columns = np.concatenate([
        [speed - case.speed for case in possible], [case.shapes[0] for case in possible],
        [case.shapes[1] for case in possible]])
    white = solve_triangular(lower, columns.T, lower=True, check_finite=False).T
    left, first, second = white[:count], white[count:2 * count], white[2 * count:]
    square = (left * left).sum(axis=1)
    by_first, by_second = (first * left).sum(axis=1), (second * left).sum(axis=1)
    firsts, seconds = (first * first).sum(axis=1), (second * second).sum(axis=1)
    both = (first * second).sum(axis=1)
    spread = np.array([possibility.spread_kt for possibility in possible])
    weight = np.log([possibility.weight for possibility in possible])
    log_root = float(np.log(np.diag(lower)).sum())
    found = []
    for size in SIZES_KT:
        # With normal offsets the likelihood is normal, and its determinant that of two numbers.
        scale = size**2
        a, d = firsts / scale + spread[:, 0] ** -2.0, seconds / scale + spread[:, 1] ** -2.0
        b, u, v = both / scale, by_first / scale, by_second / scale
        determinant = a * d - b * b
        explained = (d * u * u - 2.0 * b * u * v + a * v * v) / determinant
        found.append(-0.5 * (square / scale - explained) - len(time) * math.log(size) - log_root
                     - 0.5 * np.log(determinant) - np.log(spread).sum(axis=1))
    return np.asarray(weight + np.logaddexp.reduce(np.array(found), axis=0))
