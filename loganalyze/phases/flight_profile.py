"""A flight's profile on an even grid, the input of the detection of flight phases.

Altitude, airspeed and vertical speed of a log of any rate are reduced to one value a second (the
mean of the samples), smoothed as the definitions of the phases require.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loganalyze.events.analysis import Analysis
from loganalyze.phases.phase_definitions import PhaseSettings
from loganalyze.record.arrays import Floats
from loganalyze.record.channels import CHANNELS
from loganalyze.record.units import FOOT, KNOT

MORE: tuple[str, ...] = (
    "weight_on_wheels", "ground_speed", "gear_down", "flap", "roll", "heading")
"""Optional channels that improve the detection of phases, where recorded."""


@dataclass(frozen=True, eq=False)
class Profile:
    """A stretch of a log without a long gap, on an even grid; float64[n], NaN where not known.

    ``start_s`` [s] : of the first cell; ``step_s`` [s]; ``altitude`` [ft] as recorded,
    ``height`` [ft] a running mean of it; ``airspeed`` [kt CAS]; ``vertical`` [ft/min] smoothed;
    ``more`` : the other recorded channels, by name, in their edge units.
    """

    start_s: float
    step_s: float
    altitude: Floats
    height: Floats
    airspeed: Floats
    vertical: Floats
    more: Mapping[str, Floats]

    def __len__(self) -> int:
        return len(self.altitude)

    def cells(self, seconds: float) -> int:
        """Return how many cells a time [s] takes, at least one."""
        return max(1, round(seconds / self.step_s))

    def edge(self, cell: float) -> float:
        """Return when a cell begins [s]: half a step before its instant."""
        return self.start_s + (cell - 0.5) * self.step_s


def profiles(analysis: Analysis, settings: PhaseSettings) -> list[Profile]:
    """Return the stretches of a log between long gaps, each on its grid, by time.

    Samples that were screened out count as missing. A stretch of missing altitude or airspeed
    longer than ``settings.bridge_s`` divides the log as a gap does.
    """
    log = analysis.log
    time = log.time
    if not len(time):
        return []
    step = max(settings.step_s, log.interval_s if log.interval_s > 0 else settings.step_s)
    cell = ((time - time[0]) / step).astype(np.int64)
    starts = np.flatnonzero(np.diff(cell, prepend=-1))
    stamps = _means(time, starts)
    air = analysis.evaluation.air
    kept = {
        "altitude": _column(analysis, "pressure_altitude_ft", air.pressure_altitude, FOOT),
        "airspeed": _column(analysis, "calibrated_airspeed_kt", air.calibrated_airspeed, KNOT),
    }
    means = {name: _means(values, starts) for name, values in kept.items()}
    if "vertical_speed" in log:
        means["vertical"] = _means(_edge_units(analysis, "vertical_speed"), starts)
    for name in MORE:
        if name in log:
            values = _edge_units(analysis, name)
            means[name] = _means(_unwrapped(values) if name == "heading" else values, starts)
    whole = np.flatnonzero(~np.isnan(means["altitude"]) & ~np.isnan(means["airspeed"]))
    if not len(whole):
        return []
    cuts = np.flatnonzero(np.diff(stamps[whole]) > max(settings.bridge_s, 1.5 * step)) + 1
    return [_gridded(stamps, means, part, step, settings) for part in np.split(whole, cuts)]


def _column(analysis: Analysis, name: str, plain: Floats, unit: float) -> NDArray[np.floating]:
    column = analysis.columns.get(name)
    return plain / unit if column is None else column


def _edge_units(analysis: Analysis, name: str) -> Floats:
    unit = CHANNELS[name].unit
    return (analysis.log.aligned(name) - unit.offset) / unit.factor


def _unwrapped(heading: Floats) -> Floats:
    """Heading [deg], unwrapped at north."""
    known = np.flatnonzero(~np.isnan(heading))
    whole = np.full(heading.shape, np.nan)
    whole[known] = np.unwrap(heading[known], period=360.0)
    return whole


def _means(values: NDArray[np.floating], starts: NDArray[np.intp]) -> Floats:
    """Mean of the known values of each cell, whose first rows are given; NaN where none is."""
    if len(starts) == len(values):
        return values.astype(np.float64)
    known = ~np.isnan(values)
    if known.all():
        counts = np.diff(starts, append=len(values))
        return np.asarray(np.add.reduceat(values, starts, dtype=np.float64) / counts)
    counts = np.add.reduceat(known, starts, dtype=np.int64)
    sums = np.add.reduceat(np.where(known, values, 0.0), starts, dtype=np.float64)
    return np.asarray(np.where(counts > 0, sums / np.maximum(counts, 1), np.nan))


def _gridded(
    stamps: Floats, means: Mapping[str, Floats], part: NDArray[np.intp], step: float,
    settings: PhaseSettings,
) -> Profile:
    """Put the cells of one part on an even grid, bridging short gaps by straight lines."""
    first, last = int(part[0]), int(part[-1])
    # A log that is mostly bridges gets no more cells than four for each of its own.
    step = max(step, float(stamps[last] - stamps[first]) / (4 * len(part)))
    count = int((stamps[last] - stamps[first]) / step + 1e-9) + 1
    grid = stamps[first] + step * np.arange(count)

    def on_grid(name: str) -> Floats:
        values = means[name][first : last + 1]
        known = np.flatnonzero(~np.isnan(values))
        at = stamps[first : last + 1]
        if len(known) == len(at) == count and np.abs(at - grid).max() <= step / 4:
            return values
        if not len(known):
            return np.full(count, np.nan)
        values, at = values[known], at[known]
        if name in CHANNELS and CHANNELS[name].discrete:
            even = values[np.searchsorted(at, grid, side="right").clip(1) - 1]
        else:
            even = np.interp(grid, at, values)
        # Beyond half a bridge's length from any sample nothing is known.
        before = np.searchsorted(at, grid, side="right") - 1
        since = np.abs(grid - at[before.clip(0)])
        until = np.abs(at[np.minimum(before + 1, len(at) - 1)] - grid)
        near = np.minimum(since, until) <= settings.bridge_s / 2 + step
        return np.asarray(np.where(near, even, np.nan))

    altitude, airspeed = on_grid("altitude"), on_grid("airspeed")
    vertical = _slope(altitude, max(3, round(settings.slope_s / step)), step) * 60.0
    if "vertical" in means:
        recorded = on_grid("vertical")
        smooth = _smoothed(recorded, max(1, round(settings.slope_s / 2 / step)))
        # In level flight any sign and unit would agree.
        moving = ~np.isnan(smooth) & (np.abs(vertical) > settings.agree_fpm)
        if moving.any() and (
                np.median(np.abs(smooth - vertical)[moving]) < settings.agree_fpm):
            vertical = np.where(np.isnan(smooth), vertical, (vertical + smooth) / 2)
    height = _smoothed(altitude, max(1, round(settings.smooth_s / step)))
    more = {name: on_grid(name) for name in MORE if name in means}
    return Profile(float(grid[0]), step, altitude, height, airspeed, vertical, more)


def _odd(width: int, length: int) -> int:
    return min(width | 1, (length - 1) | 1) if length > 1 else 1


def _smoothed(values: Floats, width: int) -> Floats:
    """Running mean over an odd number of cells; odd reflection keeps straight ends straight."""
    width = _odd(width, len(values))
    if width < 3:
        return values
    half = width // 2
    padded = np.pad(values, half, mode="reflect", reflect_type="odd")
    return np.convolve(padded, np.full(width, 1.0 / width), mode="valid")


def _slope(values: Floats, width: int, step: float) -> Floats:
    """Slope per second of the straight line by least squares through an odd number of cells."""
    width = _odd(width, len(values))
    if width < 3:
        return np.gradient(values, step) if len(values) > 1 else np.zeros(len(values))
    half = width // 2
    weights = np.arange(-half, half + 1, dtype=np.float64)
    weights /= float((weights**2).sum()) * step
    padded = np.pad(values, half, mode="reflect", reflect_type="odd")
    return np.convolve(padded, weights[::-1], mode="valid")
