"""When the change from one briefed speed to the other was made, against when it was due.

In a climb the airspeed is held until it meets the Mach number, in a descent the Mach number until
it meets the airspeed. Both are one speed at the crossover, which follows from the briefed speeds
alone (`air.crossover`).

The instant at which the first speed was given up is weighed over a grid. At each instant the flown
airspeed is compared with what it would have been: the first speed until then; after it the speed
then reached, held as the second one is held (a Mach number in a climb, an airspeed in a descent),
going over into the second briefed speed within some seconds. An offset from each briefed speed is
free. What is left is taken as a first-order autoregressive process, and each instant weighed by
its likelihood [1]_; mean and standard deviation of the weights are the answer.

References
----------
.. [1] Cochrane and Orcutt, Journal of the American Statistical Association 44 (1949), 32 (least
   squares with autoregressive errors).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from loganalyze.air.airspeed import cas_from_mach, mach_from_cas
from loganalyze.record.arrays import Floats
from loganalyze.record.units import FOOT, KNOT
from loganalyze.training.segments.flown_speeds import FlownSpeeds
from loganalyze.training.segments.segment_finding import Leg
from loganalyze.training.segments.segment_results import Change, Measured, Part

AROUND_S = 240.0
"""[s] The change is sought for so long before and after it was due."""
LEAST_S = 20.0
"""[s] So much must be recorded before and after it."""
CELL_S = 3.0
"""[s] Values are averaged over this."""
TAKEN_UP_S = (4.0, 10.0, 25.0)
"""[s] Times within which the second speed may be taken up ..."""
SEEN_AFTER_S = (0.0, 15.0, 30.0)
"""[s] ... after so long: that the speed then reached isn't the briefed one may be seen late."""
WIDER = 1.6
"""The uncertainty is wider than the weights' by this, since their correlation is estimated from the
same values (by simulation)."""
PASSES = 3
"""The correlation is that of what the best model leaves, so many times over."""
CLEAR = 16.0
"""The likelihood must be greater than without any change by this, as twice its logarithm."""


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
    fit = _given_up(flown)
    if fit is None:
        return Change(leg.kind, first, crossover, due, "not made")
    made, u = fit
    altitude = speeds.altitude_ft[leg.cells]
    known = np.isfinite(altitude)
    made_ft, due_ft = np.interp([made, due], time[known], altitude[known])
    rate = (altitude[known][-1] - altitude[known][0]) / (time[known][-1] - time[known][0])
    onward = 1.0 if leg.kind == "climb" else -1.0
    return Change(leg.kind, first, crossover, due, "made", made, float(made_ft),
                  Measured(made - due, u),
                  Measured(onward * float(made_ft - due_ft), u * abs(float(rate))))


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


def _given_up(flown: _Flown) -> tuple[float, float] | None:
    """Return when the first speed was given up and the standard uncertainty [s], or None."""
    time = flown.time
    at = np.flatnonzero((time >= time[0] + LEAST_S) & (time <= time[-1] - LEAST_S))
    if not len(at):
        return None
    models = [_Model.of(flown, int(i), seconds, after)
              for i in at for seconds in TAKEN_UP_S for after in SEEN_AFTER_S]
    held = flown.speed - flown.first
    keep = 0.0
    for _ in range(PASSES):
        costs = np.array([float(np.sum(one.left(flown, keep) ** 2)) for one in models])
        best = models[int(np.argmin(costs))]
        keep = min(max(_correlation(best.left(flown, keep, whitened=False)), 0.0), 0.97)
    costs = np.array([float(np.sum(one.left(flown, keep) ** 2)) for one in models])
    variance = float(costs.min()) / max(len(time) - 4, 1)
    alone = float(np.sum(_whitened(held - held.mean(), keep) ** 2))
    if alone - float(costs.min()) < CLEAR * variance:
        return None
    weight = np.exp(-0.5 * (costs - costs.min()) / variance)
    weight /= weight.sum()
    when = np.array([one.made_s for one in models])
    made = float(weight @ when)
    step = float(np.median(np.diff(time)))
    spread = math.sqrt(float(weight @ (when - made) ** 2))
    return made, math.hypot(WIDER * spread, step / math.sqrt(12.0))


@dataclass(frozen=True, eq=False)
class _Model:
    """Who gave the first speed up at ``made_s`` [s]: ``speed`` : the airspeed without offsets,
    float64[n] [kt]; ``offsets`` : float64[n, 2], how the offsets from the first and from the second
    briefed speed come in.
    """

    made_s: float
    speed: Floats
    offsets: Floats

    @classmethod
    def of(cls, flown: _Flown, at: int, seconds: float, after_s: float) -> _Model:
        """Make the model of a change at a cell, the second speed taken up after some seconds."""
        if flown.climbs:
            mach = mach_from_cas(flown.first[at] * KNOT, flown.altitude[at])
            kept = cas_from_mach(np.full(len(flown.time), float(mach)), flown.altitude) / KNOT
        else:
            kept = np.full(len(flown.time), flown.first[at])
        before = np.arange(len(flown.time)) < at
        since = np.maximum(flown.time - flown.time[at] - after_s, 0.0)
        share = np.where(before, 0.0, 1.0 - np.exp(-since / seconds))
        speed = np.where(before, flown.first, kept + share * (flown.second - kept))
        return cls(float(flown.time[at]), speed, np.column_stack([1.0 - share, share]))

    def left(self, flown: _Flown, keep: float, whitened: bool = True) -> Floats:
        """Return what the model leaves of the flown airspeed, freed of correlation or not."""
        errors = flown.speed - self.speed
        design = np.column_stack([_whitened(column, keep) for column in self.offsets.T])
        found = np.linalg.lstsq(design, _whitened(errors, keep), rcond=None)[0]
        rest = np.asarray(errors - self.offsets @ found)
        return _whitened(rest, keep) if whitened else rest


def _correlation(values: Floats) -> float:
    """Return the correlation from one value to the next."""
    return float(values[1:] @ values[:-1]) / max(float(values @ values), 1e-12)


def _whitened(errors: Floats, keep: float) -> Floats:
    return np.concatenate([[errors[0] * math.sqrt(1.0 - keep**2)], errors[1:] - keep * errors[:-1]])
