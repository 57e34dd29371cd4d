"""Each aircraft's own instrument errors, from what its ordinary flights show.

Of each flight the store knows by how much an airspeed, a temperature or another channel reads too
high: by turns, in which the wind stays and the ground speed doesn't; by a second source; by a
recorded Mach number or true airspeed against the one computed; by the air's temperature against
that of all aircraft in the same month. Each such difference errs by what is known of it within
the flight (wind, noise) and by what differs from flight to flight. The aircraft's error is their
mean in a random-effects model [1]_, with an interval from the scatter of its flights [2]_, which
holds with few flights too; the aircraft together are a second such model, from which each one's
shrunk error follows [3]_. That one has no interval: where one aircraft isn't like the others, it
wouldn't hold.

Nothing of it is applied to any flight: it is a finding for those who maintain the instruments.

References
----------
.. [1] R. DerSimonian, N. Laird, Controlled Clinical Trials 7 (1986), p. 177 (the model).
.. [2] K. Sidik, J. N. Jonkman, Comput. Stat. Data Anal. 50 (2006), p. 3681 (the robust variance
   of a random-effects mean); J. G. MacKinnon, H. White, J. Econometrics 29 (1985), p. 305 (HC3).
.. [3] C. N. Morris, J. Am. Statist. Assoc. 78 (1983), p. 47 (empirical Bayes).
.. [4] R. C. Paule, J. Mandel, J. Res. Natl. Bur. Stand. 87 (1982), p. 377; R. DerSimonian,
   R. Kacker, Contemp. Clin. Trials 28 (2007), p. 105, eq. 6.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import t

from loganalyze.fleet.judging.statistics_rows import FROM_STANDARD, TURNS
from loganalyze.fleet.statistics.event_rates import COVERAGE, holm
from loganalyze.fleet.store.store_queries import connect_store

Floats = NDArray[np.float64]

LEAST_FLIGHTS = 8
"""Flights below which nothing is said of an aircraft."""
LEAST_DRIFT_DAYS = 90.0
"""Days that its flights must span for a drift."""
MATTERS = {"kt": 1.0, "K": 1.0, "degC": 1.0, "ft": 25.0, "1": 0.003}
"""Errors, by unit, below which even a sure one is no finding; engineering judgement."""
SURE = 0.05
"""Adjusted probability below which an error isn't chance."""


@dataclass(frozen=True, slots=True)
class MeanEffect:
    """A mean of values that differ by more than their own errors.

    ``mean``, ``low``, ``high`` : it and its interval; ``u`` : its standard uncertainty;
    ``between`` : standard deviation of what differs beyond their errors; ``number`` : of values;
    ``probability`` : of so great a mean, either way, if it were 0.
    """

    mean: float
    low: float
    high: float
    u: float
    between: float
    number: int
    probability: float


@dataclass(frozen=True)
class InstrumentError:
    """By how much a channel of one aircraft reads too high, by one way of finding out.

    ``second`` : the source it is compared with, where there is one; ``reads_high``, ``low``,
    ``high`` : the aircraft's own error and its interval [``unit``]; ``between_flights`` : standard
    deviation of what differs from flight to flight; ``shrunk`` : the error drawn towards the
    fleet's mean by how little is known of it, NaN with fewer than three aircraft;
    ``per_year``, ``per_year_low``, ``per_year_high`` : its drift, NaN where the flights span too
    little; ``probability`` : of so great an error by chance, adjusted for the number of errors
    looked at; ``finding`` : sure, and great enough to matter; ``flights`` : their keys.
    """

    aircraft: str
    way: str
    channel: str
    second: str
    unit: str
    reads_high: float
    low: float
    high: float
    between_flights: float
    shrunk: float
    per_year: float
    per_year_low: float
    per_year_high: float
    probability: float
    finding: bool
    flights: tuple[str, ...]


def mean_effect(values: ArrayLike, u: ArrayLike = np.nan, coverage: float = COVERAGE) -> MeanEffect:
    """Return the mean of values in a random-effects model, with its interval.

    Parameters
    ----------
    values : array_like, shape (n,)
        At least two.
    u : array_like, shape (n,) or ()
        Their standard uncertainties; where one isn't known (NaN) or 0, the values count alike and
        their scatter alone tells how sure the mean is.
    coverage : float
        Of the interval.

    Returns
    -------
    MeanEffect
        The variance between is that of Paule and Mandel [4]_, which makes the weighted squares of
        the deviations what they should be. The mean's own variance is the robust one [2]_ ("HC3"),
        which doesn't rest on weights that are themselves estimated; the interval has Student's
        distribution of n - 1 degrees of freedom. Where values count alike it is Student's own.

    Examples
    --------
    >>> import loganalyze as la
    >>> found = la.mean_effect([1.8, 2.4, 1.9, 2.2], u=[0.3, 0.4, 0.3, 0.5])
    >>> round(found.mean, 2), found.low < 2.0 < found.high
    (2.0, True)
    """
    given = np.asarray(values, np.float64)
    if len(given) < 2:
        raise ValueError("a mean effect needs at least two values")
    variance, between = _variances(given, np.broadcast_to(np.asarray(u, np.float64), given.shape))
    weights = 1 / np.maximum(variance + between, _LEAST)
    mean = float((weights * given).sum() / weights.sum())
    share = weights / weights.sum()
    # With equal shares the deviations' squares are too small by exactly 1 - 1 / n; with shares that
    # are estimated, by more: Hartung and Knapp's interval holds in only .925 of 8 flights whose
    # errors are .5 to 3 kt, with 1 kt between them; this one in .94 to .96 everywhere.
    alike = bool((share == share[0]).all())
    squares = (given - mean) ** 2 / (1 - share) ** (1 if alike else 2)
    own = float(np.sqrt((share ** 2 * squares).sum()))
    half = own * float(t.ppf((1 + coverage) / 2, len(given) - 1))
    chance = 2 * float(t.sf(abs(mean) / own, len(given) - 1)) if own > 0 else float(mean == 0)
    return MeanEffect(mean, mean - half, mean + half, own, float(np.sqrt(between)), len(given),
                      chance)


_LEAST = 1e-18
"""Variance for values that don't differ at all."""


def _variances(values: Floats, u: Floats) -> tuple[Floats, float]:
    """Return the values' own variances, and the variance between."""
    if not (u > 0).all():
        return np.zeros(len(values)), float(values.var(ddof=1))
    squared = u ** 2
    low, high = 0.0, float(np.ptp(values)) ** 2
    if _generalized(values, squared) <= len(values) - 1:
        return squared, 0.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = ((middle, high)
                     if _generalized(values, squared + middle) > len(values) - 1 else (low, middle))
    return squared, high


def _generalized(values: Floats, variances: Floats) -> float:
    """Return the sum of squared deviations from the weighted mean, each by its variance."""
    mean = (values / variances).sum() / (1 / variances).sum()
    return float(((values - mean) ** 2 / variances).sum())


def drift(values: ArrayLike, years: ArrayLike, u: ArrayLike = np.nan, coverage: float = COVERAGE,
          ) -> tuple[float, float, float]:
    """Return the change of values in a year and its interval, by weighted least squares.

    The variance between is that about the mean; the residuals' scatter scales the interval, with
    Student's distribution of n - 2 degrees of freedom. NaN for fewer than three values, or where
    all are of one day.
    """
    given, when = np.asarray(values, np.float64), np.asarray(years, np.float64)
    if len(given) < 3 or not np.ptp(when) > 0:
        return (float("nan"),) * 3
    variance, between = _variances(given, np.broadcast_to(np.asarray(u, np.float64), given.shape))
    weights = 1 / np.maximum(variance + between, _LEAST)
    middle = (weights * when).sum() / weights.sum()
    mean = (weights * given).sum() / weights.sum()
    spread = float((weights * (when - middle) ** 2).sum())
    slope = float((weights * (when - middle) * (given - mean)).sum()) / spread
    left = given - mean - slope * (when - middle)
    own = float(np.sqrt((weights * left ** 2).sum() / (len(given) - 2) / spread))
    half = own * float(t.ppf((1 + coverage) / 2, len(given) - 2))
    return slope, slope - half, slope + half


def shrunk(means: Sequence[MeanEffect]) -> list[float]:
    """Return each mean drawn towards that of all; NaN for fewer than three.

    A mean of which little is known is drawn far, one known well hardly.
    """
    if len(means) < 3:
        return [float("nan")] * len(means)
    values, u = (
        np.array([effect.mean for effect in means]),
        np.array([effect.u for effect in means]),
    )
    whole = mean_effect(values, np.maximum(u, np.sqrt(_LEAST)))
    kept = whole.between ** 2 / np.maximum(whole.between ** 2 + u ** 2, _LEAST)
    return [float(value) for value in whole.mean + kept * (values - whole.mean)]


def aircraft_errors(store: str | Path, *, least: int = LEAST_FLIGHTS, coverage: float = COVERAGE
                    ) -> tuple[InstrumentError, ...]:
    """Return what the flights of a store show of each aircraft's instrument errors.

    Parameters
    ----------
    store : path-like
        The folder of the store.
    least : int
        Flights below which nothing is said of an aircraft, 2 or more.
    coverage : float
        Of the intervals.

    Returns
    -------
    tuple of InstrumentError
        By way, channel and aircraft. Nothing of it is applied to any flight.

    Raises
    ------
    Problem
        Where the folder is no store, or DuckDB isn't installed.

    Examples
    --------
    >>> import loganalyze as la
    >>> report = la.run_fleet(["sample_logs"], "store",
    ...                       limits="sample_logs/ouzelwing_240.toml", workers=0)
    >>> {error.way for error in la.aircraft_errors("store", least=2)}
    {'from standard atmosphere'}
    """
    with connect_store(store) as db:
        rows = db.execute(f"""
            with shown as (
                select way, channel, coalesce(second, '') as second, checks.unit as unit,
                       coalesce(registration, flights.aircraft) as of, flight_key,
                       epoch(start_utc) / 86400 / 365.25 as years, reads_high, reads_high_u,
                       strftime(start_utc, '%Y-%m') as month
                from checks join flights using (flight_key))
            select way, channel, second, unit, of, flight_key, years,
                   reads_high - case when way = '{FROM_STANDARD}'
                       then avg(reads_high) over (partition by way, channel, month) else 0 end,
                   reads_high_u
            from shown order by way, channel, second, unit, of, flight_key""").fetchall()
    found: list[InstrumentError] = []
    for kind in dict.fromkeys(row[:4] for row in rows):
        found += _of_kind(kind, [row[4:] for row in rows if row[:4] == kind], max(least, 2),
                          coverage)
    adjusted = holm([error.probability for error in found])
    return tuple(replace(
        error, probability=float(chance),
        finding=bool(chance < SURE and abs(error.reads_high) >= MATTERS.get(error.unit, 0.0)))
        for error, chance in zip(found, adjusted, strict=True))


def _of_kind(kind: tuple[str, str, str, str],
             rows: Sequence[tuple[str, str, float | None, float, float | None]], least: int,
             coverage: float) -> list[InstrumentError]:
    """Return the errors of all aircraft of one way, channel and second source."""
    way, channel, second, unit = kind
    names, means, parts = [], [], []
    for name in dict.fromkeys(row[0] for row in rows):
        own = [row for row in rows if row[0] == name]
        if len(own) < least:
            continue
        keys, years, values, u = (np.array(column) for column in list(zip(*own, strict=True))[1:])
        names.append(name)
        parts.append((keys, years.astype(np.float64), values.astype(np.float64),
                      u.astype(np.float64)))
        # What a turn tells of its own error says little of it: weights by it would be chance.
        own_errors = np.nan if way == TURNS else parts[-1][3]
        means.append(mean_effect(parts[-1][2], own_errors, coverage))
    found = []
    for name, mean, (keys, years, values, u), drawn in zip(
            names, means, parts, shrunk(means), strict=True):
        dated = ~np.isnan(years)
        moved = (float("nan"),) * 3
        if dated.any() and np.ptp(years[dated]) * 365.25 >= LEAST_DRIFT_DAYS:
            moved = drift(values[dated], years[dated], u[dated], coverage)
        found.append(InstrumentError(
            name, way, channel, second, unit, mean.mean, mean.low, mean.high, mean.between,
            drawn, *moved, mean.probability, False, tuple(keys.tolist())))
    return found
