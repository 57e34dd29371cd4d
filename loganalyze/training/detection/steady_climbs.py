"""Climbs and descents at a constant calibrated airspeed, and at a constant Mach number."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from loganalyze.air import airspeed
from loganalyze.phases.ground_legs import runs
from loganalyze.phases.manoeuvres import Trend
from loganalyze.record.arrays import Floats, Mask
from loganalyze.record.units import FOOT, KNOT
from loganalyze.training.detection.candidates import Airborne, Candidate, cell_noise
from loganalyze.training.detection.edge_fitting import knee, slopes
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
LEAST_MACH = 0.4
"""Below this nobody flies by the Mach number (common practice, no source)."""
BETTER = 0.6
"""A change between CAS and Mach is taken for real where it leaves less than this share of the
squared errors of the better one alone."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A part of a climb or descent (cells, half-open) in which one speed is held."""

    held: Held
    first: int
    stop: int


def steady_candidates(flown: Airborne, usable: Mask) -> Iterator[Candidate]:
    """Yield the climbs and descents of a flight with a steady speed.

    Parameters
    ----------
    flown : Airborne
    usable : bool[n]
        Cells of the profile that may belong to one: none of a take-off, approach or manoeuvre.
    """
    for trend in flown.trends:
        if not trend.sign:
            continue
        first, stop = _edges(flown, trend)
        for low, high in runs(usable[first:stop]):
            for start, end in _unchanging(flown, first + low, first + high):
                for piece in _pieces(flown, start, end, trend.sign):
                    made = _candidate(flown, piece, trend.sign)
                    if made is not None:
                        yield made


def _edges(flown: Airborne, trend: Trend) -> tuple[int, int]:
    """Return the cells between which a climb or descent is established."""
    profile, reach = flown.profile, flown.profile.cells(30.0)
    first, stop = trend.first, trend.stop
    if stop - first < profile.cells(LEAST_S / 2):
        return first, stop
    half = min(reach, (stop - first) // 2)
    if first - flown.first >= profile.cells(15.0):
        first = round(knee(profile.altitude, first - reach // 2, first + half, level_first=True))
    if flown.stop - stop >= profile.cells(15.0):
        stop = round(knee(profile.altitude, stop - half, stop + reach // 2,
                          level_first=False)) + 1
    return max(first, flown.first), min(max(stop, first + 1), flown.stop)


def _per_mach(flown: Airborne, first: int, stop: int) -> Floats:
    """Return how many knots of CAS a Mach number of 1 is worth at each cell, float64[stop-first].
    """
    mach = np.clip(flown.mach[first:stop], 0.05, 0.99)
    height = flown.profile.height[first:stop] * FOOT
    step = 0.005
    higher = airspeed.cas_from_mach(mach + step, height)
    lower = airspeed.cas_from_mach(mach - step, height)
    return np.asarray((higher - lower) / (2 * step) / KNOT)


def _unchanging(flown: Airborne, first: int, stop: int) -> list[tuple[int, int]]:
    """Return the parts in which CAS or Mach number doesn't change at a rate."""
    cells = flown.profile.cells
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
            lead_in = speed[max(start - cells(25.0), 0) : start + 1]
            lead_out = speed[end - 1 : end + cells(25.0)]
            if (abs(speed[end - 1] - speed[start]) >= LEAST_CHANGE_KT - SLOPE_KT_S * SLOPE_S
                    and abs(np.median(lead_out) - np.median(lead_in)) >= 0.6 * LEAST_CHANGE_KT):
                changing[start:end] = True
    parts = []
    spans = runs(~changing)
    for i, (start, end) in enumerate(spans):
        low, high = first + start, first + end
        if high - low < cells(LEAST_S / 2):
            continue
        # The slope is that of a window, and steep before the change begins.
        reach, speeds = cells(40.0), flown.profile.airspeed
        inner_low, inner_high = low, high
        if start:
            since = first + (spans[i - 1][1] if i else 0)
            low = round(knee(speeds, since, min(inner_low + reach, inner_high),
                             level_first=False))
        if end < stop - first:
            until = first + (spans[i + 1][0] if i + 1 < len(spans) else stop - first)
            high = round(knee(speeds, max(inner_high - reach, inner_low), until,
                              level_first=True)) + 1
        parts.append((low, high))
    return parts


def _errors(values: Floats) -> Floats:
    return np.asarray(values - values.mean())


def _pieces(flown: Airborne, first: int, stop: int, sign: int) -> list[Piece]:
    """Return which speed is held, and where that changes."""
    cells = flown.profile.cells
    if stop - first < cells(LEAST_S):
        return []
    speed, mach = flown.profile.airspeed[first:stop], flown.mach[first:stop]
    by_cas = float((_errors(speed) ** 2).sum())
    if float(np.max(mach)) < LEAST_MACH:
        return [Piece("CAS", first, stop)]
    by_mach = float(((_errors(mach) * _per_mach(flown, first, stop)) ** 2).sum())
    alone: Held = "CAS" if by_cas <= by_mach or float(np.min(mach)) < LEAST_MACH else "Mach"
    least = by_cas if alone == "CAS" else by_mach
    order: tuple[Held, Held] = ("CAS", "Mach") if sign > 0 else ("Mach", "CAS")
    least_cells = cells(LEAST_S)
    if stop - first >= 2 * least_cells:
        where, squares = _changeover(flown, first, stop, order)
        if squares < BETTER * least and mach[where - first] >= LEAST_MACH:
            return [Piece(order[0], first, where), Piece(order[1], where, stop)]
    return [Piece(alone, first, stop)]


def _changeover(
    flown: Airborne, first: int, stop: int, order: tuple[Held, Held]
) -> tuple[int, float]:
    """Return the cell of the change between CAS and Mach, and the squared errors it leaves.

    At the change both are the same speed, so that one number is fitted beside its time.
    """
    cells = flown.profile.cells
    margin = cells(LEAST_S) // 2
    speed = flown.profile.airspeed[first:stop]
    height = flown.profile.height[first:stop] * FOOT
    where = np.arange(margin, stop - first - margin)

    def squares(at: int) -> float:
        before, after = slice(0, at), slice(at, None)
        cas_part, mach_part = (before, after) if order[0] == "CAS" else (after, before)
        cas = float(speed[cas_part].mean())
        for _ in range(2):
            held = float(airspeed.mach_from_cas(cas * KNOT, height[at]))
            model = np.full(len(speed), cas)
            model[mach_part] = airspeed.cas_from_mach(held, height[mach_part]) / KNOT
            cas += float((speed - model).mean())
        held = float(airspeed.mach_from_cas(cas * KNOT, height[at]))
        model = np.full(len(speed), cas)
        model[mach_part] = airspeed.cas_from_mach(held, height[mach_part]) / KNOT
        return float(((speed - model) ** 2).sum())

    coarse: NDArray[np.intp] = where[:: max(1, len(where) // 24)]
    found = {int(at): squares(int(at)) for at in coarse}
    best = min(found, key=lambda at: found[at])
    width = max(1, len(where) // 24)
    while width > 1:
        width = max(1, width // 2)
        for at in (best - width, best + width):
            if margin <= at < stop - first - margin and at not in found:
                found[at] = squares(at)
        best = min(found, key=lambda at: found[at])
    return first + best, found[best]


def _candidate(flown: Airborne, piece: Piece, sign: int) -> Candidate | None:
    first, stop = piece.first, piece.stop
    seconds = (stop - first) * flown.step_s
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
        kinds[sign > 0, by_cas], flown.time(first), flown.time(stop),
        {"drift": drift / 8.0, "scatter": scatter / 4.0, "short": 60.0 / seconds,
         "low": LEAST_FT / rise},
        (("altitude_change_ft", rise), ("drift_kt", drift), ("scatter_kt", scatter)),
        (held, ExerciseMeasure("speed_sd_kt", rms, _sd_error(kt)),
         ExerciseMeasure("drift_kt", drift, 3.5 * _mean_error(kt)),
         ExerciseMeasure("largest_error_kt", float(np.abs(kt).max()), noise),
         ExerciseMeasure("altitude_change_ft", rise, cell_noise(height) * np.sqrt(2.0)),
         ExerciseMeasure("duration_s", seconds, flown.step_s)))


def _mean_error(values: Floats) -> float:
    """Standard uncertainty of a mean of values that are independent after some 20."""
    return float(np.std(values) / np.sqrt(max(len(values) / 20.0, 1.0)))


def _sd_error(values: Floats) -> float:
    return float(np.std(values) / np.sqrt(2.0 * max(len(values) / 20.0, 1.0)))
