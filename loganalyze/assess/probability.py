"""How sure each exceedance is.

P(truly over) = Phi(e / sqrt(u_s^2 + u_r^2)) under the flat prior: e the peak of a local
quadratic fit, u_r its standard error, u_s what is common to the flight and its sensors. A
common error is one error: it is neither shrunk by averaging nor counted once a sample.

References
----------
.. [1] JCGM 100:2008, 6.2 (expanded uncertainty).
.. [2] JCGM 106:2012, 7.2 (probability of exceeding a limit).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loganalyze.assess import peaks
from loganalyze.assess.priors import Flat, Prior
from loganalyze.assess.results import (
    BEYOND,
    NOT_DETERMINABLE,
    WITHIN,
    Assurance,
    MissedPeak,
)
from loganalyze.assess.uncertainty import ErrorModel, Uncertainty
from loganalyze.judge import exceedances
from loganalyze.judge.case import OVER, UNDER, UNKNOWN
from loganalyze.judge.flight import Analysis
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.units import KNOT

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]

DISPLAYED, FLOWN = "as displayed", "as flown"
NO_UNCERTAINTY, PEAK_AT_GAP, OUTSIDE_PRIOR = "no uncertainty", "peak at gap", "outside prior"
"""Why a verdict isn't determinable."""


@dataclass(frozen=True, slots=True)
class AssuranceSettings:
    """Thresholds of the assurance. All are printed with the results."""

    coverage: float = 0.95
    """Probability with which the expanded interval holds the true excess; an excess is beyond
    measurement uncertainty when the whole interval is."""
    near_probability: float = 0.2
    """A stretch that read under the limit is near when it was over with at least this
    probability, under the flat prior and on either basis; it lasts while that is half as much."""
    near_join_s: float = 30.0
    """Such stretches are one when less than this apart [s]."""

    def __post_init__(self) -> None:
        if not 0 < self.coverage < 1:
            raise ValueError("coverage must lie between 0 and 1")
        if not 0 < self.near_probability < 0.5:
            raise ValueError("near_probability must lie between 0 and 0.5")
        if not self.near_join_s >= 0:
            raise ValueError("near_join_s must not be negative")


@dataclass(frozen=True, slots=True)
class Assured:
    """What is known of one worst instant, on both bases."""

    displayed: Assurance
    flown: Assurance
    missed_peak: MissedPeak


def assured(
    uncertainty: Uncertainty, settings: AssuranceSettings | None = None,
    priors: Mapping[str, Prior] | None = None,
) -> tuple[Assured, ...]:
    """Say how sure each exceedance of an analysis is.

    Parameters
    ----------
    uncertainty : Uncertainty
        As `uncertainty_of` gave it.
    settings : AssuranceSettings, optional
    priors : mapping of str to Prior, optional
        Priors by limit; a limit without one gets the flat prior.

    Returns
    -------
    tuple of Assured
        Parallel to the analysis's exceedances.
    """
    analysis = uncertainty.analysis
    found: dict[int, Assured] = {}
    for i, limit in enumerate(analysis.sheet.limit):
        chosen = [k for k, one in enumerate(analysis.exceedances) if one.limit == limit.name]
        if chosen:
            worst = np.searchsorted(
                analysis.time, [analysis.exceedances[k].worst_time_s for k in chosen])
            found.update(zip(chosen, at_rows(uncertainty, i, worst, settings, priors),
                             strict=True))
    return tuple(found[k] for k in range(len(found)))


def at_rows(
    uncertainty: Uncertainty, limit: int, worst: Rows,
    settings: AssuranceSettings | None = None, priors: Mapping[str, Prior] | None = None,
) -> list[Assured]:
    """Say how sure the excess over one limit (its index) is at the given worst rows."""
    analysis = uncertainty.analysis
    settings = settings or AssuranceSettings()
    stated = analysis.sheet.limit[limit]
    prior = (priors or {}).get(stated.name, Flat())
    around = [_around(analysis, limit, int(row)) for row in worst]
    rows = [np.arange(one.first, one.last + 1) for one in around]
    if not rows:
        return []
    excess = -exceedances.margin(analysis._case, stated, np.concatenate(rows))
    pieces = np.split(excess, np.cumsum([len(one) for one in rows[:-1]]))
    model = uncertainty.at(limit, worst)
    shown = shift_as_displayed(uncertainty, limit, worst, model)
    lag = uncertainty.budget.lag_s
    answers = []
    for k, (one, piece, at) in enumerate(zip(around, pieces, worst.tolist(), strict=True)):
        time = analysis.time[one.first : one.last + 1]
        greatest = at - one.first
        # NaN stays: a noise that isn't known leaves the probability unknown.
        noise = float(np.maximum(model.flown_random[k], peaks.noise_of(piece)))
        start, stop = peaks.window(one.first, one.last, at, analysis.log.interval_s)
        cut = slice(start - one.first, stop - one.first)
        peak = peaks.fit(time[cut], piece[cut], at - start, noise)
        # A first-order lag takes half of the curvature times its square off the peak.
        late = 0.0 if math.isnan(peak.curvature) else abs(peak.curvature) * lag**2 / math.sqrt(3)
        open_end = ((one.open_before and at == one.first)
                    or (one.open_after and at == one.last))
        answers.append(Assured(
            _assurance(DISPLAYED, peak.excess - float(shown[k]),
                       math.hypot(float(model.displayed_common[k]), late),
                       peak.error, prior, settings, open_end),
            _assurance(FLOWN, peak.excess, float(model.flown_common[k]), peak.error, prior,
                       settings, open_end),
            MissedPeak(*peaks.missed(time, piece, greatest)),
        ))
    return answers


def shift_as_displayed(
    uncertainty: Uncertainty, limit: int, rows: Rows, model: ErrorModel
) -> Floats:
    """How much less the crew saw than was flown, in the limit's quantity: the instrument's error.

    The sheet's instrument correction is what the instrument reads too little. The position
    correction moves the limit pointer with the airspeed, so it shifts nothing.
    """
    air = uncertainty.analysis._case.air
    applied = any(one.code == "instrument_correction_applied" for one in air.findings)
    if not applied or air.indicated_airspeed is None or air.recorded_airspeed is None:
        return np.zeros(len(rows))
    added = air.indicated_airspeed[rows] - air.recorded_airspeed[rows]
    return np.asarray(added / KNOT * model.per_kt)


@dataclass(frozen=True, slots=True)
class _Around:
    """The unbroken judged rows about a worst one, and whether they end at something unknown."""

    first: int
    last: int
    open_before: bool
    open_after: bool


_LOOK_S = 30.0
"""How far to look for the greatest acceleration [s]."""


def _around(analysis: Analysis, limit: int, worst: int) -> _Around:
    state, time = analysis.columns[f"state_{limit}"], analysis.time
    interval = analysis.log.interval_s
    low = int(np.searchsorted(time, time[worst] - _LOOK_S))
    high = int(np.searchsorted(time, time[worst] + _LOOK_S, side="right")) - 1
    judged = (state[low : high + 1] == UNDER) | (state[low : high + 1] == OVER)
    whole = np.ones(high - low, dtype=bool)
    if interval > 0:
        whole = np.diff(time[low : high + 1]) <= HELD_INTERVALS * interval
    joined = whole & judged[1:] & judged[:-1]
    here = worst - low
    before, after = np.flatnonzero(~joined[:here]), np.flatnonzero(~joined[here:])
    first = int(before[-1]) + 1 if len(before) else 0
    last = here + int(after[0]) if len(after) else high - low

    def unknown(row: int, step: int) -> bool:
        if not 0 <= row < len(time) or state[row] == UNKNOWN:
            return True
        return interval > 0 and bool(
            abs(time[row] - time[row - step]) > HELD_INTERVALS * interval)

    return _Around(low + first, low + last,
                   unknown(low + first - 1, -1), unknown(low + last + 1, 1))


def _assurance(
    basis: str, excess: float, common: float, random: float, prior: Flat | Prior,
    settings: AssuranceSettings, open_end: bool,
) -> Assurance:
    u = math.hypot(common, random)
    nan = float("nan")
    if math.isnan(u) or math.isnan(excess):
        return Assurance(basis, excess, common, random, nan, nan, nan, NOT_DETERMINABLE,
                         prior.name, settings.coverage, NO_UNCERTAINTY)
    if u == 0.0:  # nothing is doubted, so nothing known beforehand changes it
        prior = Flat(prior.name)
    probability = prior.probability(excess, u)
    low, high = prior.interval(excess, u, settings.coverage)
    word = BEYOND if low > 0 or high < 0 else WITHIN
    reason = ""
    if math.isnan(probability):
        word, reason = NOT_DETERMINABLE, OUTSIDE_PRIOR
    elif open_end:
        # What lies in the gap may have been more; what was recorded stands.
        high, reason = nan, PEAK_AT_GAP
        word = BEYOND if low > 0 else NOT_DETERMINABLE
    return Assurance(basis, excess, common, random, probability, low, high, word,
                     prior.name, settings.coverage, reason)
