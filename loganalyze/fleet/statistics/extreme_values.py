"""The tail of a fleet's smallest margins, and how long it takes on average until one is used up.

Of each flight the closest approach to its limits in one phase counts once, so that what happens
within a flight isn't counted as independent. Approaches closer than a threshold follow a
generalized Pareto distribution [1]_, which is extended to the limit and beyond. Two errors of
measurement are told apart:

- of the recording (recorder and display differ; noise; steps): a recorded margin is the displayed
  one plus this error, so recorded margins scatter more than displayed ones. It is taken out, by the
  likelihood of the recorded margins given the displayed ones' distribution and the error's size.
- of the instrument (static source, air data): crews fly by what is displayed, so that the flown
  margin is the displayed one plus this error, the same in all flights of an aircraft. It is added:
  drawn for each aircraft anew, and the fleet's mean rate taken.

The interval is that of the posterior of scale and shape under the maximal data information prior,
cut at a shape of -1 [2]_, on a grid, and of the number of peaks under Jeffreys' prior.

References
----------
.. [1] S. Coles, An Introduction to Statistical Modeling of Extreme Values, Springer, 2001,
   chapter 4 (peaks over a threshold), 4.3.3 (return levels).
.. [2] P. J. Northrop, N. Attalides, Statistica Sinica 26 (2016), p. 721.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize

Floats = NDArray[np.float64]

LEAST_PEAKS = 50
"""Peaks below which no tail is estimated."""
MOST_PEAKS = 400
"""Peaks above which a closer threshold serves: the distribution is one of the tail."""
USUAL_SHARE = 0.05
"""Share of the flights that are peaks, where that gives enough; engineering judgement."""
GREATEST_SHARE = 0.25
"""Share of the flights above which their closest are no tail; engineering judgement."""
REACH = 5.0
"""Times the exposure beyond which no time to an exceedance is given."""
COVERAGE = 0.95
DRAWS = 4000

TOO_FEW, TOO_FAR = "too few peaks", "beyond five times the exposure"


@dataclass(frozen=True, slots=True)
class Recurrence:
    """The expected time from one exceedance to the next, in judged hours and in flights.

    ``low``, ``high`` : the ends of its interval; ``high`` is infinite where it lies beyond
    `REACH` times the exposure. With ``refused`` there is no estimate (NaN), and ``low`` is what it
    is longer than, NaN where nothing is known.
    """

    hours: float
    low: float
    high: float
    flights: float
    flights_low: float
    flights_high: float
    refused: str = ""


@dataclass(frozen=True, slots=True)
class MarginTail:
    """The lower tail of the smallest margins.

    ``flights``, ``hours`` : the exposure; ``peaks`` : flights closer than ``threshold`` [kt];
    ``over`` : of them, recorded over the limit; ``scale`` [kt], ``shape`` : of the displayed
    margins' generalized Pareto distribution, by maximum likelihood; ``displayed``, ``flown`` : the
    recurrence on each basis; ``refused`` : why there is none, as a code.
    """

    flights: int
    hours: float
    peaks: int
    over: int
    threshold: float
    scale: float
    shape: float
    displayed: Recurrence
    flown: Recurrence
    refused: str = ""


def margin_tail(
    margins: ArrayLike, hours: ArrayLike, aircraft: ArrayLike, *,
    recording_u: ArrayLike = 0.0, instrument_u: ArrayLike = 0.0,
    threshold: float | None = None, coverage: float = COVERAGE, seed: int = 0,
) -> MarginTail:
    """Estimate the tail of the smallest margins, and the expected time to an exceedance.

    Parameters
    ----------
    margins : array_like, shape (n,)
        The smallest margin of each flight in one phase, one type of aircraft [kt]; negative is
        over; NaN where it isn't known: the flight then counts for nothing; infinite where it
        wasn't to the limit that is asked about: the flight then counts in the exposure alone.
    hours : array_like, shape (n,)
        Judged hours of each flight.
    aircraft : array_like, shape (n,)
        Which aircraft each was flown with.
    recording_u, instrument_u : array_like, shape (n,) or ()
        Standard uncertainty of each margin by the recording, and by the instrument [kt].
    threshold : float, optional
        The margin [kt] below which a flight is a peak; otherwise a twentieth of the flights are, at
        least 50 and at most 400.
    coverage : float
        Of the intervals.
    seed : int
        Of the draws of the instruments' errors.

    Returns
    -------
    MarginTail
        Refused as "too few peaks" below 50, or where 50 are more than a quarter of the flights
        and no threshold is given; a recurrence beyond five times the exposure is refused, too.

    Examples
    --------
    >>> import loganalyze as la
    >>> import numpy as np
    >>> margins = np.random.default_rng(1).exponential(4.0, 2000)
    >>> tail = la.margin_tail(20 - margins, np.ones(2000), np.arange(2000) % 7)
    >>> tail.peaks, 60 < tail.flown.hours < 400
    (100, True)
    """
    values = np.asarray(margins, np.float64)
    time = np.asarray(hours, np.float64)
    names = np.asarray(aircraft)
    if not values.shape == time.shape == names.shape:
        raise ValueError("margins, hours and aircraft must have one entry a flight")
    recording, instrument = (np.broadcast_to(np.asarray(u, np.float64), values.shape)
                             for u in (recording_u, instrument_u))
    known = ~np.isnan(values) & (time > 0) & np.isfinite(recording) & np.isfinite(instrument)
    values, time, recording, instrument = (
        some[known] for some in (values, time, recording, instrument))
    _, which = np.unique(names[known], return_inverse=True)
    exposure = float(time.sum())
    over = int((values < 0).sum())
    chosen = _threshold(values[np.isfinite(values)]) if threshold is None else threshold
    peaks = np.flatnonzero(values < chosen)
    if len(peaks) < LEAST_PEAKS:
        none = Recurrence(np.nan, np.nan, np.nan, np.nan, np.nan, np.nan, TOO_FEW)
        return MarginTail(len(values), exposure, len(peaks), over, chosen, np.nan, np.nan, none,
                          none, TOO_FEW)
    excess = chosen - values[peaks]
    tail = _Tail(excess, recording[peaks])
    scale, shape = tail.likeliest()
    rng = np.random.default_rng(seed)
    scales, shapes = tail.draws(rng)
    count = rng.gamma(len(peaks) + 0.5, size=DRAWS)
    # Peaks recorded closer than the threshold, by the displayed ones that there must have been.
    displayed = count / tail.seen(scales, shapes)
    share = np.bincount(which[peaks], minlength=int(which.max()) + 1) / len(peaks)
    flown = np.zeros(DRAWS)
    u = float(np.sqrt(np.mean(instrument[peaks] ** 2)))
    for part in share[share > 0].tolist():
        error = u * rng.standard_normal(DRAWS) if u > 0 else np.zeros(DRAWS)
        flown += part * survival(chosen + error, scales, shapes)
    rates = [displayed * survival(np.full(DRAWS, chosen), scales, shapes), displayed * flown]
    on_each = [_recurrence(np.minimum(rate, len(values)), exposure, len(values), coverage)
               for rate in rates]
    return MarginTail(len(values), exposure, len(peaks), over, chosen, scale, shape, on_each[0],
                      on_each[1])


def survival(excess: Floats, scale: Floats, shape: Floats) -> Floats:
    """Return the share of a generalized Pareto distribution beyond an excess, 0 beyond its end.

    Below 0 it goes on as an exponential distribution of that scale, which joins it smoothly: so
    many times as many lie beyond. A recording's error needs no more than the next knots.
    """
    log, _ = _log_survival(excess, scale, shape)
    return np.exp(log)


def _log_survival(excess: Floats, scale: Floats, shape: Floats) -> tuple[Floats, Floats]:
    """Return the logarithm of the survival, and of the base that it is a power of."""
    whole = np.where(np.abs(shape) < _SMALL, _SMALL, shape)
    base = 1.0 + whole * excess / scale
    log = np.where(excess < 0, 0.0, np.log(np.maximum(base, 1e-300)))
    return np.where(excess < 0, -excess / scale, np.where(base > 0, -log / whole, -np.inf)), log


_SMALL = 1e-6
"""Shapes closer to 0 are taken for this one: an exponential distribution."""
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(7)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()


class _Tail:
    """The excesses over a threshold, each with its error, and the posterior of their distribution.

    ``excess``, ``error`` : float64[n] [kt].
    """

    def __init__(self, excess: Floats, error: Floats) -> None:
        if len(excess) > 4 * MOST_PEAKS:
            # A given threshold may be far out: their distribution is known well from a part.
            kept = np.linspace(0, len(excess) - 1, 4 * MOST_PEAKS).astype(np.intp)
            order = np.argsort(excess)[kept]
            self.weight = len(excess) / len(kept)
            excess, error = excess[order], error[order]
        else:
            self.weight = 1.0
        self.excess = excess
        exact = not np.any(error > 0)
        nodes = np.zeros(1) if exact else _NODES
        self.weights = np.ones(1) if exact else _WEIGHTS
        self.shifts = error[:, None] * nodes
        log_scale, shape = np.log(excess.mean()) + np.linspace(-2, 2, 25), np.linspace(-1, 1, 25)
        logs = self._posterior(log_scale, shape)
        inside = np.argwhere(logs > logs.max() - 12)
        (first, left), (last, right) = inside.min(axis=0), inside.max(axis=0)
        self.log_scale = np.linspace(log_scale[max(first - 1, 0)], log_scale[min(last + 1, 24)], 37)
        self.shape = np.linspace(shape[max(left - 1, 0)], shape[min(right + 1, 24)], 37)
        self.logs = self._posterior(self.log_scale, self.shape)

    def log_likelihood(self, scale: float, shapes: Floats) -> Floats:
        """Return the logarithms of the likelihoods of the excesses with one scale, some shapes."""
        size, form = np.full(1, scale), shapes[:, None, None]
        log, base = _log_survival(self.excess[:, None] - self.shifts, size, form)
        density = np.exp(log - base) @ self.weights / scale
        beyond = np.exp(_log_survival(self.shifts, size, form)[0]) @ self.weights
        with np.errstate(divide="ignore"):
            found: Floats = self.weight * (np.log(density) - np.log(beyond)).sum(axis=1)
        return found

    def likeliest(self) -> tuple[float, float]:
        """Return scale and shape by maximum likelihood, the shape between -1 and 1."""
        i, j = np.unravel_index(int(self.logs.argmax()), self.logs.shape)
        found = minimize(
            lambda at: -self.log_likelihood(float(np.exp(at[0])), np.clip(at[1:], -1, 1))[0],
            (self.log_scale[i], self.shape[j]), method="Nelder-Mead",
            options={"xatol": 1e-6, "fatol": 1e-8})
        return float(np.exp(found.x[0])), float(np.clip(found.x[1], -1, 1))

    def draws(self, rng: np.random.Generator) -> tuple[Floats, Floats]:
        """Return draws of scale and shape from the posterior, within their cells of the grid."""
        mass = np.exp(self.logs - self.logs.max()).ravel()
        cell = rng.choice(len(mass), DRAWS, p=mass / mass.sum())
        i, j = np.unravel_index(cell, self.logs.shape)
        steps = [np.diff(axis[:2])[0] * (rng.random(DRAWS) - 0.5)
                 for axis in (self.log_scale, self.shape)]
        return np.exp(self.log_scale[i] + steps[0]), self.shape[j] + steps[1]

    def seen(self, scale: Floats, shape: Floats) -> Floats:
        """Return how many are recorded beyond the threshold for each one displayed beyond it."""
        size = float(np.sqrt(np.mean((self.shifts ** 2) @ self.weights)))
        if size == 0.0:
            return np.ones(len(scale))
        return np.exp(_log_survival(size * _NODES, scale[:, None], shape[:, None])[0]) @ _WEIGHTS

    def _posterior(self, log_scale: Floats, shape: Floats) -> Floats:
        return np.array([self.log_likelihood(float(np.exp(logarithm)), shape) - shape
                         for logarithm in log_scale])


def _threshold(values: Floats) -> float:
    """Return a margin that enough are closer than, and not too many; NaN where there is none."""
    count = min(max(LEAST_PEAKS, round(USUAL_SHARE * len(values))), MOST_PEAKS)
    if count > GREATEST_SHARE * len(values):
        return float("nan")
    ordered = np.sort(values)
    return float((ordered[count - 1] + ordered[count]) / 2)


def _recurrence(expected: Floats, hours: float, flights: int, coverage: float) -> Recurrence:
    """Return the recurrence, from draws of the exceedances expected in the exposure."""
    tail = (1 - coverage) / 2
    fewest, middle, most = np.quantile(expected, [tail, 0.5, 1 - tail]).tolist()
    shortest = hours / most if most > 0 else np.inf
    longest = hours / fewest if fewest * REACH >= 1 else np.inf
    each = flights / hours
    if middle * REACH < 1:
        low = min(shortest, REACH * hours)
        return Recurrence(np.nan, low, np.inf, np.nan, low * each, np.inf, TOO_FAR)
    time = hours / middle
    return Recurrence(time, shortest, longest, time * each, shortest * each, longest * each)
