"""Steep turns held against the tolerance for them: the altitude and the airspeed of the entry.

A steep turn is briefed by its bank, and flown at the altitude and the airspeed at which it is
entered. Both are the means of the seconds before it; the departures are of means of some cells, so
that a single sample counts against nobody. The greatest of many such means is beyond the tolerance
at a confidence of 95 % where noise alone would bring none of them there in 95 of 100 turns. An
error of the airspeed system or of the altimeter is the same at the entry and in the turn, so that
only noise and rounding are uncertain. The bank is measured and held against nothing, since no
tolerance for it is stated.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist

import numpy as np

from loganalyze.record.arrays import Floats, Rows
from loganalyze.sheets.lesson.speed_tolerances import Tolerance
from loganalyze.training.exercises import STEEP_TURN, Exercise
from loganalyze.training.segments.flown_speeds import FlownSpeeds
from loganalyze.training.segments.segment_results import NAN, Criterion, CriterionCode, HeldTurn

ENTRY_S, MEAN_S = 6.0, 3.0
"""[s] The entry's means are over so long before the turn, the turn's over so long in it."""
SURE_SHARE = 0.95
"""The confidence at which a turn was outside its tolerance."""
AROUND_S = 60.0
"""[s] The noise is that of so long before and after the turn."""


def held_turns(
    speeds: FlownSpeeds, exercises: Sequence[Exercise], tolerance: Tolerance
) -> tuple[HeldTurn, ...]:
    """Hold the steep turns among some exercises against their tolerance.

    Parameters
    ----------
    speeds : FlownSpeeds
    exercises : sequence of Exercise
    tolerance : Tolerance
        Of steep turns; what it doesn't state isn't asked for.
    """
    return tuple(HeldTurn(exercise.start_s, exercise.end_s, tolerance.source,
                          _criteria(speeds, exercise.start_s, exercise.end_s, tolerance))
                 for exercise in exercises if exercise.kind == STEEP_TURN)


def _criteria(
    speeds: FlownSpeeds, start_s: float, end_s: float, tolerance: Tolerance
) -> tuple[Criterion, ...]:
    slower, faster = tolerance.band("kt")
    made = []
    means = max((end_s - start_s) / max(MEAN_S, speeds.interval_s), 1.0)
    clear = NormalDist().inv_cdf(SURE_SHARE ** (1.0 / means))
    if tolerance.within_ft is not None:
        high, low, u = _departures(speeds.time, speeds.altitude_ft, start_s, end_s,
                                   speeds.interval_s)
        for key, flown in (("turn_above_ft", high), ("turn_below_ft", low)):
            made.append(_judged(key, tolerance.within_ft, flown, u, clear))
    high, low, u = _departures(speeds.time, speeds.cas_kt, start_s, end_s, speeds.interval_s)
    for key, asked, flown in (("turn_faster_kt", faster, high), ("turn_slower_kt", slower, low)):
        if asked is not None:
            made.append(_judged(key, asked, flown, u, clear))
    return tuple(made)


def _judged(key: str, asked: float, flown: float, u: float, clear: float) -> Criterion:
    code: CriterionCode = "not measured"
    if math.isfinite(flown):
        beyond = flown - asked
        code = "met" if beyond <= 0 else "in doubt" if beyond <= clear * u else "not met"
    return Criterion(key, asked, flown, u, code)


def _departures(
    time: Floats, values: Floats, start_s: float, end_s: float, interval_s: float
) -> tuple[float, float, float]:
    """Return how far a value went above and below the entry's, at least 0, and the standard
    uncertainty of both.
    """
    before = _known(values, np.flatnonzero((time >= start_s - ENTRY_S) & (time <= start_s)))
    inside = _known(values, np.flatnonzero((time >= start_s) & (time <= end_s)))
    width = max(1, round(MEAN_S / interval_s)) if interval_s > 0 else 1
    if not len(before) or len(inside) < max(width, 2):
        return NAN, NAN, NAN
    entry = float(values[before].mean())
    smooth = np.convolve(values[inside], np.full(width, 1.0 / width), mode="valid")
    near = _known(values, np.flatnonzero(
        (time >= start_s - AROUND_S) & (time <= end_s + AROUND_S)))
    # Second differences of white noise are sqrt(6) times as large, and a straight line has none.
    second = np.abs(np.diff(values[near], 2))
    noise = 1.4826 * float(np.median(second)) / math.sqrt(6.0) if len(second) else 0.0
    u = noise * math.sqrt(1.0 / width + 1.0 / len(before))
    return (max(float(smooth.max()) - entry, 0.0), max(entry - float(smooth.min()), 0.0), u)


def _known(values: Floats, rows: Rows) -> Rows:
    return rows[np.isfinite(values[rows])]
