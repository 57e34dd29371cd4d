"""Where a climb or descent passes from a constant airspeed to a constant Mach number, or back.

The change is where the held airspeed and the held Mach number are the same speed: the crossing of
the two lines through all that was flown before and after it. Where a pilot takes the second speed
up late or slowly, the crossing stays where the two held speeds meet; the seconds about it belong to
neither line and don't shift it.

At the crossing the two differ at r kt/s, the rate at which the airspeed of a constant Mach number
changes with height (about .1 to .3 kt/s), so that an error d of either line's level moves the
crossing by d / r. A level's error follows from how the speed wanders about it,

    d = s sqrt((1 + p) / (1 - p) / n),

for n values of standard deviation s and a correlation p from one to the next, the effective number
of values of a first-order autoregressive process [1]_. The crossing's standard uncertainty is both
levels' errors together over r; no measurement of these two channels places it better.

References
----------
.. [1] Bayley and Hammersley, Supplement to the Journal of the Royal Statistical Society 8 (1946),
   184.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from loganalyze.air import airspeed
from loganalyze.record.arrays import Floats, Mask
from loganalyze.record.units import FOOT, KNOT

BLEND_S = 12.0
"""[s] So long before and after the change belongs to neither line, where enough is left ..."""
LEFT_S = 40.0
"""[s] ... that is this much of either part."""
APART_S = 45.0
"""[s] A crossing farther than this from where the broken line fits best isn't the change."""
GRID = 24
"""The broken line is tried at so many cells, then between the best ones."""


@dataclass(frozen=True, slots=True)
class Changeover:
    """A change between airspeed and Mach number.

    ``cell`` : of the values' index, with a fraction; ``u_cells`` : its standard uncertainty;
    ``squares`` : the squared errors of the broken line that fits best [kt**2].
    """

    cell: float
    u_cells: float
    squares: float


def changeover(
    speed_kt: Floats, height_ft: Floats, step_s: float, least_cells: int, *, cas_first: bool
) -> Changeover:
    """Find where a climb or descent passes from airspeed to Mach number, or back.

    Parameters
    ----------
    speed_kt : float64[n]
        Calibrated airspeed [kt], without NaN.
    height_ft : float64[n]
        Pressure altitude [ft], without NaN.
    step_s : float
        The width of a cell [s].
    least_cells : int
        Neither part is shorter than this.
    cas_first : bool
        The airspeed is held first, then the Mach number.

    Returns
    -------
    Changeover
    """
    height = height_ft * FOOT
    least_cells = max(min(least_cells, len(speed_kt) // 2 - 1), 1)
    best, squares = _broken_line(speed_kt, height, least_cells, cas_first)
    reach, cell, u = APART_S / step_s, float(best), APART_S / step_s / math.sqrt(3.0)
    for _ in range(3):
        before, after = _parts(len(speed_kt), cell, step_s)
        found = _crossing(speed_kt, height, *((before, after) if cas_first else (after, before)))
        if found is None or abs(found[0] - best) > reach or not (
                least_cells <= found[0] <= len(speed_kt) - least_cells):
            return Changeover(float(best), APART_S / step_s / math.sqrt(3.0), squares)
        cell, u = found
    return Changeover(cell, u, squares)


def _broken_line(speed: Floats, height: Floats, least: int, cas_first: bool) -> tuple[int, float]:
    """Return the cell at which a held airspeed passes into a held Mach number with the least
    squared errors, and these. At the change both are one speed, so that one number is fitted.
    """
    def squares(at: int) -> float:
        before, after = slice(0, at), slice(at, None)
        by_mach = after if cas_first else before
        cas = float(speed[before if cas_first else after].mean())
        model = np.empty(len(speed))
        for _ in range(3):
            held = float(airspeed.mach_from_cas(cas * KNOT, height[at]))
            model[:] = cas
            model[by_mach] = airspeed.cas_from_mach(held, height[by_mach]) / KNOT
            left = speed - model
            cas += float(left.mean())
        return float(((left - left.mean()) ** 2).sum())

    where = range(least, len(speed) - least + 1, max(1, (len(speed) - 2 * least) // GRID))
    found = {at: squares(at) for at in where}
    best = min(found, key=lambda at: found[at])
    width = max(1, (len(speed) - 2 * least) // GRID)
    while width > 1:
        width = max(1, width // 2)
        for at in (best - width, best + width):
            if least <= at <= len(speed) - least and at not in found:
                found[at] = squares(at)
        best = min(found, key=lambda at: found[at])
    return best, found[best]


def _parts(count: int, cell: float, step_s: float) -> tuple[Mask, Mask]:
    """Return the cells of either part, without the seconds about the change."""
    at = np.arange(count) - cell
    blends = [min(BLEND_S, max(length * step_s - LEFT_S, 0.0)) / step_s
              for length in (cell, count - cell)]
    return at < -blends[0], at > blends[1]


def _crossing(speed: Floats, height: Floats, by_cas: Mask, by_mach: Mask
              ) -> tuple[float, float] | None:
    """Return the cell at which the two held speeds are one, and its standard uncertainty."""
    if by_cas.sum() < 3 or by_mach.sum() < 3:
        return None
    cas = float(speed[by_cas].mean())
    number = float(airspeed.mach_from_cas(speed[by_mach] * KNOT, height[by_mach]).mean())
    held = airspeed.cas_from_mach(number, height) / KNOT
    # The held Mach number as an airspeed passes the held airspeed; fitted over the neighbourhood,
    # so that noise of the altitude doesn't make several crossings.
    gap = held - cas
    rising = gap[-1] > gap[0]
    nearest = int(np.argmin(np.abs(np.maximum.accumulate(gap if rising else -gap))))
    low, high = max(nearest - 5, 0), min(nearest + 6, len(gap))
    slope, base = np.polyfit(np.arange(low, high, dtype=np.float64), gap[low:high], 1)
    if not abs(slope) > 1e-6 or (slope > 0) != rising:
        return None
    cell = float(np.clip(-base / slope, low - 5, high + 5))
    error = math.hypot(_level_error(speed[by_cas] - cas),
                       _level_error(speed[by_mach] - held[by_mach]))
    return cell, math.hypot(error / abs(slope), 1.0 / math.sqrt(12.0))


def _level_error(left: Floats) -> float:
    """Return the standard error of the mean of correlated values."""
    left = left - left.mean()
    square = float(left @ left)
    if len(left) < 3 or not square > 0:
        return 0.0
    p = min(max(float(left[1:] @ left[:-1]) / square, 0.0), 0.97)
    return math.sqrt(square / len(left) * min((1 + p) / (1 - p), len(left)) / len(left))
