"""When the change from one briefed speed to the other was made, against when it was due.

In a climb the airspeed is held until it meets the Mach number, in a descent the Mach number until
it meets the airspeed. Both are one speed at the crossover, which follows from the briefed speeds
alone (`air.crossover`).

The instant at which the first speed was given up is weighed over a grid (`change_weighing`). At
each instant the flown airspeed is compared with what it would have been: the first speed until
then; after it the speed then reached, held as the second one is held (a Mach number in a climb, an
airspeed in a descent), going over into the second briefed speed within some seconds. Against these
stand that the first speed was held on or drifted, and that the second one was held all along.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from loganalyze.air.airspeed import cas_from_mach, mach_from_cas
from loganalyze.record.arrays import Floats
from loganalyze.record.units import FOOT, KNOT
from loganalyze.training.segments.change_weighing import (
    DRIFT_KT,
    OFFSET_KT,
    Possibility,
    Weighed,
    prior,
    weighed,
)
from loganalyze.training.segments.flown_speeds import FlownSpeeds
from loganalyze.training.segments.segment_finding import Leg
from loganalyze.training.segments.segment_results import Change, Measured, Part

AROUND_S = 240.0
"""[s] The change is sought for so long before and after it was due."""
LEAST_S = 20.0
"""[s] So much must be recorded before and after it."""
CELL_S = 4.0
"""[s] Values are averaged over this."""
TAKEN_UP_S = (4.0, 10.0, 25.0)
"""[s] Times within which the second speed may be taken up ..."""
SEEN_AFTER_S = (0.0, 20.0)
"""[s] ... after so long: that the speed then reached isn't the briefed one may be seen late."""
MADE = 0.5
"""A change that is more probable than this was made; before anything is known it is as probable."""


@dataclass(frozen=True, eq=False)
class _Flown:
    """The part of a climb or a descent about the crossover, float64[n]: times [s], pressure
    altitudes [m], airspeeds [kt CAS]; ``first``, ``second`` : the briefed speeds as CAS [kt].
    """

    time: Floats
    altitude: Floats
    speed: Floats
    first: Floats
    second: Floats
    climbs: bool


def change_of(speeds: FlownSpeeds, leg: Leg) -> Change | None:
    """Return the change between airspeed and Mach number in a climb or a descent.

    Parameters
    ----------
    speeds : FlownSpeeds
    leg : Leg
        The whole climb or descent.

    Returns
    -------
    Change or None
        None where not both were briefed, or the crossover wasn't passed.
    """
    crossover = leg.profile.crossover_ft
    if crossover is None:
        return None
    wanted: Part = "mach" if leg.kind == "climb" else "airspeed"
    first: Part = "airspeed" if leg.kind == "climb" else "mach"
    due = dict(leg.bounds).get(wanted, math.inf)
    time = speeds.time[leg.cells]
    if not time[0] < due < time[-1]:
        return None
    flown = _about(speeds, leg, due)
    if (len(flown.time) < 12 or flown.time[0] > due - LEAST_S
            or flown.time[-1] < due + LEAST_S):
        return Change(leg.kind, first, crossover, due, "not recorded")
    fit = _given_up(flown, due)
    if not fit.probability > MADE:
        return Change(leg.kind, first, crossover, due, "not made", probability=fit.probability)
    # Within a cell nothing is placed.
    made, u = fit.made_s, math.hypot(fit.u_s, max(CELL_S, speeds.interval_s) / math.sqrt(12.0))
    altitude = speeds.altitude_ft[leg.cells]
    known = np.isfinite(altitude)
    made_ft, due_ft = np.interp([made, due], time[known], altitude[known])
    rate = (altitude[known][-1] - altitude[known][0]) / (time[known][-1] - time[known][0])
    onward = 1.0 if leg.kind == "climb" else -1.0
    return Change(leg.kind, first, crossover, due, "made", made, float(made_ft),
                  Measured(made - due, u),
                  Measured(onward * float(made_ft - due_ft), u * abs(float(rate))),
                  fit.probability)


def _about(speeds: FlownSpeeds, leg: Leg, due: float) -> _Flown:
    """Return what was flown about the crossover, averaged over cells."""
    profile = leg.profile
    assert profile.airspeed_kt is not None
    assert profile.mach is not None
    near = leg.cells[np.abs(speeds.time[leg.cells] - due) <= AROUND_S]
    known = np.isfinite(speeds.cas_kt[near]) & np.isfinite(speeds.altitude_ft[near])
    if profile.lower_below_ft is not None:
        known &= speeds.altitude_ft[near] >= profile.lower_below_ft
    near = near[known]
    if not len(near):
        near = leg.cells[:0]
    at = speeds.time[near]
    cell = ((at - at[0]) / max(CELL_S, speeds.interval_s) + 1e-6).astype(np.int64) if len(
        at) else np.zeros(0, dtype=np.int64)
    starts = np.flatnonzero(np.diff(cell, prepend=-1))
    size = np.diff(starts, append=len(at))

    def mean(values: Floats) -> Floats:
        return np.asarray(np.add.reduceat(values, starts) / size) if len(starts) else values

    altitude = mean(speeds.altitude_ft[near]) * FOOT
    airspeed = np.full(len(altitude), profile.airspeed_kt)
    by_mach = cas_from_mach(np.full(len(altitude), profile.mach), altitude) / KNOT
    climbs = leg.kind == "climb"
    return _Flown(mean(at), altitude, mean(speeds.cas_kt[near]),
                  airspeed if climbs else by_mach, by_mach if climbs else airspeed, climbs)


def _given_up(flown: _Flown, due_s: float) -> Weighed:
    """Weigh when the first speed was given up, and whether it was."""
    time = flown.time
    at = np.flatnonzero((time >= time[0] + LEAST_S) & (time <= time[-1] - LEAST_S))
    none, whole = np.zeros(len(time)), np.ones(len(time))
    drift = np.linspace(-1.0, 1.0, len(time))
    offset = OFFSET_KT, OFFSET_KT
    # The second of two offsets counts for nothing where there is one.
    possible = [
        Possibility(flown.first, (whole, none), offset, 1.0 / 3.0),
        Possibility(flown.first, (whole, drift), (OFFSET_KT, DRIFT_KT), 1.0 / 3.0),
        Possibility(flown.second, (whole, none), offset, 1.0 / 3.0)]
    if not len(at):
        return Weighed(0.0, math.nan, math.nan)
    ways = len(TAKEN_UP_S) * len(SEEN_AFTER_S)
    whole_weight = sum(prior(float(time[i]), due_s) for i in at) * ways
    for i in at.tolist():
        weight = prior(float(time[i]), due_s) / whole_weight
        possible += [_given_up_at(flown, i, seconds, after, weight)
                     for seconds in TAKEN_UP_S for after in SEEN_AFTER_S]
    return weighed(time, flown.speed, possible)


def _given_up_at(
    flown: _Flown, at: int, seconds: float, after_s: float, weight: float
) -> Possibility:
    """Return what is flown by who gives the first speed up at a cell and takes the second up after
    some seconds.
    """
    if flown.climbs:
        mach = mach_from_cas(flown.first[at] * KNOT, flown.altitude[at])
        kept = cas_from_mach(np.full(len(flown.time), float(mach)), flown.altitude) / KNOT
    else:
        kept = np.full(len(flown.time), flown.first[at])
    before = np.arange(len(flown.time)) < at
    since = np.maximum(flown.time - flown.time[at] - after_s, 0.0)
    share = np.where(before, 0.0, 1.0 - np.exp(-since / seconds))
    speed = np.where(before, flown.first, kept + share * (flown.second - kept))
    return Possibility(speed, (1.0 - share, share), (OFFSET_KT, OFFSET_KT), weight,
                       float(flown.time[at]))
