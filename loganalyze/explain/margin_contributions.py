"""Why margin was lost: the loss over a stretch of flight, split exactly and uniquely.

Two stretches of an exceedance are explained: the run-in to the crossing of its limit, and the
growth of the excess from the crossing to the worst sample.

The margin at an instant is a function of four factors,

    m(A, E, D, C) = L(Hp, C) - V(TAS = sqrt(2 g (E - h)), T_ISA(Hp) + D, Hp),

A = (Hp, h) the height, E = h + TAS**2 / 2g the energy, D = SAT - T_ISA(Hp) the air's warmth and
C the conditions of the limits. L is the limit airspeed, V the calibrated airspeed; geometric
height follows pressure altitude by dh = (T / T_ISA) dHp. From one sample to the next, the part
of each factor is its Shapley value over all combinations of old and new; parts are summed
over the samples. The Shapley value is linear in m, so the part of A splits into what went
through L (limit moved) and what went through V (height trade). L doesn't depend on E, nor V on
C, and a factor that changes nothing has no part: each is split over 8 combinations.

References
----------
L. S. Shapley, "A value for n-person games", Contributions to the Theory of Games II (1953),
eq. (13).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.air import airspeed, atmosphere
from loganalyze.events.analysis import Analysis
from loganalyze.limits.evaluation import Evaluation
from loganalyze.limits.limit_equivalents import AirDataRows
from loganalyze.quantities.speed_relations import skip_nan
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.units import KNOT
from loganalyze.results.assessment_results import Contributions

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]

RUN_IN_S = 120.0
"""A run-in begins at most this long [s] before the instant that it leads to ..."""
SMOOTHED_S = 5.0
"""... at the largest margin of a mean over this time [s]: noise must not choose the start."""

MOST_STEPS = 1200
"""A stretch of more samples is split over so many of them, evenly spaced: any path from the same
first to the same last sample adds up to the same loss."""

_SHARES = np.array([[2.0, 1.0], [1.0, 2.0]]) / 6.0
"""Weight of a factor's change in its Shapley value, by whether each of the two others is new."""


def contributions(
    analysis: Analysis, row: int, limit: int | None = None, after_s: float = -np.inf
) -> Contributions | None:
    """Split the loss of margin that led to one sample.

    The run-in starts at the largest 5-s-smoothed margin within the 120 s before it, after
    `after_s` and after the last gap or sample that wasn't judged.

    Parameters
    ----------
    analysis : Analysis
        The judged flight.
    row : int
        The sample that the run-in ends at: the first one over a limit, or that of a smallest
        margin.
    limit : int, optional
        The limit that the margin is to, by its index in the sheet; the limits that lay below it
        at `row` are left out, so that it governs there. Absent: the limit airspeed.
    after_s : float
        [s] The end of an earlier exceedance.

    Returns
    -------
    Contributions or None
        In kt CAS, positive where margin was lost; None where no run-in could be made up, as at
        the first sample after a gap, and for a limit that is none of a speed.
    """
    if limit is not None and not analysis.sheet.limit[limit].kind.is_speed:
        return None
    evaluation, time = analysis.evaluation, analysis.time
    first = int(np.searchsorted(time, max(time[row] - RUN_IN_S, after_s), side="left"))
    rows = np.arange(first, row + 1)
    chosen = _considered(evaluation, row, limit)
    at = evaluation.air_data_at(rows)
    # Without any altitude there are limits that follow from none, and the speed is known as well.
    speed_known = ~np.isnan(at.mach if evaluation.air.has_altitude else at.calibrated_airspeed)
    rows, at = rows[speed_known], at.taken(speed_known)
    if len(rows) < 2 or rows[-1] != row:
        return None
    margin = _limit_airspeed(evaluation, chosen, at) - at.calibrated_airspeed
    wide = np.diff(time[rows]) > HELD_INTERVALS * analysis.log.interval_s
    broken = np.flatnonzero(wide | np.isnan(margin[:-1]))
    since = int(broken[-1]) + 1 if len(broken) else 0
    start = since + int(np.argmax(_smoothed(time[rows[since:]], margin[since:])))
    if start >= len(rows) - 1 or np.isnan(margin[-1]):
        return None
    return _split(analysis, _Run(evaluation, chosen, at.taken(slice(start, None)), margin[start:]))


def worsening(analysis: Analysis, crossing: int, worst: int, limit: int) -> Contributions | None:
    """Split the growth of the excess over one limit from its crossing to its worst sample.

    Parameters
    ----------
    analysis : Analysis
        The judged flight.
    crossing, worst : int
        The first sample over the limit, and the one with the greatest excess.
    limit : int
        The limit, by its index in the sheet.

    Returns
    -------
    Contributions or None
        In kt CAS, positive where the excess grew. It begins at the crossing, or after the last
        gap or unjudged sample before the worst; None where that leaves fewer than two samples,
        and for a limit that is none of a speed.
    """
    if not analysis.sheet.limit[limit].kind.is_speed:
        return None
    evaluation, time = analysis.evaluation, analysis.time
    rows = np.arange(crossing, worst + 1)
    at = evaluation.air_data_at(rows)
    margin = _limit_airspeed(evaluation, (limit,), at) - at.calibrated_airspeed
    wide = np.diff(time[rows]) > HELD_INTERVALS * analysis.log.interval_s
    broken = np.flatnonzero(wide | np.isnan(margin[:-1]))
    since = int(broken[-1]) + 1 if len(broken) else 0
    count = len(rows) - since
    if count < 2 or np.isnan(margin[-1]):
        return None
    steps = min(count - 1, MOST_STEPS)
    kept = since + np.linspace(0, count - 1, steps + 1).round().astype(np.intp)
    return _split(analysis, _Run(evaluation, (limit,), at.taken(kept), margin[kept]))


def _considered(evaluation: Evaluation, row: int, limit: int | None) -> tuple[int, ...]:
    """Return the limits whose lowest is considered: all but those below the chosen one at `row`."""
    everything = tuple(i for i, other in enumerate(evaluation.sheet.limit) if other.kind.is_speed)
    if limit is None:
        return everything
    at = evaluation.air_data_at(np.array([row]))
    speeds = [float(evaluation.equivalent(other, at)[0])
              for other in evaluation.sheet.limit]
    return tuple(i for i in everything if i == limit or not speeds[i] < speeds[limit])


def _smoothed(time: Floats, margin: Floats) -> Floats:
    """Return the moving average of the margin over SMOOTHED_S."""
    low = np.searchsorted(time, time - SMOOTHED_S / 2, side="left")
    high = np.searchsorted(time, time + SMOOTHED_S / 2, side="right")
    total = np.concatenate([[0.0], np.cumsum(margin)])
    return np.asarray((total[high] - total[low]) / (high - low))


def _limit_airspeed(evaluation: Evaluation, chosen: tuple[int, ...], at: AirDataRows) -> Floats:
    """Lowest of the chosen limits [m/s CAS], NaN where none applies."""
    return evaluation.lowest(at, chosen, of_known=True).limit_airspeed


@dataclass(frozen=True, eq=False)
class _Run:
    """The samples of a stretch, float64[n] in SI; temperature NaN where unknown."""

    evaluation: Evaluation
    chosen: tuple[int, ...]
    at: AirDataRows
    margin: Floats


def _split(analysis: Analysis, run: _Run) -> Contributions:
    old, new = run.at.taken(slice(None, -1)), run.at.taken(slice(1, None))
    warm = not np.isnan(run.at.temperature + run.at.pressure_altitude).any()
    moved, limits_warmth, configuration = _limit_parts(run, old, new, warm)
    time = analysis.time[run.at.rows]
    lost = (run.margin[0] - run.margin[-1]) / KNOT
    nothing = float("nan")
    known: dict[str, Any] = {
        "start_s": float(time[0]), "end_s": float(time[-1]), "lost_kt": float(lost),
        "greatest_load_factor": _greatest(analysis, run.at.rows, "load_factor"),
        "limit_moved_kt": moved, "configuration_kt": configuration}
    if not warm:
        faster = float(run.at.calibrated_airspeed[-1] - run.at.calibrated_airspeed[0]) / KNOT
        return Contributions(
            **known, height_trade_kt=nothing, energy_kt=nothing, air_temperature_kt=nothing,
            remainder_kt=float(lost) - moved - configuration - faster,
            gross_height_trade_kt=nothing, gross_energy_kt=nothing, split=False,
            speed_change_kt=faster)
    gross_trade, gross_energy, speeds_warmth = _speed_parts(old, new)
    trade, energy = _netted(gross_trade, gross_energy)
    warmth = speeds_warmth + limits_warmth
    parts = moved + configuration + gross_trade + gross_energy + warmth
    return Contributions(
        **known, height_trade_kt=trade, energy_kt=energy, air_temperature_kt=warmth,
        remainder_kt=float(lost) - parts, gross_height_trade_kt=gross_trade,
        gross_energy_kt=gross_energy, wind_kt=_wind(analysis, run, old, new))


def _netted(height: float, energy: float) -> tuple[float, float]:
    """Return the parts of height and energy as reported, without those that cancel."""
    if height * energy >= 0.0:
        return height, energy
    both = height + energy
    return (both, 0.0) if abs(height) >= abs(energy) else (0.0, both)


def _shapley(margins: Floats) -> list[float]:
    """Shapley value of each of three factors [kt], summed over the steps; positive lost margin.

    `margins` : float64[2, 2, 2, m] [m/s], at every step by whether each factor is old or new.
    """
    changes = (np.diff(margins, axis=factor).squeeze(factor).sum(axis=-1) for factor in range(3))
    return [-float((_SHARES * change).sum()) / KNOT for change in changes]


def _limit_parts(run: _Run, old: AirDataRows, new: AirDataRows, warm: bool) -> list[float]:
    """Return the margin lost by changes of the limit airspeed: by height, temperature and state.

    Without a temperature, true airspeed limits are unknown; the others don't need it.
    """
    both = old.followed_by(new)
    m = len(old.rows)
    height, warmer, state = (
        np.indices((2, 2, 2)).reshape(-1, 1) * m + np.arange(m)).reshape(3, -1)
    standard = atmosphere.temperature(both.pressure_altitude)
    warmth = both.temperature - standard
    if not warm:
        warmth[m:] = warmth[:m]
    there = replace(both.taken(height), rows=both.rows[state],
                    temperature=standard[height] + warmth[warmer])
    return _shapley(_limit_airspeed(run.evaluation, run.chosen, there).reshape(2, 2, 2, m))


def _speed_parts(old: AirDataRows, new: AirDataRows) -> list[float]:
    """Return the margin lost by changes of the CAS: by height, energy and temperature."""
    pair = old, new
    altitudes = np.stack([at.pressure_altitude for at in pair])
    temperatures = np.stack([at.temperature for at in pair])
    standard = atmosphere.temperature(altitudes)
    swift = airspeed.tas_from_mach(np.stack([at.mach for at in pair]), temperatures) ** 2
    # The column's thickness by the mean of both ends, so that a flight reversed reverses it.
    stretch = (temperatures / standard).mean(axis=0)
    traded = 2.0 * atmosphere.G0 * stretch * (altitudes[1] - altitudes[0])
    height, energy, warmer = np.indices((2, 2, 2))
    square = swift[energy] + (energy - height)[..., None] * traded
    temperature = standard[height] + (temperatures - standard)[warmer]
    mach = airspeed.mach_from_tas(np.sqrt(np.maximum(square, 0.0)), temperature)
    return _shapley(-skip_nan(airspeed.cas_from_mach, mach, altitudes[height]))


def _wind(analysis: Analysis, run: _Run, old: AirDataRows, new: AirDataRows) -> float:
    """Return the part of the energy [kt] due to a change of wind, NaN where unknown.

    The wind along the heading is the component of the ground speed along it less the true airspeed,
    without sideslip; a decrease of this wind is an increase of the airspeed.
    """
    wanted = ("ground_speed", "track", "heading")
    if any(name not in analysis.log for name in wanted):
        return float("nan")
    ground, track, heading = (analysis.log.aligned(name)[run.at.rows] for name in wanted)
    swift = airspeed.tas_from_mach(run.at.mach, run.at.temperature)
    gained = -np.diff(ground * np.cos(track - heading) - swift)
    return float(np.sum((_slope(old) + _slope(new)) / 2 * gained)) / KNOT


def _slope(at: AirDataRows) -> Floats:
    """Return the derivative of CAS by TAS at constant altitude, float64[m]."""
    step = 1e-4
    slower, faster = (airspeed.cas_from_mach(np.maximum(at.mach + change, 0.0),
                                             at.pressure_altitude) for change in (-step, step))
    span = np.minimum(at.mach, step) + step
    return np.asarray((faster - slower) / (span * atmosphere.speed_of_sound(at.temperature)))


def _greatest(analysis: Analysis, rows: Rows, name: str) -> float:
    """Greatest value of a channel at some rows, in its edge unit; NaN where not recorded."""
    if name not in analysis.log:
        return float("nan")
    values = analysis.log.aligned(name)[rows]
    known = values[~np.isnan(values)]
    return float(known.max()) if len(known) else float("nan")
