"""A flight's profile on an even grid, the input of the detection of flight phases.

Altitude, airspeed and vertical speed of a log of any rate are reduced to one value a second (the
mean of the samples), smoothed as the definitions of the phases require.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

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
FEW = 16
"""Up to so many rows a cell are added one after the other."""


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
    cells = _Cells.of(((time - time[0]) / step).astype(np.int64))
    stamps = cells.means(time)
    air = analysis.evaluation.air
    means = {
        "altitude": cells.means(
            _column(analysis, "pressure_altitude_ft", air.pressure_altitude, FOOT)),
        "airspeed": cells.means(
            _column(analysis, "calibrated_airspeed_kt", air.calibrated_airspeed, KNOT)),
    }
    if "vertical_speed" in log:
        means["vertical"] = _edge_units("vertical_speed", cells.means(
            log.aligned("vertical_speed")))
    for name in MORE:
        if name == "heading" and name in log:
            means[name] = cells.means(_unwrapped(_edge_units(name, log.aligned(name))))
        elif name in log:
            means[name] = _edge_units(name, cells.means(log.aligned(name)))
    whole = np.flatnonzero(~np.isnan(means["altitude"]) & ~np.isnan(means["airspeed"]))
    if not len(whole):
        return []
    cuts = np.flatnonzero(np.diff(stamps[whole]) > max(settings.bridge_s, 1.5 * step)) + 1
    return [_gridded(stamps, means, part, step, settings) for part in np.split(whole, cuts)]


def _column(analysis: Analysis, name: str, plain: Floats, unit: float) -> NDArray[np.floating]:
    column = analysis.columns.get(name)
    return plain / unit if column is None else column


def _edge_units(name: str, values: Floats) -> Floats:
    unit = CHANNELS[name].unit
    return (values - unit.offset) / unit.factor


def _unwrapped(heading: Floats) -> Floats:
    """Heading [deg], unwrapped at north."""
    recorded = ~np.isnan(heading)
    known = slice(None) if recorded.all() else recorded
    steps = np.diff(heading[known])
    across = np.flatnonzero(np.abs(steps) > 180.0)
    if not len(across):
        return heading
    turned = np.cumsum(-360.0 * np.round(steps[across] / 360.0))
    crossings = np.arange(len(heading))[known][across + 1]
    lasting = np.diff(crossings, prepend=0, append=len(heading))
    return np.asarray(heading + np.repeat(np.append(0.0, turned), lasting))


@dataclass(frozen=True, eq=False)
class _Cells:
    """The rows of each cell: their first and their number; ``rows`` of the log in all."""

    starts: NDArray[np.intp]
    counts: Floats
    rows: int

    @classmethod
    def of(cls, cell: NDArray[np.int64]) -> _Cells:
        """Return the cells that have rows, by each row's cell, rising."""
        starts = np.append(0, np.flatnonzero(cell[1:] != cell[:-1]) + 1)
        return cls(starts, np.diff(starts, append=len(cell)).astype(np.float64), len(cell))

    def means(self, values: NDArray[np.floating]) -> Floats:
        """Mean of the known values of each cell; NaN where none is."""
        if len(self.starts) == self.rows:
            return values.astype(np.float64)
        sums = self._sums(values)
        # A NaN shows in its cell's sum, and there are fewer of them to look at.
        if not np.isnan(sums).any():
            return sums / self.counts
        known = ~np.isnan(values)
        counts = self._sums(known)
        sums = self._sums(np.where(known, values, 0.0))
        return np.asarray(np.where(counts > 0, sums / np.maximum(counts, 1.0), np.nan))

    @cached_property
    def _most(self) -> int:
        """The greatest number of rows of a cell."""
        return int(self.counts.max())

    @cached_property
    def _equal(self) -> bool:
        """Whether all cells but the last have as many rows."""
        return np.array_equal(self.starts, np.arange(0, self.rows, self._most))

    def _sums(self, values: NDArray[Any]) -> Floats:
        if self._most > FEW:
            return np.asarray(np.add.reduceat(values, self.starts, dtype=np.float64))
        # Of few rows a cell, all cells' first rows, then their second, take a tenth of that.
        if self._equal:
            sums = values[:: self._most].astype(np.float64)
            for turn in range(1, self._most):
                some = values[turn :: self._most]
                sums[: len(some)] += some
            return sums
        sums = values[self.starts].astype(np.float64)
        for turn in range(1, self._most):
            more = np.flatnonzero(self.counts > turn)
            sums[more] += values[self.starts[more] + turn]
        return sums


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

    own = stamps[first : last + 1]
    shared = _Grid(grid, own, settings.bridge_s / 2 + step, step / 4)

    def on_grid(name: str) -> Floats:
        values = means[name][first : last + 1]
        stepped = name in CHANNELS and CHANNELS[name].discrete
        missing = np.isnan(values)
        if not missing.any():
            return shared.resampled(values, stepped)
        known = np.flatnonzero(~missing)
        if not len(known):
            return np.full(count, np.nan)
        return replace(shared, stamps=own[known]).resampled(values[known], stepped)

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


@dataclass(frozen=True, eq=False)
class _Grid:
    """An even grid, and the stamps [s] of values to be put on it.

    Beyond ``reach`` [s] from any of them nothing is known; those within ``slack`` of the grid are
    on it.
    """

    grid: Floats
    stamps: Floats
    reach: float
    slack: float

    @cached_property
    def _even(self) -> bool:
        # A last second of which only the beginning is recorded has its stamp off the grid.
        own = self.stamps[: len(self.grid)]
        return len(own) == len(self.grid) and bool(np.abs(own - self.grid).max() <= self.slack)

    @cached_property
    def _before(self) -> NDArray[np.intp]:
        """The last stamp up to each cell, -1 for none."""
        return np.searchsorted(self.stamps, self.grid, side="right") - 1

    @cached_property
    def _far(self) -> NDArray[np.intp]:
        """The cells beyond reach."""
        since = np.abs(self.grid - self.stamps[self._before.clip(0)])
        after = np.minimum(self._before + 1, len(self.stamps) - 1)
        until = np.abs(self.stamps[after] - self.grid)
        return np.flatnonzero(np.minimum(since, until) > self.reach)

    def resampled(self, values: Floats, stepped: bool) -> Floats:
        """Return the value of each cell: of its last stamp if `stepped`, else interpolated."""
        if self._even:
            return values[: len(self.grid)]
        even = (values[self._before.clip(0)] if stepped
                else np.interp(self.grid, self.stamps, values))
        even[self._far] = np.nan
        return even


def _odd(width: int, length: int) -> int:
    return min(width | 1, (length - 1) | 1) if length > 1 else 1


def _reflected(values: Floats, half: int) -> Floats:
    """Extend both ends by `half` cells, fewer than there are; straight ends stay straight."""
    return np.concatenate([2 * values[0] - values[half:0:-1], values,
                           2 * values[-1] - values[-2 : -2 - half : -1]])


def _smoothed(values: Floats, width: int) -> Floats:
    """Running mean over an odd number of cells."""
    width = _odd(width, len(values))
    if width < 3:
        return values
    return np.convolve(_reflected(values, width // 2), np.full(width, 1.0 / width), mode="valid")


def _slope(values: Floats, width: int, step: float) -> Floats:
    """Slope per second of the straight line by least squares through an odd number of cells."""
    width = _odd(width, len(values))
    if width < 3:
        return np.gradient(values, step) if len(values) > 1 else np.zeros(len(values))
    half = width // 2
    weights = np.arange(-half, half + 1, dtype=np.float64)
    weights /= float((weights**2).sum()) * step
    return np.convolve(_reflected(values, half), weights[::-1], mode="valid")
