"""The trend of one measure over a trainee's flights, with an interval that holds for few flights.

The measure y of flight i is

    y_i = a + b (i - mean of i) + f_i + m_i,

m_i the measurement's error, of known standard uncertainties s_i, and f_i how flights differ without
any reason that is known. Flights in succession may be alike: f has a standard deviation t and an
autocorrelation r from one flight to the next (autoregressive of first order), neither of which few
flights tell. So every pair of t and r on a grid is tried: for each, b is estimated by generalized
least squares [1]_, and the estimates are weighted by how likely the flights are with that pair, a
and b integrated out [2]_. The interval of b is that of the mixture of normal distributions which
results, and is as wide as the data leave t and r open.

The weights beforehand are tuned, not believed: of t they are those of its scale, drawn towards the
measurement's (`SPREAD`), of r those of `ALIKE`, found by search so that the interval holds the true
change equally often whether flights are alike or not, by simulation (r = 0 to .8; s = .2 to 1 times
t). From `MANY_FLIGHTS` flights on it does so in 92 to 99 % of trainees. Fewer flights can't: an
interval that is long enough for flights that are alike is too long for those that aren't. There it
is made of a greater share (`FEW`), holds in at least 92 %, and in up to 100 % of those whose
flights have nothing in common. Below `LEAST_FLIGHTS` there is none.

The mean over the flights is of these flights as they were flown, whatever made them alike, so that
its interval is the measurement's alone, and says nothing of further flights.

The trend is what changes from one flight to the next, by the flights' order: what counts is how
often something was practised.

References
----------
.. [1] A. C. Aitken, Proc. R. Soc. Edinb. 55 (1935), 42.
.. [2] D. A. Harville, Biometrika 61 (1974), 383 (the likelihood without the coefficients).
.. [3] R. C. Paule, J. Mandel, J. Res. Natl. Bur. Stand. 87 (1982), 377 (`flight_sd`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from loganalyze.record.arrays import Floats

COVERAGE: Final = 0.95
LEAST_FLIGHTS: Final = 4
"""With fewer flights there is no trend."""
MANY_FLIGHTS: Final = 20
"""From so many flights on, the flights themselves tell how alike they are."""
FEW: Final = 0.5
"""With fewer, the interval leaves out this part of what it would leave out otherwise."""
MISTAKEN: Final = 0.025
"""Chance, on average over how alike flights are, that somebody who doesn't change is said to
improve, over all measures looked at."""
ALIKE: Final = {-0.5: 0.65, 0.0: 1.0, 0.4: 0.012, 0.7: 0.012, 0.85: 0.02, 0.93: 0.27, 0.97: 0.4}
"""Weights of each autocorrelation, in parts of that of 0 (by simulation)."""
SPREAD: Final = 0.37
"""Power of t**2 / (s**2 + t**2) in the weight of t, beside its scale's (by simulation)."""

Direction = Literal["improving", "getting worse", "no change shown", "too few flights",
                    "no better or worse"]
IMPROVING: Final = "improving"
WORSE: Final = "getting worse"
NOT_SHOWN: Final = "no change shown"
TOO_FEW: Final = "too few flights"
NEUTRAL: Final = "no better or worse"
"""The word for a measure that is neither better nor worse when it is larger, as a speed held."""

_NORMAL_975: Final = 1.959963984540054
_SIGMAS: Final = np.geomspace(0.02, 30.0, 28)
"""Values of t that are tried, in parts of the larger of what is left and what was measured."""


@dataclass(frozen=True, slots=True)
class Trend:
    """A measure over a trainee's flights, in the measure's own unit.

    ``flights`` : how many; ``level``, ``level_low``, ``level_high`` : the mean over these flights
    as flown, and its interval by the measurement, NaN where a flight's uncertainty isn't known;
    ``per_flight``, ``low``, ``high`` : the change from one flight to the next, NaN with fewer than
    `LEAST_FLIGHTS`; ``p_rising``, ``p_falling`` : at most the chance that somebody who doesn't
    change shows a trend as much above, and as much below 0; ``flight_sd`` : how much flights differ
    beside the trend and the measurement; ``measurement_sd`` : root mean square of the
    measurement's standard uncertainties.
    """

    flights: int
    level: float
    level_low: float
    level_high: float
    per_flight: float
    low: float
    high: float
    p_rising: float
    p_falling: float
    flight_sd: float
    measurement_sd: float


def trend_of(values: ArrayLike, uncertainties: ArrayLike, coverage: float = COVERAGE) -> Trend:
    """Return the trend of a measure over flights.

    Parameters
    ----------
    values : array_like
        One a flight, in the order in which they were flown, shape (n,); flights without the
        measure are left out before.
    uncertainties : array_like
        Standard uncertainty of each by its measurement, >= 0; NaN, where it isn't known, counts
        as 0 in the trend, and its error among how flights differ.
    coverage : float, optional
        Of the interval of the change.

    Returns
    -------
    Trend
        NaN where nothing follows from so few flights, or from flights that lie on a line to the
        last digit and whose uncertainty isn't known.

    Raises
    ------
    ValueError
        For arrays of different lengths, or values that aren't finite.

    Examples
    --------
    >>> from loganalyze.training import trend_of
    >>> found = trend_of([9.0, 7.4, 6.1, 4.4, 3.2, 1.4], [0.3] * 6)
    >>> round(found.per_flight, 1), found.high < 0
    (-1.5, True)
    """
    y = np.asarray(values, dtype=np.float64)
    given = np.asarray(uncertainties, dtype=np.float64)
    if y.shape != given.shape or y.ndim != 1:
        raise ValueError("a value and an uncertainty for each flight are needed")
    s = np.nan_to_num(given)
    if not np.isfinite(y).all() or (s < 0).any():
        raise ValueError("values must be finite, and uncertainties not negative")
    n, nan = len(y), float("nan")
    if not n:
        return Trend(0, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan)
    level, measured = float(y.mean()), float(np.sqrt(np.mean(s**2)))
    reach = _NORMAL_975 * float(np.sqrt(np.sum(given**2))) / n
    about = n, level, level - reach, level + reach
    if n < LEAST_FLIGHTS:
        return Trend(*about, nan, nan, nan, nan, nan, nan, measured)
    x = np.column_stack([np.ones(n), np.arange(n) - 0.5 * (n - 1)])
    between = math.sqrt(_between(y, s, x))
    mixture = _mixture(y, s, x)
    if mixture is None:
        slope = float((np.linalg.pinv(x) @ y)[1])
        return Trend(*about, slope, nan, nan, 1.0, 1.0, between, measured)
    part = 1.0 if n >= MANY_FLIGHTS else FEW
    tail = 0.5 * (1.0 - coverage) * part
    rising = mixture.share_below(0.0)
    return Trend(*about, mixture.mean, mixture.quantile(tail), mixture.quantile(1.0 - tail),
                 min(rising / part, 1.0), min((1.0 - rising) / part, 1.0), between, measured)


def directions(trends: Sequence[Trend], better: Sequence[int]) -> tuple[Direction, ...]:
    """Return the word for each of several trends that are looked at together.

    Parameters
    ----------
    trends : sequence of Trend
    better : sequence of int
        Of each: 1 where larger is better, -1 where smaller is, 0 where neither is.

    Returns
    -------
    tuple of str
        "improving", "getting worse", "no change shown", "too few flights" or, for a measure that
        has no better side, "no better or worse". One measure alone improves where 0 is outside its
        interval of 95 %; of several, the chance of one wrong "improving" among all of them is that
        of one alone (S. Holm, Scand. J. Statist. 6 (1979), 65), and likewise of "getting worse".

    Examples
    --------
    >>> from loganalyze.training import directions, trend_of
    >>> directions([trend_of([9.0, 7.4, 6.1, 4.4, 3.2, 1.4], [0.3] * 6)], [-1])
    ('improving',)
    """
    words: list[Direction] = [
        "no better or worse" if not side else
        "too few flights" if math.isnan(trend.p_rising) else "no change shown"
        for trend, side in zip(trends, better, strict=True)]
    judged = [i for i, word in enumerate(words) if word == "no change shown"]
    sides: tuple[tuple[int, Direction], ...] = ((1, IMPROVING), (-1, WORSE))
    for up, word in sides:
        chance = {i: trends[i].p_rising if better[i] * up > 0 else trends[i].p_falling
                  for i in judged}
        for rank, i in enumerate(sorted(judged, key=lambda i: chance[i])):
            if chance[i] > MISTAKEN / (len(judged) - rank):
                break
            words[i] = word
    return tuple(words)


@dataclass(frozen=True, slots=True)
class _Mixture:
    """Normal distributions of one number: their weights, means and standard deviations, float64[k].
    """

    weights: Floats
    means: Floats
    sds: Floats

    @property
    def mean(self) -> float:
        return float(self.weights @ self.means)

    def share_below(self, value: float) -> float:
        """Return the probability of no more than a value."""
        z = (value - self.means) / (self.sds * math.sqrt(2.0))
        return 0.5 * math.fsum(weight * math.erfc(-distance)
                               for weight, distance in zip(self.weights, z, strict=True))

    def quantile(self, share: float) -> float:
        """Return the value that a share of the probability is below."""
        low = float((self.means - 12.0 * self.sds).min())
        high = float((self.means + 12.0 * self.sds).max())
        for _ in range(34):
            middle = 0.5 * (low + high)
            if self.share_below(middle) < share:
                low = middle
            else:
                high = middle
        return 0.5 * (low + high)


def _mixture(y: Floats, s: Floats, x: Floats) -> _Mixture | None:
    """Return what the flights say of their trend, the last coefficient of ``x`` float64[n, p].

    None where neither the values nor the measurement leave anything open.
    """
    n, p = x.shape
    off = y - x @ (np.linalg.pinv(x) @ y)
    left = math.sqrt(float(off @ off) / (n - p))
    if left <= 1e-9 * float(np.abs(y).max()) and not s.any():
        return None
    measured = float(np.mean(s**2))
    sigmas = max(left, math.sqrt(measured)) * _SIGMAS
    apart = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    alike = np.array([np.sign(r)**apart * abs(r)**apart for r in ALIKE])
    covariance = (sigmas[None, :, None, None]**2 * alike[:, None] + np.diag(s**2)
                  ).reshape(-1, n, n)
    roots = np.linalg.cholesky(covariance)
    whitened = np.linalg.solve(roots, np.broadcast_to(
        np.column_stack([x, off]), (len(roots), n, p + 1)))
    design, values = whitened[:, :, :p], whitened[:, :, p]
    information = design.transpose(0, 2, 1) @ design
    inverse = np.linalg.inv(information)
    coefficients = np.einsum("kij,knj,kn->ki", inverse, design, values)
    rest = values - np.einsum("knj,kj->kn", design, coefficients)
    beforehand = (np.log(np.array(list(ALIKE.values())))[:, None]
                  + SPREAD * np.log(sigmas**2 / (measured + sigmas**2))).ravel()
    likely = (beforehand - np.log(np.diagonal(roots, axis1=1, axis2=2)).sum(axis=1)
              - 0.5 * np.linalg.slogdet(information)[1] - 0.5 * (rest**2).sum(axis=1))
    weights = np.exp(likely - likely.max())
    kept = weights > 1e-6
    # Only what the straight line left was fitted: its own trend is added again.
    means = coefficients[kept, -1] + float((np.linalg.pinv(x) @ y)[-1])
    return _Mixture(weights[kept] / weights[kept].sum(), means,
                    np.sqrt(inverse[kept, -1, -1]))


def _weighted(x: Floats, weights: Floats) -> tuple[Floats, Floats]:
    covariance: Floats = np.asarray(np.linalg.inv(x.T @ (weights[:, None] * x)), dtype=np.float64)
    return covariance, np.asarray(covariance @ (x.T * weights))


def _between(y: Floats, s: Floats, x: Floats) -> float:
    """Return the variance between flights that brings the weighted squares to n - p, at least 0.
    """
    n, p = x.shape

    def squares(variance: float) -> float:
        weights = 1.0 / np.maximum(s**2 + variance, 1e-300)
        _, to_coefficients = _weighted(x, weights / weights.max())
        off = y - x @ (to_coefficients @ y)
        return float((weights * off**2).sum())

    off = y - x @ np.linalg.lstsq(x, y, rcond=None)[0]
    if not (off**2).sum() > 1e-18 * max(float((y**2).sum()), 1e-300):
        return 0.0
    floor = 1e-9 * float((off**2).sum())
    if squares(floor) <= n - p:
        return 0.0
    low, high = floor, max(float((off**2).sum()), floor)
    while squares(high) > n - p:
        high *= 4.0
    for _ in range(32):
        middle = math.sqrt(low * high)
        if squares(middle) > n - p:
            low = middle
        else:
            high = middle
    return high
