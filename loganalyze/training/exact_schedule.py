"""A schedule flown exactly: Mach number, true airspeed and margin at some altitudes.

In air of another temperature the same briefed speeds give another true airspeed, and the same Mach
number, the same limit and the same margin: airspeed and Mach number follow from pressures alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loganalyze.air import atmosphere
from loganalyze.air.airspeed import cas_from_mach, mach_from_cas, tas_from_mach
from loganalyze.events.analysis import Analysis
from loganalyze.limits.limit_envelope import limit_envelope
from loganalyze.problems import Problem
from loganalyze.record.arrays import Floats
from loganalyze.record.units import FOOT, KNOT
from loganalyze.sheets.lesson.schedule_file import Profile
from loganalyze.training.segments.segment_results import Part

WARMER_K = 15.0
"""[K] So much warmer the air is taken to be, beside that of the day."""
EVERY_FT = 10000.0
NEAR_FT = 2500.0
"""[ft] The air of the day at an altitude is that recorded within this of it."""


@dataclass(frozen=True, slots=True)
class ExactRow:
    """One altitude [ft]: the briefed speed as ``cas_kt`` and ``mach``, ``part`` : which of them was
    briefed there; ``tas_kt`` : in the air of the day, ``tas_warmer_kt`` : `WARMER_K` warmer;
    ``limit_kt`` : the limit airspeed, ``margin_kt``; NaN where not known.
    """

    altitude_ft: float
    part: Part
    cas_kt: float
    mach: float
    tas_kt: float
    tas_warmer_kt: float
    limit_kt: float
    margin_kt: float


def flown_exactly(
    analysis: Analysis, profile: Profile, low_ft: float, high_ft: float
) -> tuple[ExactRow, ...]:
    """Return a climb or a descent as if flown exactly as briefed.

    Parameters
    ----------
    analysis : Analysis
        The flight: its limits, and the air of its day.
    profile : Profile
        The briefed speeds.
    low_ft, high_ft : float
        Pressure altitudes [ft] between which rows are given, every `EVERY_FT` and at the crossover.
    """
    heights = {float(altitude_ft) for altitude_ft in np.arange(
        np.ceil(low_ft / EVERY_FT) * EVERY_FT, high_ft + 1.0, EVERY_FT)}
    crossover = profile.crossover_ft
    if crossover is not None and low_ft < crossover < high_ft:
        heights.add(crossover)
    altitudes = np.array(sorted(heights, reverse=True))
    if not len(altitudes):
        return ()
    try:
        limits = limit_envelope(analysis.sheet, altitudes * FOOT).limit_airspeed / KNOT
    except Problem:  # Corrections by flap angle: no limit follows from the altitude alone.
        limits = np.full(len(altitudes), np.nan)
    warmth = _deviation(analysis, altitudes)
    rows = []
    for height, limit, deviation in zip(altitudes.tolist(), limits.tolist(), warmth.tolist(),
                                        strict=True):
        part, cas, mach = _briefed(profile, height)
        air = float(atmosphere.temperature(height * FOOT)) + deviation
        tas, warmer = (float(tas_from_mach(mach, temperature)) / KNOT
                       for temperature in (air, air + WARMER_K))
        rows.append(ExactRow(height, part, cas, mach, tas, warmer, limit, limit - cas))
    return tuple(rows)


def _briefed(profile: Profile, height_ft: float) -> tuple[Part, float, float]:
    """Return which speed is briefed at an altitude, as CAS [kt] and as Mach number."""
    metres = height_ft * FOOT
    crossover = profile.crossover_ft
    if profile.mach is not None and (crossover is None or height_ft >= crossover):
        return "mach", float(cas_from_mach(profile.mach, metres)) / KNOT, profile.mach
    low = profile.lower_below_ft is not None and height_ft < profile.lower_below_ft
    cas = profile.lower_airspeed_kt if low else profile.airspeed_kt
    assert cas is not None
    return ("lower airspeed" if low else "airspeed", cas,
            float(mach_from_cas(cas * KNOT, metres)))


def _deviation(analysis: Analysis, altitudes_ft: Floats) -> Floats:
    """Return the day's deviation from the standard temperature [K] near some altitudes."""
    warmth = analysis.columns.get("isa_deviation_degc")
    height = analysis.columns["pressure_altitude_ft"]
    found = np.full(len(altitudes_ft), np.nan)
    if warmth is None:
        return found
    for i, altitude in enumerate(altitudes_ft):
        near = np.abs(height - altitude) < NEAR_FT
        known = warmth[near][np.isfinite(warmth[near])]
        if len(known):
            found[i] = float(np.median(known))
    return found
