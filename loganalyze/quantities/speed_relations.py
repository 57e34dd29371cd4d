"""Calibrated airspeed and Mach number of arrays that contain NaN."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from loganalyze.air import airspeed, atmosphere
from loganalyze.record.arrays import Floats

GREATEST_MACH = 3.0
"""The highest Mach number evaluated; a limit or speed beyond it is unknown."""
GREATEST_CAS = GREATEST_MACH * atmosphere.A0
_GREATEST_RATIO = float(airspeed.impact_ratio_from_mach(GREATEST_MACH))


def skip_nan(function: Callable[..., Floats], *arrays: Floats) -> Floats:
    """Return function(*arrays), elementwise, without calling it where any argument is NaN.

    `arrays` : float64 of shapes that broadcast; the result is NaN where any of them is NaN. Needed
    where one may be outside its range while another is NaN: the functions of `loganalyze.air` raise
    ValueError for it.
    """
    if not any(np.isnan(array).any() for array in arrays):
        return np.asarray(function(*arrays))
    known = ~np.isnan(arrays[0])
    for array in arrays[1:]:
        known = known & ~np.isnan(array)
    result = np.full(known.shape, np.nan)
    if known.any():
        result[known] = function(*(np.broadcast_to(a, known.shape)[known] for a in arrays))
    return result


def cas_at_mach(mach: Floats, altitude: Floats) -> Floats:
    """Return the CAS [m/s] of a Mach number at a pressure altitude [m]; NaN above Mach 3."""
    return airspeed.cas_from_mach(
        np.where(mach <= GREATEST_MACH, mach, np.nan),
        _inside(altitude, atmosphere.LOWEST, atmosphere.HIGHEST)
    )


def mach_at_cas(cas: Floats, altitude: Floats) -> Floats:
    """Return the Mach number of a CAS [m/s] at a pressure altitude [m].

    NaN above Mach 3, below no speed, and where the standard atmosphere isn't defined.
    """
    # NaN passes through these formulas: each argument is kept in its own range.
    ratio = airspeed.impact_ratio_from_cas(_inside(cas, 0.0, GREATEST_CAS))
    ratio = ratio / atmosphere.pressure_ratio(
        _inside(altitude, atmosphere.LOWEST, atmosphere.HIGHEST))
    return airspeed.mach_from_impact_ratio(np.where(ratio <= _GREATEST_RATIO, ratio, np.nan))


def _inside(values: Floats, low: float, high: float) -> Floats:
    return np.where((values >= low) & (values <= high), values, np.nan)
