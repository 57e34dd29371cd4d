"""Scale error of the true airspeed, estimated from turns, in which the wind stays the same.

In a turn the ground velocity is the air velocity plus the wind:

    G_j = k TAS_j R(delta) u(psi_j) + W_turn + w(t_j) + noise

with u the unit vector of the heading psi and R(delta) a rotation for what heading and track
differ by (magnetic variation, sideslip). It is linear in k cos(delta), k sin(delta) and W, the
turn's own wind of any size. The wind's change w within the turn is a first-order autoregressive
process (covariance s^2 exp(-|dt| / tau), each component by itself) beside white noise. The
share of the residuals due to wind, and its time scale, are estimated too: generalized least squares
for each pair on a grid, averaged by its integrated likelihood (flat in the coefficients and in
log s). A wind that changes in step with the turn looks like a scale error and leaves no residual;
therefore the pairs are averaged instead of choosing one.

References
----------
.. [1] Harville, D. A., Bayesian inference for variance components using only error contrasts,
   Biometrika 61 (1974), 383-385: the integrated (restricted) likelihood.
.. [2] JCGM 102:2011, 6.4 and JCGM 100:2008, 5.2 (correlated inputs).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

import numpy as np

from loganalyze.air import airspeed
from loganalyze.crosscheck.turn_detection import (
    TurnSettings,
    thinned,
    true_airspeed_known,
    turns_among,
)
from loganalyze.events.analysis import Analysis
from loganalyze.limits import limit_equivalents
from loganalyze.record.arrays import Floats, Rows
from loganalyze.record.units import KNOT

__all__ = ["ScaleError", "TurnSettings", "scale_error"]


@dataclass(frozen=True, slots=True)
class ScaleError:
    """The true airspeed error estimated from turns.

    ``scale`` : true speed over the reconstructed one, minus 1; ``scale_u`` its
    standard uncertainty;
    ``reads_high_kt`` : reconstructed minus true, at the turns' mean true airspeed, with
    ``reads_high_u_kt``; ``heading_offset_deg`` : track minus heading without wind;
    ``as_calibrated_kt``, ``as_calibrated_u_kt`` : the same if all of it is an error of the
    calibrated airspeed;
    ``condition`` : condition number of the split; the split's errors (what the recorded value
    reads too high) are NaN where it doesn't allow it.
    """

    turns: int
    samples: int
    scale: float
    scale_u: float
    reads_high_kt: float
    reads_high_u_kt: float
    heading_offset_deg: float
    condition: float
    as_calibrated_kt: float = float("nan")
    as_calibrated_u_kt: float = float("nan")
    airspeed_reads_high_kt: float = float("nan")
    airspeed_u_kt: float = float("nan")
    temperature_reads_high_k: float = float("nan")
    temperature_u_k: float = float("nan")


def scale_error(analysis: Analysis, settings: TurnSettings | None = None) -> ScaleError | None:
    """Estimate the scale error of the reconstructed true airspeed from the flight's turns.

    Parameters
    ----------
    analysis : Analysis
        The judged flight, with ground speed, track, heading and air temperature recorded.
    settings : TurnSettings, optional
        Thresholds for turns.

    Returns
    -------
    ScaleError or None
        None where a channel is missing or no turn was flown. Nothing is applied to the flight.
    """
    settings = settings or TurnSettings()
    log = analysis.log
    if any(name not in log for name in ("ground_speed", "track", "heading")):
        return None
    rows = thinned(analysis.time, settings.step_s)
    ground, track, heading = (log.aligned(name)[rows]
                              for name in ("ground_speed", "track", "heading"))
    known = ~np.isnan(ground + track + heading) & true_airspeed_known(analysis, rows)
    rows = rows[known]
    ground, track, heading = (values[known] for values in (ground, track, heading))
    turns = turns_among(analysis, rows, heading, settings)
    if not turns:
        return None
    heading = _smoothed(heading, turns, max(1, int(
        settings.smoothed_s / max(settings.step_s, analysis.log.interval_s))))
    rows_of = [_evenly(first, stop, settings.most_samples) for first, stop in turns]
    which = np.concatenate([np.full(len(rows), i) for i, rows in enumerate(rows_of)])
    chosen = np.concatenate(rows_of)
    winds = _Winds(analysis.time[rows[chosen]], which)
    at = analysis.evaluation.air_data_at(rows[chosen])
    swift, psi = airspeed.tas_from_mach(at.mach, at.temperature), heading[chosen]
    over_ground = _stacked(ground[chosen] * np.cos(track[chosen]),
                           ground[chosen] * np.sin(track[chosen]))
    speed = np.concatenate([swift, swift])
    along, across = _directions(psi)
    rough = winds.fit([speed * along, speed * across], over_ground)
    offset = float(np.arctan2(rough.found[1], rough.found[0]))
    # With the headings turned into track's frame, what is left across is small.
    along, across = _directions(psi + offset)
    left = over_ground - speed * along
    fit = winds.fit([speed * along, speed * across], left)
    scale, scale_u, mean = float(fit.found[0]), fit.u(0), float(swift.mean()) / KNOT
    by_speed, by_warmth = _sensitivities(at)
    apart = [np.concatenate([by_speed, by_speed]) * along * KNOT,
             np.concatenate([by_warmth, by_warmth]) * along]
    in_calibrated = mean / float(by_speed.mean())
    error = ScaleError(
        len(turns), len(chosen), scale, scale_u, -scale * mean, scale_u * mean,
        float(np.degrees(offset)), winds.condition(*apart), -scale * in_calibrated,
        scale_u * in_calibrated)
    if error.condition > settings.greatest_condition:
        return error
    split = winds.fit([*apart, speed * across], left)
    return replace(
        error, airspeed_reads_high_kt=-float(split.found[0]), airspeed_u_kt=split.u(0),
        temperature_reads_high_k=-float(split.found[1]), temperature_u_k=split.u(1))


def _smoothed(heading: Floats, turns: list[tuple[int, int]], reach: int) -> Floats:
    """Return the headings with those of each turn smoothed by parabolas (A. Savitzky, M. J. E.
    Golay, Analytical Chemistry 36, 1964, p. 1627) over `reach` samples to either side.

    Noise of the heading, an error of what the fit explains the ground velocity with, would make the
    true speed look lower than it is: the more so the less the aircraft turns between samples.
    """
    found = heading.copy()
    away = np.arange(-reach, reach + 1)
    # What the parabola through a window's samples is in its middle.
    weights = np.linalg.pinv(np.vander(away, 3))[-1]
    for first, stop in turns:
        # A roll into the turn or out of it is no parabola: within a window of the ends, and of the
        # first and last step, headings stay as they are.
        if reach > 1 and stop - first - 2 >= len(away):
            smooth = np.convolve(np.unwrap(heading[first:stop])[1:-1], weights[::-1], "valid")
            found[first + 1 + reach:stop - 1 - reach] = smooth
    return found


def _stacked(north: Floats, east: Floats) -> Floats:
    return np.concatenate([north, east])


def _evenly(first: int, stop: int, most: int) -> Rows:
    """Return at most `most` rows from `first` to before `stop`, evenly spaced."""
    return np.unique(np.linspace(first, stop - 1, min(stop - first, most)).round().astype(np.intp))


def _directions(heading: Floats) -> tuple[Floats, Floats]:
    """Unit vectors along and across the headings, north parts before east parts."""
    north, east = np.cos(heading), np.sin(heading)
    return _stacked(north, east), _stacked(-east, north)


def _sensitivities(at: limit_equivalents.AirDataRows) -> tuple[Floats, Floats]:
    """Derivatives of true airspeed by calibrated airspeed and by temperature."""
    step = 0.1 * KNOT
    swift = [airspeed.tas_from_cas(at.calibrated_airspeed + change, at.pressure_altitude,
                                   at.temperature) for change in (-step, step)]
    return (swift[1] - swift[0]) / (2 * step), (swift[0] + swift[1]) / 4 / at.temperature


@dataclass(frozen=True, eq=False)
class _Fit:
    """Coefficients, averaged over the grid of the winds' changes.

    ``found`` : float64[k]; ``weights`` : float64[g], the grid points', sum 1; ``apart``, ``each_u``
    : float64[g, k], what each point's coefficients differ by and their standard uncertainties;
    ``free`` : float64[g], degrees of freedom.
    """

    found: Floats
    weights: Floats
    apart: Floats
    each_u: Floats
    free: Floats

    def u(self, i: int) -> float:
        """Return the standard uncertainty of a coefficient."""
        return _half_width(self.weights, self.apart[:, i], self.each_u[:, i], self.free
                           ) / _COVERAGE_FACTOR_95


class _Winds:
    """The turns' winds: whitens data for each grid point of their change, once for all fits.

    ``time`` : float64[n] [s]; ``which`` : intp[n], the turn of each sample, rising.
    """

    def __init__(self, time: Floats, which: Rows) -> None:
        edges = np.flatnonzero(np.diff(which, prepend=-1, append=which[-1] + 1))
        self.count = len(which)
        self.turns = [slice(a, b) for a, b in pairwise(edges.tolist())]
        self.whitening = []
        self.logs = np.zeros(len(_CHANGES))
        for turn in self.turns:
            whitening, log = _whitening(
                np.round(time[turn] - time[turn.start], 6).tobytes())
            self.whitening.append(whitening)
            self.logs -= log
        # A wind that lasts gives a turn few independent values of either component.
        durations = np.array([time[turn][-1] - time[turn][0] for turn in self.turns])
        self.free = np.array([
            np.inf if share == 0.0 else 2.0 * float((1.0 + durations / lasting).sum())
            for share, lasting in _CHANGES])

    def fit(self, columns: list[Floats], wanted: Floats) -> _Fit:
        """Fit with a free wind in each turn."""
        data = np.column_stack([*columns, wanted])
        lengths = np.linalg.norm(data, axis=0)
        lengths[lengths == 0] = 1.0
        data = data / lengths
        wanted_length, lengths = lengths[-1], lengths[:-1]
        wide, free = data.shape[1], max(2 * (self.count - len(self.turns)) - len(columns), 1)
        # North and east components of a turn are independent with the same covariance.
        normal, logs = np.zeros((len(_CHANGES), wide, wide)), self.logs.copy()
        for turn, whitening in zip(self.turns, self.whitening, strict=True):
            north = data[turn]
            east = data[self.count + turn.start : self.count + turn.stop]
            white = whitening @ np.column_stack([np.ones(len(north)), north, east])
            constant, white = white[:, :, :1], white[:, :, 1:]
            size = (constant**2).sum(axis=1)
            white = white - constant * (constant.transpose(0, 2, 1) @ white / size[:, :, None])
            both = np.concatenate([white[:, :, :wide], white[:, :, wide:]], axis=1)
            normal += both.transpose(0, 2, 1) @ both
            logs -= np.log(size[:, 0])
        of_columns, with_wanted = normal[:, :-1, :-1], normal[:, :-1, -1]
        inverse = np.linalg.pinv(of_columns)
        means = (inverse @ with_wanted[:, :, None])[:, :, 0]
        left = np.maximum(normal[:, -1, -1] - (with_wanted * means).sum(axis=1), _LEAST_LEFT)
        signs, sizes = np.linalg.slogdet(of_columns)
        logs -= np.where(signs > 0, sizes / 2, 0.0) + free / 2 * np.log(left)
        weights = _PRIOR * np.exp(logs - logs.max())
        weights /= weights.sum()
        mean = weights @ means
        each_u = np.sqrt(np.maximum(np.diagonal(inverse, axis1=1, axis2=2)
                                    * left[:, None] / max(free - 2, 1), 0.0))
        unit = wanted_length / lengths
        return _Fit(mean * unit, weights, (means - mean) * unit, each_u * unit, self.free)

    def condition(self, *columns: Floats) -> float:
        """Condition number of two columns, each of length 1, after removing the winds."""
        two = []
        for column in columns:
            halves = []
            for turn in self.turns:
                east = slice(self.count + turn.start, self.count + turn.stop)
                for half in (column[turn], column[east]):
                    halves.append(half - half.mean())
            whole = np.concatenate(halves)
            two.append(whole / (np.linalg.norm(whole) or 1.0))
        matrix = np.column_stack(two)
        if np.linalg.matrix_rank(matrix) < 2:
            return float("inf")
        return float(np.linalg.cond(matrix))


@lru_cache(maxsize=64)
def _whitening(stamps: bytes) -> tuple[Floats, Floats]:
    """Return what whitens a turn's samples at each grid point, and the covariances' logarithms.

    `stamps` : the bytes of the samples' times since the first, float64[m] [s], to the microsecond:
    turns of a recorder share their spacing, and few lengths occur. Returns float64[g, m, m], the
    inverse of the covariance's lower triangular factor, and float64[g], the logarithm of its
    determinant.
    """
    time = np.frombuffer(stamps, dtype=np.float64)
    shares, lasting = np.array(_CHANGES).T[:, :, None, None]
    gap = np.abs(np.subtract.outer(time, time))
    factors = np.linalg.cholesky(
        (1 - shares) * np.eye(len(gap)) + shares * np.exp(-gap / lasting))
    whitening = np.linalg.inv(factors)
    whitening.flags.writeable = False
    return whitening, 2 * np.log(np.diagonal(factors, axis1=1, axis2=2)).sum(axis=1)


def _half_width(weights: Floats, middle: Floats, u: Floats, free: Floats) -> float:
    """Return the half width of the interval about 0 that holds 95 % of a mixture.

    Of Student distributions with `free` degrees of freedom each, about `middle`, of scale `u`.
    """
    some = weights > _NEGLIGIBLE
    weights, middle, u, free = weights[some], middle[some], u[some], np.tile(free[some], 2)
    low, high = 0.0, 9.0 * float((np.abs(middle) + 4 * u).max())
    scale, sides = np.tile(np.maximum(u, 1e-300), 2), np.concatenate([-middle, middle])
    while high - low > 1e-12 * high:
        half = (low + high) / 2
        # As far above the middle as below it, from the symmetry of the distributions.
        inside = _student((half + sides) / scale, free) @ np.tile(weights, 2) - 1.0
        low, high = (half, high) if inside < 0.95 else (low, half)
    return high


def _student(t: Floats, free: Floats) -> Floats:
    """Student's distribution function, within .005 from 3 degrees of freedom on.

    References
    ----------
    Wallace, D. L., Ann. Math. Statist. 30 (1959), 1121-1130: the normal approximation, with the
    factor (8 n + 1) / (8 n + 3).
    """
    some = np.minimum(free, 1e6)
    normal = np.sign(t) * np.sqrt(some * np.log1p(t * t / some)) * (8 * some + 1) / (8 * some + 3)
    return np.array([0.5 * math.erfc(-value / math.sqrt(2)) for value in normal])


_COVERAGE_FACTOR_95 = 1.96
_CHANGES = ((0.0, 1.0), *((share, lasting) for share in (0.4, 0.8, 0.95, 0.99)
                          for lasting in (8.0, 25.0, 80.0, 250.0)))
"""The grid: share of the variance left that is the wind's change, and how long it lasts [s]."""
_PRIOR = np.array([0.5, *[0.5 / (len(_CHANGES) - 1)] * (len(_CHANGES) - 1)])
"""Prior probability that the wind doesn't change while the aircraft turns."""
_NEGLIGIBLE = 1e-10
"""Grid points of less weight change no interval's coverage by more than their number times that."""
_LEAST_LEFT = 1e-24
"""Residual of data without noise, as a fraction of the data (rounding)."""
