"""The trend of one measure over a trainee's flights, with an interval that holds for few flights.

The measure y of flight i is

    y_i = a + b (i - mean of i) + f_i + m_i,

f_i how flights differ without any reason that is known, of an unknown standard deviation t, and m_i
the measurement's error, of known standard uncertainties s_i. Every flight counts the same (least
squares): weights by estimated variances make the intervals of few flights too short. t is estimated
so that the weighted squares come to their expectation [1]_; the variances s_i**2 + t**2 say how
those of a and b stand to the squares that are left, which scale them [2]_ [3]_. The intervals are
those of Student's t with n - p degrees of freedom: exact where all flights are equally uncertain,
whatever t, and close to it where they aren't. No interval is shorter than one standard uncertainty
of the measurement to either side, and no word rests on less: three flights can lie on a line by
chance.

The intervals take the f_i as independent. Flights in succession may be alike, and then a trend
shows where there is none. Too few flights tell whether they are, so that the words "improving" and
"getting worse" rest on a wider uncertainty: that of flights with a correlation of `ALIKE` from one
to the next (autoregressive of first order).

The trend is what changes from one flight to the next, by the flights' order: what counts is how
often something was practised.

References
----------
.. [1] R. C. Paule, J. Mandel, J. Res. Natl. Bur. Stand. 87 (1982), 377.
.. [2] J. Hartung, G. Knapp, Statistics in Medicine 20 (2001), 3875 (the mean).
.. [3] G. Knapp, J. Hartung, Statistics in Medicine 22 (2003), 2693 (with a covariate).
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
ALIKE: Final = 0.6
"""Correlation from one flight to the next that a word allows for (engineering judgement)."""
LEAST_FLIGHTS: Final = 3
"""With fewer flights there is no trend."""
MISTAKEN: Final = 0.05
"""Chance that somebody who doesn't change is said to improve, over all measures looked at."""

Direction = Literal["improving", "getting worse", "no change shown", "too few flights",
                    "no better or worse"]
IMPROVING: Final = "improving"
WORSE: Final = "getting worse"
NOT_SHOWN: Final = "no change shown"
TOO_FEW: Final = "too few flights"
NEUTRAL: Final = "no better or worse"
"""The word for a measure that is neither better nor worse when it is larger, as a speed held."""

@dataclass(frozen=True, slots=True)
class Trend:
    """A measure over a trainee's flights, in the measure's own unit.

    ``flights`` : how many; ``level``, ``level_low``, ``level_high`` : the mean over them, and its
    interval; ``per_flight``, ``low``, ``high`` : the change from one flight to the next, NaN with
    fewer than `LEAST_FLIGHTS`; ``p_rising``, ``p_falling`` : chance of a trend as much above, and
    as much below 0, for somebody who doesn't change and whose flights are alike; ``flight_sd`` :
    how much flights differ beside the measurement; ``measurement_sd`` : root mean square of the
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
        as 0, and its error among how flights differ.
    coverage : float, optional
        Of the intervals.

    Returns
    -------
    Trend
        NaN where nothing follows from so few flights: the level's interval needs two.

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
    s = np.nan_to_num(np.asarray(uncertainties, dtype=np.float64))
    if y.shape != s.shape or y.ndim != 1:
        raise ValueError("a value and an uncertainty for each flight are needed")
    if not np.isfinite(y).all() or (s < 0).any():
        raise ValueError("values must be finite, and uncertainties not negative")
    n, nan = len(y), float("nan")
    measured = float(np.sqrt(np.mean(s**2))) if n else nan
    if n < 2:
        return Trend(n, float(y[0]) if n else nan, nan, nan, nan, nan, nan, nan, nan, nan,
                     measured)
    at = np.arange(n) - 0.5 * (n - 1)
    x = np.column_stack([np.ones(n), at]) if n >= LEAST_FLIGHTS else np.ones((n, 1))
    fit = _fit(y, s, x)
    freedom = n - x.shape[1]
    # Flights that lie on a line by chance don't make a measure surer than it was measured.
    reach = np.maximum(student_quantile(0.5 + 0.5 * coverage, freedom) * fit.errors, fit.measured)
    level = float(fit.coefficients[0])
    if n < LEAST_FLIGHTS:
        return Trend(n, level, level - float(reach[0]), level + float(reach[0]), nan, nan, nan,
                     nan, nan, fit.flight_sd, measured)
    slope, wide = float(fit.coefficients[1]), max(
        float(fit.errors[1]) * fit.alike, float(fit.measured[1]))
    z = slope / wide if wide > 0 else math.copysign(math.inf, slope) if slope else 0.0
    rising = student_share(z, freedom)
    return Trend(n, level, level - float(reach[0]), level + float(reach[0]), slope,
                 slope - float(reach[1]), slope + float(reach[1]), 1.0 - rising, rising,
                 fit.flight_sd, measured)


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
        has no better side, "no better or worse". The chance of one wrong "improving" among all of
        them is at most `MISTAKEN` (S. Holm, Scand. J. Statist. 6 (1979), 65), and so is that of one
        wrong "getting worse".

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
class _Fit:
    """Coefficients, their standard errors and the part of those that is the measurement's
    float64[p], t, and how many times as uncertain the last coefficient is where flights are alike.
    """

    coefficients: Floats
    errors: Floats
    measured: Floats
    flight_sd: float
    alike: float


def _fit(y: Floats, s: Floats, x: Floats) -> _Fit:
    n, _p = x.shape
    between = _between(y, s, x)
    variances = s**2 + between
    variances = variances / variances.max() if variances.max() > 0 else np.ones(n)
    _, to_coefficients = _weighted(x, np.ones(n))
    coefficients = to_coefficients @ y
    off = y - x @ coefficients
    apart = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    sizes = np.sqrt(np.outer(variances, variances))
    errors = [_errors(to_coefficients, x, sizes * alike**apart, float((off**2).sum()))
              for alike in (0.0, ALIKE)]
    wider = float(errors[1][-1] / errors[0][-1]) if errors[0][-1] > 0 else 1.0
    measured = np.sqrt((to_coefficients**2 * s**2).sum(axis=1))
    return _Fit(coefficients, errors[0], measured, float(np.sqrt(between)), max(wider, 1.0))


def _errors(to_coefficients: Floats, x: Floats, covariance: Floats, squares: float) -> Floats:
    """Return the coefficients' standard errors float64[p], from the squares that are left.

    ``covariance`` : of the flights, float64[n, n], but for a factor, which the squares give.
    """
    left = np.eye(len(x)) - x @ to_coefficients
    expected = float(np.trace(left @ covariance @ left.T))
    spread = np.diagonal(to_coefficients @ covariance @ to_coefficients.T)
    return np.sqrt(squares * spread / max(expected, 1e-300))


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


def student_share(t: float, freedom: int) -> float:
    """Return the probability of no more than t in Student's distribution.

    Parameters
    ----------
    t : float
    freedom : int
        Degrees of freedom, 1 or more.

    Returns
    -------
    float
        Between 0 and 1, by the finite series of M. Abramowitz, I. A. Stegun, Handbook of
        Mathematical Functions, 1964, eqs. 26.7.3 and 26.7.4.

    Examples
    --------
    >>> from loganalyze.training.progress_trend import student_share
    >>> round(student_share(2.571, 5), 3)
    0.975
    """
    if math.isinf(t):
        return 1.0 if t > 0 else 0.0
    angle = math.atan2(abs(t), math.sqrt(freedom))
    cosine, sine = math.cos(angle), math.sin(angle)
    odd = freedom % 2
    term = cosine if odd else 1.0
    total = term if freedom > 1 or not odd else 0.0
    for k in range(3 if odd else 2, freedom - 1, 2):
        term *= cosine**2 * (k - 1) / k
        total += term
    inside = 2 / math.pi * (angle + sine * total) if odd else sine * total
    return 0.5 + math.copysign(0.5 * min(inside, 1.0), t)


def student_quantile(share: float, freedom: int) -> float:
    """Return the t that Student's distribution exceeds with the probability 1 - share.

    Parameters
    ----------
    share : float
        Between 0.5 and 1.
    freedom : int
        Degrees of freedom, 1 or more.

    Examples
    --------
    >>> from loganalyze.training.progress_trend import student_quantile
    >>> round(student_quantile(0.975, 1), 2), round(student_quantile(0.975, 8), 3)
    (12.71, 2.306)
    """
    low, high = 0.0, 1.0
    while student_share(high, freedom) < share:
        high *= 2.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        if student_share(middle, freedom) < share:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
