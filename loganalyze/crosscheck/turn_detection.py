"""The turns of a flight, from its headings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loganalyze.events.analysis import Analysis
from loganalyze.record.arrays import Floats, Mask, Rows
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.units import FOOT


@dataclass(frozen=True, slots=True)
class TurnSettings:
    """Thresholds for turns, and for splitting the fit; engineering judgement."""

    least_rate_deg_s: float = 0.5
    """Below this turn rate [deg/s] the heading drifts; it isn't a turn."""
    least_turn_deg: float = 60.0
    """A turn through less than this [deg] can't separate wind from airspeed."""
    greatest_climb_ft: float = 1000.0
    """Over more height than this [ft] the wind isn't uniform."""
    step_s: float = 1.0
    """Samples closer than this [s] are decimated: their errors are correlated."""
    most_samples: int = 45
    """A turn of more samples than this is decimated evenly: a full circle has one every 8 deg."""
    rate_s: float = 2.0
    """Turn rates are those over so long [s] to either side."""
    smoothed_s: float = 5.0
    """Headings are smoothed by a parabola over so long [s] to either side: a roll into a turn
    takes about as long."""
    greatest_condition: float = 10.0
    """Airspeed and temperature errors are separated up to this condition number."""


def thinned(time: Floats, step: float) -> Rows:
    """Return the rows that are the first of each `step` [s], ascending."""
    if not len(time):
        return np.empty(0, dtype=np.intp)
    # Times rise, so that what np.unique would sort is in order already.
    steps = np.floor((time - time[0]) / step + 1e-9)
    return np.append(0, np.flatnonzero(steps[1:] != steps[:-1]) + 1)


def true_airspeed_known(analysis: Analysis, rows: Rows) -> Mask:
    """Return at which of some rows Mach number and temperature are known, bool[m]."""
    column = analysis.columns.get("true_airspeed_kt")
    known = np.zeros(len(rows), dtype=bool) if column is None else ~np.isnan(column[rows])
    others = np.flatnonzero(~known)
    if len(others):
        # Beyond the tables that the columns are from, the exact evaluation may have a value.
        at = analysis.evaluation.air_data_at(rows[others])
        known[others] = ~np.isnan(at.mach + at.temperature)
    return known


def turns_among(
    analysis: Analysis, rows: Rows, heading: Floats, settings: TurnSettings
) -> list[tuple[int, int]]:
    """Return the first and past-the-last of each turn among some rows, thinned.

    `heading` : float64[m] [rad] at the rows, at each of which the true airspeed is known.
    """
    if len(rows) < 3:
        return []
    time = analysis.time[rows]
    steps = np.diff(time)
    change = np.degrees((np.diff(heading) + np.pi) % (2 * np.pi) - np.pi)
    reach = HELD_INTERVALS * max(settings.step_s, analysis.log.interval_s)
    near = steps <= reach
    # Noise of the headings must not part a turn: rates are those over some seconds.
    window = np.ones(2 * int(settings.rate_s / max(settings.step_s, analysis.log.interval_s)) + 1)
    some_change, some_steps = (np.convolve(np.where(near, part, 0.0), window, "same")
                               for part in (change, steps))
    turning = near & (np.abs(some_change) >= settings.least_rate_deg_s * some_steps)
    side = np.concatenate([[0.0], np.where(turning, np.sign(some_change), 0.0), [0.0]])
    edges = np.flatnonzero(side[1:] != side[:-1])
    # A rough sum of each leaves few to look at: straight flight changes side at every sample.
    rough = np.abs(np.diff(np.concatenate([[0.0], np.cumsum(change)])[edges]))
    found = []
    for k in np.flatnonzero(~(rough < settings.least_turn_deg - 1e-3)).tolist():
        first, stop = int(edges[k]), int(edges[k + 1])
        # The straight flight within some seconds of a turn is none of it.
        turn = slice(first, stop)
        sign = side[first + 1]
        own = np.flatnonzero(
            near[turn] & (sign * change[turn] >= settings.least_rate_deg_s * steps[turn]))
        if sign == 0 or not len(own):
            continue
        first, stop = first + int(own[0]), first + int(own[-1]) + 1
        if abs(change[first:stop].sum()) < settings.least_turn_deg:
            continue
        altitude = analysis.evaluation.air.pressure_altitude[rows[first : stop + 1]]
        if np.ptp(altitude) <= settings.greatest_climb_ft * FOOT:
            found.append((first, stop + 1))
    return found
