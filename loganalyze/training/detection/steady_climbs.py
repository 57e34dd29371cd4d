"""Climbs and descents at a constant calibrated airspeed, and at a constant Mach number."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from loganalyze.air import airspeed
from loganalyze.phases.ground_legs import runs
from loganalyze.record.arrays import Floats, Mask
from loganalyze.record.units import FOOT, KNOT
from loganalyze.training.detection.candidates import Airborne, Candidate, cell_noise
from loganalyze.training.detection.changeover import changeover
from loganalyze.training.detection.edge_fitting import (
    Ramp,
    knee,
    ramp,
    scatter_about_line,
    slopes,
)
from loganalyze.training.exercises import (
    CLIMB_CAS,
    CLIMB_MACH,
    DESCENT_CAS,
    DESCENT_MACH,
    ExerciseKind,
    ExerciseMeasure,
)

Held = Literal["CAS", "Mach"]

LEAST_FT, LEAST_S = 1000.0, 60.0
"""[ft], [s] A shorter climb or descent shows no steady speed."""
SLOPE_KT_S, SLOPE_S = 0.25, 15.0
"""[kt/s] Where CAS and Mach number both change faster than this (Mach as its knots of CAS), by the
straight line through so many seconds, neither is held."""
LEAST_CHANGE_KT = 9.0
"""[kt] A change smaller than this is how the speed is held."""
LEAD_IN_S, CLEAR = 25.0, 2.5
"""[s] A change is the difference between so much of the speed before and after it; gusts make such
differences too, so that it is at least so many times the scatter of both about their lines."""
REST_KT = 4.0
REST_S, REST_CLEAR = 8.0, 4.0
"""[kt], [s] At either end a smaller change counts as well, for it belongs to a greater one; it is
at least so many times the scatter about it."""
REACH_S, LEAD_S = 14.0, 30.0
"""[s] A change's edges are sought within so far of where the slope is steep, with so much of the
speeds before and after."""
CLIMB_S, LEVEL_S = 60.0, 45.0
"""[s] So much of a climb and of the level beside it is used for where one passes into the other."""
LEAST_MACH = 0.4
"""Below this nobody flies by the Mach number (common practice, no source)."""
BETTER = 0.6
"""A change between CAS and Mach is taken for real where it leaves less than this share of the
squared errors of the better one alone."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A part of a climb or descent in which one speed is held.

    ``since``, ``until`` : where it begins and ends, as cells with a fraction; ``change_u_s`` : the
    standard uncertainties of these instants where it begins or ends with a change between airspeed
    and Mach number [s]; else NaN.
    """

    held: Held
    since: float
    until: float
    change_u_s: tuple[float, float] = (math.nan, math.nan)

    @property
    def first(self) -> int:
        """The first cell in it."""
        return math.ceil(self.since)

    @property
    def stop(self) -> int:
        """The cell after the last one in it."""
        return math.floor(self.until) + 1


Stretch = tuple[float, float]
"""Between two instants, as cells with a fraction."""


def steady_candidates(flown: Airborne, usable: Mask) -> Iterator[Candidate]:
    """Yield the climbs and descents of a flight with a steady speed.

    A climb begins and ends where the straight lines through it and through the level beside it
    cross, a held speed where its line and that of the change before or after it do.

    Parameters
    ----------
    flown : Airborne
    usable : bool[n]
        Cells of the profile that may belong to one: none of a take-off, approach or manoeuvre.
    """
    for i, trend in enumerate(flown.trends):
        if not trend.sign:
            continue
        since, until = _edges(flown, i)
        first, stop = math.ceil(since), math.floor(until) + 1
        for low, high in runs(usable[first:stop]):
            start = since if low == 0 else float(first + low)
            end = until if high == stop - first else float(first + high - 1)
            for part in _unchanging(flown, start, end):
                for piece in _pieces(flown, *part, trend.sign):
                    made = _candidate(flown, piece, trend.sign)
                    if made is not None:
                        yield made


def _edges(flown: Airborne, which: int) -> Stretch:
    """Return between which instants a climb or descent is established."""
    profile, trend = flown.profile, flown.trends[which]
    first, stop = trend.first, trend.stop
    since, until = float(first), float(stop - 1)
    if stop - first < profile.cells(LEAST_S / 2):
        return since, until
    inside = min(profile.cells(CLIMB_S), (2 * (stop - first)) // 3)
    outside = profile.cells(LEVEL_S)
    if first - flown.first >= profile.cells(15.0):
        low = max(first - outside, flown.trends[which - 1].first if which else flown.first)
        since = knee(profile.altitude, low, first + inside, level_first=True).cell
    if flown.stop - stop >= profile.cells(15.0):
        last = which + 1 == len(flown.trends)
        high = min(stop + outside, flown.stop if last else flown.trends[which + 1].stop)
        until = knee(profile.altitude, stop - inside, high, level_first=False).cell
    since = max(since, float(flown.first))
    return since, max(min(until, flown.stop - 1.0), since)


def _per_mach(flown: Airborne, first: int, stop: int) -> Floats:
    """Return how many knots of CAS a Mach number of 1 is worth at each cell, float64[stop-first].
    """
    mach = np.clip(flown.mach[first:stop], 0.05, 0.99)
    height = flown.profile.height[first:stop] * FOOT
    step = 0.005
    higher = airspeed.cas_from_mach(mach + step, height)
    lower = airspeed.cas_from_mach(mach - step, height)
    return np.asarray((higher - lower) / (2 * step) / KNOT)


def _unchanging(flown: Airborne, since: float, until: float) -> list[Stretch]:
    """Return the parts in which CAS or Mach number doesn't change at a rate."""
    cells = flown.profile.cells
    first, stop = math.ceil(since), math.floor(until) + 1
    if stop - first < cells(LEAST_S):
        return []
    speed, mach = flown.profile.airspeed[first:stop], flown.mach[first:stop]
    width = cells(SLOPE_S)
    by_cas = slopes(speed, width) / flown.step_s
    by_mach = slopes(mach, width) / flown.step_s * _per_mach(flown, first, stop)
    changing = np.zeros(stop - first, dtype=bool)
    for sign in (1.0, -1.0):
        fast = sign * by_cas > SLOPE_KT_S
        by_number = mach >= LEAST_MACH
        fast &= ~by_number | (sign * by_mach > SLOPE_KT_S)
        for start, end in runs(fast):
            # Gusts are as steep, and leave the speed where it was.
            lead_in = speed[max(start - cells(LEAD_IN_S), 0) : start + 1]
            lead_out = speed[end - 1 : end + cells(LEAD_IN_S)]
            if (abs(speed[end - 1] - speed[start]) >= LEAST_CHANGE_KT - SLOPE_KT_S * SLOPE_S
                    and abs(np.median(lead_out) - np.median(lead_in)) >= max(
                        0.6 * LEAST_CHANGE_KT, CLEAR * math.hypot(
                            scatter_about_line(lead_in), scatter_about_line(lead_out)))):
                changing[start:end] = True
    parts = []
    spans = runs(~changing)
    for i, (start, end) in enumerate(spans):
        low, high = first + start, first + end
        if high - low < cells(LEAST_S / 2):
            continue
        run = (first + spans[i - 1][1] if i else first, low - 1)
        begun, changing_at = _change(flown, run if start else (low, low + cells(REST_S)),
                        first + spans[i - 1][0] if i else run[0] - cells(LEAD_S), high)
        begins = max(begun.end, since) if start or changing_at else since
        run = (high, first + spans[i + 1][0] if i + 1 < len(spans) else stop)
        ended, changing_at = _change(
            flown, run if end < stop - first else (high - cells(REST_S), high), low,
            first + spans[i + 1][1] if i + 1 < len(spans) else run[1] + cells(LEAD_S))
        ends = min(ended.start, until) if end < stop - first or changing_at else until
        if ends > begins:
            parts.append((begins, ends))
    return parts


def _change(flown: Airborne, about: tuple[int, int], low: int, high: int) -> tuple[Ramp, bool]:
    """Fit a change of speed about some cells, within others; its edges are cells of the profile.

    The airspeed of a constant Mach number isn't level: of the airspeed and the Mach number, as its
    knots of CAS, the one is taken that a level, a slope and a level fit better. Whether there is a
    change at all both must show.
    """
    cells = flown.profile.cells
    low, high = max(low, flown.first), min(high, flown.stop)
    tried = [flown.profile.airspeed[low:high]]
    middle = min(max(about[1], low), high - 1)
    if flown.mach[middle] >= LEAST_MACH:
        per_mach = float(_per_mach(flown, middle, middle + 1)[0])
        tried.append(flown.mach[low:high] * per_mach)
    fits = [ramp(values, about[0] - low, about[1] - low, cells(REACH_S), cells(LEAD_S))
            for values in tried]
    fit = min(fits, key=lambda one: one.scatter)
    return (Ramp(fit.start + low, fit.end + low, fit.before, fit.after, fit.scatter),
            all(_is_changing(fitted, flown.step_s) for fitted in fits))


def _is_changing(fit: Ramp, step_s: float) -> bool:
    """Whether the speed is still, or already, changed at the edge of a stretch."""
    return abs(fit.after - fit.before) > max(
        REST_KT, REST_CLEAR * fit.scatter, SLOPE_KT_S * (fit.end - fit.start) * step_s)


def _errors(values: Floats) -> Floats:
    return np.asarray(values - values.mean())


def _pieces(flown: Airborne, since: float, until: float, sign: int) -> list[Piece]:
    """Return which speed is held, and where that changes."""
    cells = flown.profile.cells
    first, stop = math.ceil(since), math.floor(until) + 1
    if stop - first < cells(LEAST_S):
        return []
    speed, mach = flown.profile.airspeed[first:stop], flown.mach[first:stop]
    by_cas = float((_errors(speed) ** 2).sum())
    if float(np.max(mach)) < LEAST_MACH:
        return [Piece("CAS", since, until)]
    by_mach = float(((_errors(mach) * _per_mach(flown, first, stop)) ** 2).sum())
    alone: Held = "CAS" if by_cas <= by_mach or float(np.min(mach)) < LEAST_MACH else "Mach"
    least = by_cas if alone == "CAS" else by_mach
    order: tuple[Held, Held] = ("CAS", "Mach") if sign > 0 else ("Mach", "CAS")
    least_cells = cells(LEAST_S)
    if stop - first >= 2 * least_cells:
        found = changeover(speed, flown.profile.height[first:stop], flown.step_s,
                           least_cells // 2, cas_first=order[0] == "CAS")
        if found.squares < BETTER * least and mach[round(found.cell)] >= LEAST_MACH:
            edge, u = first + found.cell, found.u_cells * flown.step_s
            return [Piece(order[0], since, edge, (math.nan, u)),
                    Piece(order[1], edge, until, (u, math.nan))]
    return [Piece(alone, since, until)]


def _candidate(flown: Airborne, piece: Piece, sign: int) -> Candidate | None:
    first, stop = piece.first, piece.stop
    seconds = (piece.until - piece.since) * flown.step_s
    if seconds < LEAST_S:
        return None
    height = flown.profile.height[first:stop]
    rise = abs(float(height[-1] - height[0]))
    if rise < LEAST_FT:
        return None
    by_cas = piece.held == "CAS"
    kt = (_errors(flown.profile.airspeed[first:stop]) if by_cas
          else _errors(flown.mach[first:stop]) * _per_mach(flown, first, stop))
    at = np.linspace(-0.5, 0.5, len(kt))
    drift = abs(float((at * kt).sum() / (at**2).sum()))
    scatter = float(np.std(kt))
    kinds: dict[tuple[bool, bool], ExerciseKind] = {
        (True, True): CLIMB_CAS, (True, False): CLIMB_MACH,
        (False, True): DESCENT_CAS, (False, False): DESCENT_MACH}
    usual = float(flown.profile.airspeed[first:stop].mean())
    noise = cell_noise(flown.profile.airspeed)
    held = (ExerciseMeasure("held_cas_kt", usual, _mean_error(kt)) if by_cas else ExerciseMeasure(
        "held_mach", float(flown.mach[first:stop].mean()),
        _mean_error(_errors(flown.mach[first:stop]))))
    rms = float(np.sqrt(max(scatter**2 - (0.0 if np.isnan(noise) else noise**2), 0.0)))
    return Candidate(
        kinds[sign > 0, by_cas],
        flown.time(piece.since), flown.time(piece.until),
        {"drift": drift / 8.0, "scatter": scatter / 4.0, "short": 60.0 / seconds,
         "low": LEAST_FT / rise},
        (("altitude_change_ft", rise), ("drift_kt", drift), ("scatter_kt", scatter)),
        (held, ExerciseMeasure("speed_sd_kt", rms, _sd_error(kt)),
         ExerciseMeasure("drift_kt", drift, 3.5 * _mean_error(kt)),
         ExerciseMeasure("largest_error_kt", float(np.abs(kt).max()), noise),
         ExerciseMeasure("altitude_change_ft", rise, cell_noise(height) * np.sqrt(2.0)),
         ExerciseMeasure("duration_s", seconds, flown.step_s), *_changes_to(flown, piece)))


def _changes_to(flown: Airborne, piece: Piece) -> Iterator[ExerciseMeasure]:
    """Yield when the other speed was changed from or to, with its uncertainty."""
    begun, ended = piece.change_u_s
    if not math.isnan(begun):
        yield ExerciseMeasure("changed_at_start_s", flown.time(piece.since), begun)
    if not math.isnan(ended):
        yield ExerciseMeasure("changed_at_end_s", flown.time(piece.until), ended)


def _mean_error(values: Floats) -> float:
    """Standard uncertainty of a mean of values that are independent after some 20."""
    return float(np.std(values) / np.sqrt(max(len(values) / 20.0, 1.0)))


def _sd_error(values: Floats) -> float:
    return float(np.std(values) / np.sqrt(2.0 * max(len(values) / 20.0, 1.0)))
