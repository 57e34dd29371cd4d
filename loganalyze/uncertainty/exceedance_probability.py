"""How sure each exceedance is.

P(truly over) = Phi(e / sqrt(u_s^2 + u_r^2)) under the flat prior: e the estimate of the greatest
true excess, u_r its standard error, u_s what is common to the flight and its sensors. A
common error is one error: it is neither shrunk by averaging nor counted once a sample. The
estimate is the top of a local quadratic fit (`peaks`), and where many samples are about as high
as the greatest, the mean posterior maximum (`plateau`).

References
----------
.. [1] JCGM 100:2008, 6.2 (expanded uncertainty).
.. [2] JCGM 106:2012, 7.2 (probability of exceeding a limit).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from loganalyze.events.analysis import Analysis
from loganalyze.limits.evaluation import OVER, UNDER, UNKNOWN
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.results.assessment_results import (
    NOT_DETERMINABLE,
    NOT_DISPLAYED,
    PROVEN_OVER,
    Assurance,
    MissedPeak,
)
from loganalyze.screening.noise_estimation import noise_near, noise_of
from loganalyze.uncertainty import airspeed_noise, peak_fit, plateau_maximum
from loganalyze.uncertainty.decision_rule import decided
from loganalyze.uncertainty.prior_models import Flat, Prior
from loganalyze.uncertainty.sample_uncertainty import (
    ErrorModel,
    Uncertainty,
    shift_as_displayed,
)

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]
_NAN = float("nan")

DISPLAYED, FLOWN = "as displayed", "as flown"
NO_UNCERTAINTY, PEAK_AT_GAP, OUTSIDE_PRIOR = "no uncertainty", "peak at gap", "outside prior"
"""Why a verdict isn't determinable."""


@dataclass(frozen=True, slots=True)
class AssuranceSettings:
    """Thresholds of the assurance. All are printed with the results."""

    coverage: float = 0.95
    """Probability with which the expanded interval holds the true excess: an excess is proven
    when the whole interval lies on one side of the limit (`decision`)."""
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
    """How sure one worst excess is.

    ``displayed``, ``flown`` : as the crew's instruments showed it, and as it was flown;
    ``missed_peak`` : what may have been higher between the recorded samples.
    """

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
        chosen = [k for k, exceedance in enumerate(analysis.exceedances)
                  if exceedance.limit == limit.name]
        if chosen:
            worst, first, last = (np.searchsorted(
                analysis.time, [getattr(analysis.exceedances[k], edge) for k in chosen])
                for edge in ("worst_time_s", "start_s", "end_s"))
            spans = list(zip(first.tolist(), last.tolist(), strict=True))
            found.update(zip(chosen, at_rows(uncertainty, i, worst, settings, priors, spans),
                             strict=True))
    return tuple(found[k] for k in range(len(found)))


def at_rows(
    uncertainty: Uncertainty, limit: int, worst: Rows,
    settings: AssuranceSettings | None = None, priors: Mapping[str, Prior] | None = None,
    spans: Sequence[tuple[int, int]] | None = None,
) -> list[Assured]:
    """Say how sure the excess over one limit is at the given worst rows.

    Parameters
    ----------
    uncertainty : Uncertainty
        As `uncertainty_of` gave it.
    limit : int
        The limit, by its index in the sheet.
    worst : intp[m]
        Rows of the log.
    settings : AssuranceSettings, optional
    priors : mapping of str to Prior, optional
        Priors by limit; a limit without one gets the flat prior.
    spans : sequence of (int, int), optional
        First and last row of the stretch that each is the worst of; absent: half a minute to
        either side.

    Returns
    -------
    list of Assured
        Parallel to `worst`. An outcome is "not determinable", with its reason, where the excess or
        its uncertainty is unknown (NaN), or the prior excludes the reading.
    """
    analysis = uncertainty.analysis
    settings = settings or AssuranceSettings()
    stated = analysis.sheet.limit[limit]
    prior = (priors or {}).get(stated.name, Flat())
    around = [_around(analysis, limit, int(row), None if spans is None else spans[k])
              for k, row in enumerate(worst)]
    rows = [np.arange(span.first, span.last + 1) for span in around]
    if not rows:
        return []
    excess = -analysis.evaluation.margin(stated, np.concatenate(rows))
    pieces = np.split(excess, np.cumsum([len(some) for some in rows[:-1]]))
    model = uncertainty.at(limit, worst)
    shown = shift_as_displayed(uncertainty, limit, worst, model)
    lag = uncertainty.budget.lag_s
    answers = []
    for k, (span, piece, at) in enumerate(zip(around, pieces, worst.tolist(), strict=True)):
        time = analysis.time[span.first : span.last + 1]
        worst_of = _greatest(uncertainty, span, piece, at, model, k)
        # A first-order lag takes half of the curvature times its square off the peak.
        bend = worst_of.curvature
        late = 0.0 if math.isnan(bend) else abs(bend) * lag**2 / math.sqrt(3)
        open_end = (
            (span.gap_before > 0 and at == span.first) or (span.gap_after > 0 and at == span.last)
            or (span.gap_before > _BESIDE_S and analysis.time[at] - time[0] < _BESIDE_S)
            or (span.gap_after > _BESIDE_S and time[-1] - analysis.time[at] < _BESIDE_S))
        near = slice(*np.searchsorted(
            time, (analysis.time[at] - _LOOK_S, analysis.time[at] + _LOOK_S + 1e-9)))
        displayed = _assurance(
            DISPLAYED, worst_of.less(float(shown[k])),
            math.hypot(float(model.displayed_common[k]), late), prior, settings, open_end)
        if not stated.kind.display_step_code:
            displayed = Assurance(DISPLAYED, _NAN, _NAN, _NAN, _NAN, _NAN, _NAN, NOT_DETERMINABLE,
                                  prior.name, settings.coverage, NOT_DISPLAYED)
        answers.append(Assured(
            displayed,
            _assurance(FLOWN, worst_of, float(model.flown_common[k]), prior, settings, open_end,
                       recording=float(model.displayed_common[k])),
            MissedPeak(*peak_fit.missed(time[near], piece[near], at - span.first - near.start)),
        ))
    return answers


@dataclass(frozen=True, slots=True)
class _Worst:
    """The greatest true excess and its standard error; if what may be noise is, `if_noise`."""

    reading: float
    excess: float
    error: float
    curvature: float
    separated_by: str = airspeed_noise.NONE
    if_noise: float | None = None
    error_if_noise: float = _NAN
    at_open_end: bool = False

    def less(self, shift: float) -> _Worst:
        """The same by so much lower."""
        return replace(self, reading=self.reading - shift, excess=self.excess - shift,
                       if_noise=None if self.if_noise is None else self.if_noise - shift)


def _greatest(
    uncertainty: Uncertainty, around: _Around, piece: Floats, at: int, model: ErrorModel, k: int
) -> _Worst:
    """Estimate the greatest true excess about the worst row `at`."""
    analysis = uncertainty.analysis
    # The noise is estimated from all rows around; the excess from the stretch's own.
    seen = noise_of(piece)
    own = slice(around.own_first - around.first, around.own_last - around.first + 1)
    around, piece = around.alone(), piece[own]
    interval, greatest = analysis.log.interval_s, at - around.first
    reading, step = float(piece[greatest]), math.sqrt(12.0) * float(model.rounding[k])
    # NaN stays: a noise that isn't known leaves the probability unknown.
    noise = float(np.maximum(model.flown_random[k], seen))
    start, stop = peak_fit.window(around.first, around.last, at, interval)
    cut = slice(start - around.first, stop - around.first)
    peak = peak_fit.fit(analysis.time[start:stop], piece[cut], at - start, noise)
    beside = max(1, round(_BESIDE_S / interval)) if interval > 0 else 1
    open_end = (around.gap_before > 0 and greatest < beside) or (
        around.gap_after > 0 and greatest >= len(piece) - beside)
    found = _Worst(reading, peak.excess, peak.error, peak.curvature, at_open_end=open_end)
    if math.isnan(noise) or not interval > 0:
        return found
    known, separated_by, near_noise = None, airspeed_noise.NONE, None
    per_kt = float(model.per_kt[k])
    if per_kt != 0.0:  # Noise of the airspeed is none of a quantity that doesn't follow from it.
        near_noise = uncertainty.airspeed_noise.near(at)
        known, separated_by = near_noise.noise, near_noise.known_by
    if known is not None:
        known = replace(known, standard=known.standard * per_kt)
        common = np.fmin(model.flown_common[k], model.displayed_common[k])
        if known.standard < _NEGLIGIBLE * common:
            known = None
    if known is not None or separated_by != airspeed_noise.NOT_SEPARABLE:
        found = replace(found, separated_by=separated_by)
    seen = max(seen, float(model.rounding[k]))
    many = int((piece > reading - _PLATEAU * seen).sum()) > _FEW
    if known is None and not many:
        return found
    near = slice(max(0, greatest - _NEAR), greatest + _NEAR)
    scatter = noise_near(analysis.time[around.first : around.last + 1][near], piece[near], step)
    wander = max(scatter.wander, 0.0 if known is None else known.standard)
    first, last = plateau_maximum.stretch(piece, greatest, interval, scatter.white, wander, step)
    if last - first < plateau_maximum.FEWEST:
        return found if known is None else replace(
            found, error=math.hypot(found.error, known.standard))
    # What the sheet states of single samples, and they don't show, is common to them.
    hidden = math.sqrt(max(float(model.flown_random[k]) ** 2 - scatter.white**2, 0.0))
    reaches = open_end or (around.gap_before > 0 and first < beside) or (
        around.gap_after > 0 and last > len(piece) - beside)
    if known is not None and separated_by != airspeed_noise.NOT_SEPARABLE:
        values = piece[first:last]
        expected = (near_noise.of_rows(around.first + first, around.first + last)
                    if near_noise else None)
        if expected is not None and near_noise is not None:
            # Another channel gives a part of the noise itself, not its size alone.
            values, known = values - per_kt * expected, near_noise.left
            known = known and replace(known, standard=known.standard * per_kt)
            hidden = math.hypot(hidden, near_noise.slow * per_kt)
        best = plateau_maximum.greatest(values, interval, step, known)
        return _Worst(reading, best.excess, math.hypot(best.error, hidden), best.curvature,
                      separated_by, at_open_end=reaches)
    top = replace(found, at_open_end=reaches)
    if many:
        best = plateau_maximum.greatest(piece[first:last], interval, step)
        top = _Worst(reading, best.excess, math.hypot(best.error, hidden), best.curvature,
                     found.separated_by, at_open_end=reaches)
    if known is None:
        return top
    less = plateau_maximum.greatest(piece[first:last], interval, step, known)
    if top.excess - less.excess < _SAME_KT * per_kt:
        return replace(top, separated_by=airspeed_noise.NONE)
    return replace(top, if_noise=less.excess, error_if_noise=math.hypot(less.error, hidden))


@dataclass(frozen=True, slots=True)
class _Around:
    """The unbroken judged rows about a worst one, and how long what is unknown beside them is [s].

    ``gap_before``, ``gap_after`` : 0 where nothing is unknown, infinite where more than some
    seconds are, or the log ends;
    ``own_first``, ``own_last`` : those of them up to the next exceedances before and after.
    """

    first: int
    last: int
    gap_before: float
    gap_after: float
    own_first: int
    own_last: int

    def alone(self) -> _Around:
        """Return the same without the rows of other exceedances, and what lies beyond them."""
        return replace(self, first=self.own_first, last=self.own_last,
                       gap_before=self.gap_before if self.own_first == self.first else 0.0,
                       gap_after=self.gap_after if self.own_last == self.last else 0.0)


_LOOK_S = 30.0
"""How far to look for the greatest acceleration [s], and beyond the ends of a stretch."""
_LONGEST_S, _MOST = 1200.0, 16384
"""How far to look along a stretch at most, to either side [s] and in samples."""
_PLATEAU, _FEW = 4.0, 4
"""A stretch is a plateau when more samples than this lie within so many standard deviations of
the greatest one."""
_NEAR = 256
"""The noise is estimated from so many samples on either side."""
_BESIDE_S = 5.0
"""What ends or is at its greatest within this of a gap may have been more in it [s]; in a longer
gap by so much that the interval has no upper end."""
_SAME_KT = 0.2
"""Two readings that differ by less are one [kt]."""
_NEGLIGIBLE = 0.1
"""Noise of less than this share of the common error changes nothing."""


def _around(
    analysis: Analysis, limit: int, worst: int, span: tuple[int, int] | None
) -> _Around:
    state, time = analysis.columns[f"state_{limit}"], analysis.time
    interval = analysis.log.interval_s
    own = (worst, worst) if span is None else span
    begin, end = own
    begin = max(begin, worst - _MOST, int(np.searchsorted(time, time[worst] - _LONGEST_S)))
    end = min(end, len(time) - 1, worst + _MOST,
              int(np.searchsorted(time, time[worst] + _LONGEST_S)))
    low = int(np.searchsorted(time, time[min(begin, worst)] - _LOOK_S))
    high = int(np.searchsorted(time, time[max(end, worst)] + _LOOK_S, side="right")) - 1
    judged = (state[low : high + 1] == UNDER) | (state[low : high + 1] == OVER)
    whole = np.ones(high - low, dtype=bool)
    if interval > 0:
        whole = np.diff(time[low : high + 1]) <= HELD_INTERVALS * interval
    joined = whole & judged[1:] & judged[:-1]
    here = worst - low
    before, after = np.flatnonzero(~joined[:here]), np.flatnonzero(~joined[here:])
    first = int(before[-1]) + 1 if len(before) else 0
    last = here + int(after[0]) if len(after) else high - low

    def gap(edge: int, step: int) -> float:
        row = edge + step
        while 0 <= row < len(time) and state[row] == UNKNOWN:
            if abs(time[row] - time[edge]) > _BESIDE_S:
                return math.inf
            row += step
        if not 0 <= row < len(time):
            return math.inf
        seconds = abs(float(time[row] - time[edge]))
        whole = row == edge + step and not (interval > 0 and seconds > HELD_INTERVALS * interval)
        return 0.0 if whole else seconds

    first, last = low + first, low + last
    # Other rows over the limit are those of other exceedances.
    earlier = np.flatnonzero(state[first : max(own[0], first)] == OVER)
    later = np.flatnonzero(state[min(own[1], last) + 1 : last + 1] == OVER)
    own_first = first + int(earlier[-1]) + 1 if len(earlier) else first
    own_last = min(own[1], last) + int(later[0]) if len(later) else last
    return _Around(first, last, gap(first, -1), gap(last, 1),
                   min(own_first, worst), max(own_last, worst))


def _assurance(
    basis: str, worst: _Worst, common: float, prior: Flat | Prior, settings: AssuranceSettings,
    open_end: bool, recording: float = math.inf,
) -> Assurance:
    """Decide on one basis; `recording` : what of `common` record and display differ by."""
    excess, random, u = worst.excess, worst.error, math.hypot(common, worst.error)
    shared = min(recording, common) if prior.displayed else common
    added = math.sqrt(common**2 - shared**2)
    if math.isnan(u) or math.isnan(excess):
        return Assurance(basis, excess, common, random, _NAN, _NAN, _NAN, NOT_DETERMINABLE,
                         prior.name, settings.coverage, NO_UNCERTAINTY, worst.reading)
    seen = math.hypot(shared, random)
    if seen == 0.0:  # the reading isn't doubted, so nothing known beforehand changes it
        prior = Flat(prior.name)
    probability = prior.probability(excess, seen, added)
    low, high = prior.interval(excess, seen, settings.coverage, added)
    if worst.if_noise is not None:
        least, most = prior.interval(worst.if_noise, math.hypot(shared, worst.error_if_noise),
                                     settings.coverage, added)
        low, high = min(low, least), max(high, most)
    word = decided(excess, low, high)
    reason = ""
    if math.isnan(probability):
        word, reason = NOT_DETERMINABLE, OUTSIDE_PRIOR
    elif open_end:
        # What lies in the gap may have been more; what was recorded stands.
        high, reason = _NAN, PEAK_AT_GAP
        word = PROVEN_OVER if low > 0 else NOT_DETERMINABLE
    return Assurance(basis, excess, common, random, probability, low, high, word,
                     prior.name, settings.coverage, reason, worst.reading,
                     open_end or worst.at_open_end, worst.separated_by, worst.if_noise)
