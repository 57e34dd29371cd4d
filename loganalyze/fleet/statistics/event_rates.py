"""Rates of rare events, with intervals that hold where aircraft differ, and tests of changes.

Aircraft of a fleet differ: in the error of their airspeed indication, in their routes, in who flies
them. Events of one aircraft therefore resemble each other, and an interval that takes them as
independent (Poisson) is too short. Here the rate of aircraft i is drawn from a gamma distribution
with mean mu and coefficient of variation c, and its events in h_i hours from a Poisson
distribution of mean rate h_i; together negative binomial (M. Greenwood, G. U. Yule, J. Roy.
Statist. Soc. 83, 1920, p. 255). mu has Jeffreys' prior for each c, the root of the information
sum h_i / (mu (1 + c**2 mu h_i)), which for c = 0 is that of a Poisson rate (H. Jeffreys, Proc. R.
Soc. A 186, 1946, p. 453); c a half-Cauchy prior of scale 2 (A. Gelman, Bayesian Analysis 1(3),
2006, p. 515, for the family; the scale is engineering judgement). The interval is the equal-tailed
one of the posterior of mu, integrated over c on a grid.

That is the interval of the mean rate of aircraft like these. The one of these very aircraft, in
the hours that they flew, is shorter, whether they differ or not: their events are Poisson with the
sum of their own means, and the interval is Jeffreys', which holds the truth in 95 % on average over
its discrete steps (L. D. Brown, T. T. Cai, A. DasGupta, Statistica Sinica 13, 2003, p. 19).

How often a 95 % interval holds the truth, by simulation (`tests.fleet.rate_coverage`; 3, 6 and 20
aircraft, 1 or 6 events each): that of these very aircraft in 93 to 97 of 100 fleets everywhere;
that of aircraft like them in 93 to 99 where they differ (c of .5 or 1), and in 96 to 100 where they
don't. The last is too wide, and it stays so: few aircraft can't show that they don't differ. Priors
that expect less (half-Cauchy of scale 1, .5 or .25, half-normal of scale 1 or .5, a probability of
.3 or .5 that c = 0) were tried on 400 fleets of each kind: alike aircraft are then held in 95 to 99
of 100, but six aircraft with c = 1 in 84 to 91 only, and three in 83 to 96.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaln
from scipy.stats import chi2, norm

COVERAGE = 0.95
CV_SCALE = 2.0
PERMUTATIONS = 1_999
MOST_PERMUTED = 5_000
"""Flights up to which permutations are drawn; beyond, their normal limit serves."""

_CV = np.concatenate([[0.02], np.linspace(0.06, 4.0, 50)])
_LOG_MEAN = np.linspace(-7.0, 5.0, 400)


@dataclass(frozen=True, slots=True)
class EventRate:
    """A rate of events and its interval.

    ``events`` : how many; ``hours`` : in which; ``rate``, ``low``, ``high`` : events per hour, and
    the interval of aircraft like these; ``aircraft`` : how many contributed hours; ``dispersion`` :
    how many times as variable the counts of single flights are as independent events would be, at
    least 1; ``own_low``, ``own_high`` : the interval of these very aircraft in those hours.
    """

    events: int
    hours: float
    rate: float
    low: float
    high: float
    aircraft: int
    dispersion: float
    own_low: float = float("nan")
    own_high: float = float("nan")


def event_rate(events: ArrayLike, hours: ArrayLike, aircraft: ArrayLike,
               coverage: float = COVERAGE) -> EventRate:
    """Return the rate of events of a fleet, from its flights.

    Parameters
    ----------
    events : array_like
        Events of each flight, integers >= 0, shape (n,).
    hours : array_like
        Hours of each in which events could be found, > 0, shape (n,).
    aircraft : array_like
        Which aircraft each was flown with, shape (n,).
    coverage : float
        Of the interval, between 0 and 1.

    Returns
    -------
    EventRate
        Of several aircraft the mean rate of aircraft like these, and the rate of these; of a
        single one both intervals are the same. Counts and hours are divided by the dispersion of
        the flights before either is computed. Without events an interval begins at 0. Without
        hours rate and intervals are NaN.

    Raises
    ------
    ValueError
        For arrays of different lengths.

    Examples
    --------
    >>> import loganalyze as la
    >>> found = la.event_rate(events=[1, 0, 2], hours=[400, 300, 300], aircraft=["a", "a", "a"])
    >>> found.events, round(1000 * found.rate, 2)
    (3, 3.0)
    """
    counts, time, which = _flights(events, hours, aircraft)
    total, exposure = float(counts.sum()), float(time.sum())
    if not exposure > 0:
        return EventRate(int(total), exposure, np.nan, np.nan, np.nan, 0, 1.0)
    number = int(which.max()) + 1
    by_aircraft = np.bincount(which, counts, number)
    hours_of = np.bincount(which, time, number)
    dispersion = flight_dispersion(counts, time, which)
    tail = (1 - coverage) / 2
    own_low, own_high = (limit * dispersion / exposure
                         for limit in poisson_interval(total / dispersion, coverage))
    low, high = own_low, own_high
    if number > 1:
        low, high = _posterior(by_aircraft / dispersion, hours_of / dispersion, tail)
        low = low if total else 0.0
    return EventRate(int(total), exposure, total / exposure, low, high, number, dispersion,
                     own_low, own_high)


def poisson_interval(events: float, coverage: float = COVERAGE) -> tuple[float, float]:
    """Return Jeffreys' interval of the mean of a Poisson count; from 0 where there are none.

    It lies within the exact one (F. Garwood, Biometrika 28, 1936, p. 437), which holds the truth
    in 95 % at least, and of few events in far more.
    """
    tail = (1 - coverage) / 2
    low = float(chi2.ppf(tail, 2 * events + 1)) / 2 if events > 0 else 0.0
    return low, float(chi2.ppf(1 - tail, 2 * events + 1)) / 2


def flight_dispersion(events: ArrayLike, hours: ArrayLike, aircraft: ArrayLike) -> float:
    """Return the dispersion of flights' counts about the rate of their aircraft, at least 1.

    Pearson's chi squared by its degrees of freedom (P. McCullagh, J. A. Nelder, Generalized Linear
    Models, 2nd edition, 1989, chapter 6); 1 where fewer than two events were found.
    """
    counts, time, which = _flights(events, hours, aircraft)
    number = int(which.max()) + 1 if len(which) else 0
    rates = np.bincount(which, counts, number) / np.bincount(which, time, number)
    expected = rates[which] * time
    some = expected > 0
    freedom = int(some.sum()) - int(np.count_nonzero(rates))
    if counts.sum() < 2 or freedom < 1:
        return 1.0
    return max(1.0, float(((counts - expected)[some] ** 2 / expected[some]).sum() / freedom))


@dataclass(frozen=True, slots=True)
class RateChange:
    """How the rate after an instant compares with that before it, in the same aircraft.

    ``ratio`` : after by before, aircraft by aircraft (Mantel-Haenszel); NaN where it can't be
    known; ``probability`` : of so great a difference, either way, if nothing changed.
    """

    before: EventRate
    after: EventRate
    ratio: float
    probability: float


def rate_change(events: ArrayLike, hours: ArrayLike, aircraft: ArrayLike, later: ArrayLike,
                seed: int = 0) -> RateChange:
    """Compare the flights after an instant with those before it.

    The ratio is that of Mantel and Haenszel for person-time (K. J. Rothman, S. Greenland, Modern
    Epidemiology, 2nd edition, 1998, chapter 15), with the aircraft as strata: that aircraft differ
    can't pass for a change. The probability is by permutation of "before" and "after" among the
    flights of each aircraft, so that flights with several events don't either.

    Parameters
    ----------
    events, hours, aircraft
        As for `event_rate`.
    later : array_like of bool
        Whether each flight was after the instant, shape (n,).
    seed : int
        Of the permutations.

    Returns
    -------
    RateChange

    Examples
    --------
    >>> import loganalyze as la
    >>> found = la.rate_change(events=[4, 1], hours=[100, 50], aircraft=["a", "a"],
    ...                        later=[False, True])
    >>> round(found.ratio, 2)
    0.5
    """
    counts, time, which = _flights(events, hours, aircraft)
    after = np.asarray(later, dtype=bool)[np.asarray(hours, np.float64) > 0]
    return RateChange(
        event_rate(counts[~after], time[~after], which[~after]),
        event_rate(counts[after], time[after], which[after]),
        _ratio(counts, time, which, after),
        trend_probability(counts, time, which, after.astype(np.float64), seed))


def trend_probability(events: ArrayLike, hours: ArrayLike, aircraft: ArrayLike, when: ArrayLike,
                      seed: int = 0) -> float:
    """Return how probable so strong a trend is, either way, if the rate of no aircraft changed.

    The statistic is the sum over flights of their events less those that the rate of their
    aircraft lets expect, times `when`; its distribution that of all orders of the flights of each
    aircraft: 1,999 drawn ones, and of more than 5,000 flights the normal limit with the exact
    variance (W. Hoeffding, Ann. Math. Statist. 22, 1951, p. 558).

    Parameters
    ----------
    events, hours, aircraft
        As for `event_rate`.
    when : array_like
        Of each flight: its day, or 0 before and 1 after an instant, shape (n,).
    seed : int
        Of the permutations.
    """
    counts, time, which = _flights(events, hours, aircraft)
    instants = np.asarray(when, np.float64)[np.asarray(hours, np.float64) > 0]
    if not counts.sum() > 0:
        return 1.0
    number = int(which.max()) + 1
    flights = np.bincount(which, minlength=number)
    rates = np.bincount(which, counts, number) / np.bincount(which, time, number)
    excess = counts - rates[which] * time
    instants = instants - (np.bincount(which, instants, number) / flights)[which]
    statistic = abs(float(excess @ instants))
    squares = [np.bincount(which, part ** 2, number) for part in (excess, instants)]
    variance = float((squares[0] * squares[1] / np.maximum(flights - 1, 1)).sum())
    if not variance > 0:
        return 1.0
    if len(counts) > MOST_PERMUTED:
        return float(2 * norm.sf(statistic / np.sqrt(variance)))
    rng = np.random.default_rng(seed)
    order = np.argsort(which, kind="stable")
    placed, ordered, own = excess[order], instants[order], which[order]
    as_great = 0
    for some in np.array_split(np.arange(PERMUTATIONS), 10):
        shuffled = ordered[np.argsort(own + rng.random((len(some), len(own))), axis=1)]
        as_great += int((np.abs(shuffled @ placed) >= statistic * (1 - 1e-12)).sum())
    return (1 + as_great) / (1 + PERMUTATIONS)


def holm(probabilities: ArrayLike) -> NDArray[np.float64]:
    """Return probabilities adjusted for their number (S. Holm, Scand. J. Statist. 6, 1979, p. 65).

    Shape (n,), the order is kept; NaN stays NaN and isn't counted.
    """
    given = np.asarray(probabilities, dtype=np.float64)
    found = np.full(given.shape, np.nan)
    known = np.flatnonzero(~np.isnan(given))
    order = known[np.argsort(given[known], kind="stable")]
    steps = given[order] * np.arange(len(order), 0, -1)
    found[order] = np.minimum(np.maximum.accumulate(steps), 1.0)
    return found


def _flights(events: ArrayLike, hours: ArrayLike, aircraft: ArrayLike,
             ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.intp]]:
    """Return the flights that have hours: counts, hours and the number of each one's aircraft."""
    counts, time = np.asarray(events, np.float64), np.asarray(hours, np.float64)
    names = np.asarray(aircraft)
    if not counts.shape == time.shape == names.shape:
        raise ValueError("events, hours and aircraft must have one entry a flight")
    kept = time > 0
    _, which = np.unique(names[kept], return_inverse=True)
    return counts[kept], time[kept], which


def _posterior(events: NDArray[np.float64], hours: NDArray[np.float64],
               tail: float) -> tuple[float, float]:
    """Return the equal-tailed interval of the mean rate, over the grid of log mu and c."""
    log_mean = _LOG_MEAN + np.log(max(events.sum(), 0.5) / hours.sum())
    expected = np.exp(log_mean)[:, None] * hours
    shape = _CV ** -2.0
    likelihood = np.stack([
        (gammaln(events + r) - gammaln(r) + r * np.log(r) - (r + events) * np.log(r + expected)
         + events * np.log(expected)).sum(axis=1) for r in shape], axis=1)
    information = np.stack([(expected / (1 + c ** 2 * expected)).sum(axis=1) for c in _CV], axis=1)
    log_density = (likelihood + 0.5 * np.log(information) - np.log1p((_CV / CV_SCALE) ** 2)
                   + np.log(np.gradient(_CV)))
    density = np.exp(log_density - log_density.max()).sum(axis=1)
    reached = np.cumsum(density) / density.sum()
    low, high = np.exp(np.interp([tail, 1 - tail], reached, log_mean))
    return float(low), float(high)


def _ratio(events: NDArray[np.float64], hours: NDArray[np.float64], which: NDArray[np.intp],
           after: NDArray[np.bool_]) -> float:
    number = int(which.max()) + 1 if len(which) else 0
    sums = [np.bincount(which[part], values[part], number)
            for part in (after, ~after) for values in (events, hours)]
    later, later_hours, sooner, sooner_hours = sums
    time = later_hours + sooner_hours
    upper, lower = (later * sooner_hours / time).sum(), (sooner * later_hours / time).sum()
    return float(upper / lower) if lower > 0 else float("nan")
