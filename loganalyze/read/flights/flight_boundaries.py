"""Where one flight ends and the next begins in a recording that runs on between them.

A row is *slow* where the airspeed is below that of any flight. With a believable weight on
wheels, time on the ground is time that is slow with weight on the wheels; without, it is time
that is slow at a steady altitude. Flights are what lies between long enough times on the
ground. Touch-and-goes, bounces and rejected take-offs don't cut.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from loganalyze.record.units import FOOT, KNOT

Floats = NDArray[np.float64]

States = NDArray[np.int8]
UNKNOWN = -1
"""The state of rows before the first known one; else 1 (it is so) or 0."""

MOMENT_S = 30.0
"""Time on the ground is looked at in parts so long [s]: helicopters climb and sink while slow."""
LONG_S = 120.0
"""So long [s] above the slow airspeed is a flight, whether or not the altitude moved."""


@dataclass(frozen=True)
class CutSettings:
    """When a recording is cut into flights; engineering judgement, no published source."""

    gap_s: float = 3600.0
    """A gap longer than this [s] begins a new flight: no recorder rests so long in one."""
    slow: float = 50 * KNOT
    """Below this airspeed [m/s] an aeroplane may be on the ground. Air data systems that show no
    less than some 30 to 45 kt stay below it, approach speeds above it."""
    ground_s: float = 60.0
    """So long [s] slow with weight on the wheels ends a flight: a touch-and-go or a
    stop-and-go takes less."""
    steady_s: float = 120.0
    """So long [s] slow at a steady altitude ends a flight where no weight on wheels is recorded:
    longer, since slow flight is flown level, too."""
    steady: float = 150 * FOOT
    """Altitude [m] within which the aircraft is steady: a step of a 100 ft encoder and noise."""
    drift: float = 100 * FOOT / 3600
    """What the weather may move the pressure altitude of the ground [m/s]."""
    airborne_s: float = 30.0
    """Less [s] above the slow airspeed is a rejected take-off, wind or noise, and no flight."""
    rises: float = 150 * FOOT
    """A flight of less than two minutes must at least rise so far [m]."""
    kept_s: float = 1800.0
    """Ground time [s] that is kept with a flight, before and after it: a long taxi. More is
    ground running, and belongs to no flight."""


@dataclass(frozen=True)
class Moment:
    """Half a minute or so of a run: its first row, its times [s] and altitudes [m]."""

    row: int
    start_s: float
    stop_s: float
    lowest: float
    highest: float


@dataclass
class Run:
    """Rows in sequence that are all on the ground, or all not, as far as each row shows."""

    start: int
    stop: int
    ground: bool
    start_s: float
    stop_s: float
    lowest: float = np.inf
    highest: float = -np.inf
    airborne: bool = False
    """Whether weight on wheels says so somewhere."""
    moments: tuple[Moment, ...] = ()
    """Of time on the ground: its parts, to find the steady ones."""

    @property
    def duration_s(self) -> float:
        """How long it lasts [s]."""
        return self.stop_s - self.start_s

    @property
    def moved(self) -> float:
        """How far the altitude moved [m], 0 where it isn't recorded."""
        return max(self.highest - self.lowest, 0.0)

    def turned(self) -> Run:
        """Return this run taken for the other kind."""
        return self.joined(self, not self.ground)

    def joined(self, other: Run, ground: bool) -> Run:
        """Return this run and the one after it as one."""
        return Run(self.start, other.stop, ground, self.start_s, other.stop_s,
                   min(self.lowest, other.lowest), max(self.highest, other.highest),
                   self.airborne or other.airborne,
                   self.moments + other.moments if other is not self else self.moments)


@dataclass
class Tracker:
    """Follows airspeed, altitude and weight on wheels, block after block, as runs of rows."""

    settings: CutSettings
    wheels: bool
    runs: list[Run] = field(default_factory=list)
    airspeed_runs: list[Run] = field(default_factory=list)
    _slow: int = UNKNOWN
    _weight: int = UNKNOWN
    _fast: int = 0
    _fast_on_wheels: int = 0

    def add(self, row: int, time: Floats, airspeed: Floats | None, altitude: Floats | None,
            weight: Floats | None) -> None:
        """Take in rows from `row` on.

        `time` [s] is NaN where unknown; `airspeed` [m/s], `altitude` [m] and `weight` (1 on the
        wheels) are NaN where blank, None where not recorded: a blank is as the row before.
        """
        if airspeed is None or not len(time):
            return
        if time[-1] - time[0] >= LONG_S and airspeed.min() >= self.settings.slow and (
                weight is None or weight.max() <= 0.5):
            self._cruise(row, time, weight is not None)
            return
        slow, self._slow = _state(airspeed < self.settings.slow, airspeed, self._slow)
        if weight is None:
            _append(self.airspeed_runs, row, slow, time, altitude, None)
            return
        on_wheels, self._weight = _state(weight > 0.5, weight, self._weight)
        with np.errstate(invalid="ignore"):
            fast = airspeed > 2 * self.settings.slow
        self._fast += int(np.count_nonzero(fast))
        self._fast_on_wheels += int(np.count_nonzero(fast & (on_wheels == 1)))
        _append(self.airspeed_runs, row, slow, time, altitude, None)
        ground = ((slow == 1) & (on_wheels == 1)).astype(np.int8)
        ground[(slow == UNKNOWN) & (on_wheels != 0)] = UNKNOWN
        _append(self.runs, row, ground, time, altitude, on_wheels == 0)

    def _cruise(self, row: int, time: Floats, wheels: bool) -> None:
        """Take in rows that are all fast and off the wheels: most of a recording, in no time."""
        self._slow, self._fast = 0, self._fast + len(time)
        run = Run(row, row + len(time), False, float(time[0]), float(time[-1]), airborne=wheels)
        if wheels:
            self._weight = 0
            _take(self.runs, replace(run))
        _take(self.airspeed_runs, run)

    @property
    def believed(self) -> bool:
        """Whether the weight on wheels is recorded, and off the wheels when it is fast."""
        return self.wheels and self._fast_on_wheels <= 0.5 * self._fast

    @property
    def may_be_down(self) -> bool:
        """Whether a look at the spans may show time on the ground after the first run, quickly."""
        runs = self.runs if self.believed else self.airspeed_runs
        least = self.settings.ground_s / 2
        return any(run.ground and run.duration_s >= least for run in (*runs[1:], *runs[-1:]))

    def spans(self) -> list[Run]:
        """Return the runs on the ground and in the air that count, in turn."""
        rules = self.settings
        least = rules.ground_s if self.believed else rules.steady_s
        runs = self.runs if self.believed else self.airspeed_runs
        last = len(runs) - 1
        # First bumps and gusts, then stops that are too short, then what never flew.
        runs = _merged([run.turned() if not run.ground and 0 < i < last
                        and run.duration_s < rules.airborne_s else run
                        for i, run in enumerate(runs)])
        runs = _merged([part for run in runs for part in self._standing(run, least)])
        last = len(runs) - 1
        return _merged([run.turned() if not run.ground and 0 < i < last
                        and not self.flown(run) else run for i, run in enumerate(runs)])

    def _standing(self, run: Run, least: float) -> list[Run]:
        """Return a run on the ground as what is surely so, and what it leaves before and after."""
        if not run.ground:
            return [run]
        if run.duration_s < least:
            return [run.turned()]
        if self.believed or not run.moments:
            return [run]
        first, last = self._steady(run.moments)
        start, stop = run.moments[first], run.moments[last]
        if stop.stop_s - start.start_s < least:
            return [run.turned()]
        end = run.stop if last + 1 == len(run.moments) else run.moments[last + 1].row
        end_s = run.stop_s if last + 1 == len(run.moments) else run.moments[last + 1].start_s
        begin, begin_s = (run.start, run.start_s) if first == 0 else (start.row, start.start_s)
        parts = [replace(run, start=begin, stop=end, start_s=begin_s, stop_s=end_s)]
        if begin > run.start:
            parts.insert(0, replace(run, stop=begin, stop_s=begin_s, ground=False))
        if end < run.stop:
            parts.append(replace(run, start=end, start_s=end_s, ground=False))
        return parts

    def _steady(self, moments: tuple[Moment, ...]) -> tuple[int, int]:
        """Return the first and the last moment of the longest stretch at a steady altitude."""
        best, longest = (0, 0), -np.inf
        first, low, high = 0, np.inf, -np.inf
        for i, moment in enumerate(moments):
            low, high = min(low, moment.lowest), max(high, moment.highest)
            lasts = moment.stop_s - moments[first].start_s
            if high - low > self.settings.steady + self.settings.drift * lasts:
                first, low, high = i, moment.lowest, moment.highest
                lasts = moment.stop_s - moment.start_s
            # A last moment of one row lasts no time, but belongs to the stretch.
            if lasts > longest or (lasts == longest and first == best[0]):
                best, longest = (first, i), lasts
        return best

    def flown(self, run: Run) -> bool:
        """Whether so long above the slow airspeed is a flight, not a rejected take-off."""
        rules = self.settings
        if run.duration_s < rules.airborne_s or (self.believed and not run.airborne):
            return False
        return run.duration_s >= LONG_S or run.moved >= rules.rises

    def shifted(self, rows: int) -> Tracker:
        """Return a tracker of the rows from `rows` on, counted from there."""
        new = Tracker(self.settings, self.wheels, _after(self.runs, rows),
                      _after(self.airspeed_runs, rows))
        new._slow, new._weight = self._slow, self._weight
        new._fast, new._fast_on_wheels = self._fast, self._fast_on_wheels
        return new


def _state(is_so: NDArray[np.bool_], values: Floats, before: int) -> tuple[States, int]:
    """Return 1, 0 or UNKNOWN at each row, as the row before where `values` is blank."""
    blank = np.isnan(values)
    if not blank.any():
        return is_so.view(np.int8), int(is_so[-1])
    state = np.concatenate([np.array([before], np.int8), is_so.view(np.int8)])
    latest = np.where(blank, 0, np.arange(1, len(state)))
    state = state[np.maximum.accumulate(latest)]
    return state, int(state[-1])


def _append(runs: list[Run], row: int, known: States, time: Floats, altitude: Floats | None,
            airborne: NDArray[np.bool_] | None) -> None:
    edges = np.concatenate([[0], np.flatnonzero(known[1:] != known[:-1]) + 1, [len(known)]])
    for first, stop in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        stamps = time[first:stop]
        ends = (stamps[0], stamps[-1])
        if np.isnan(ends).any():
            stamps = stamps[np.isfinite(stamps)]
            ends = (stamps[0], stamps[-1]) if len(stamps) else (
                (runs[-1].stop_s,) * 2 if runs else (0.0, 0.0))
        low, high = np.inf, -np.inf
        # Long time in the air needs no altitude to be told from a rejected take-off.
        if altitude is not None and (known[first] != 0 or ends[1] - ends[0] < LONG_S):
            part = altitude[first:stop]
            low, high = float(np.fmin.reduce(part)), float(np.fmax.reduce(part))
            low, high = (np.inf, -np.inf) if low != low else (low, high)
        run = Run(row + first, row + stop, known[first] == 1, float(ends[0]), float(ends[1]),
                  low, high, bool(airborne is not None and airborne[first:stop].any()))
        # Weight on wheels, where it is believed, needs no look at the moments of a run.
        if altitude is not None and airborne is None and known[first] != 0:
            run.moments = _moments(row + first, time[first:stop], altitude[first:stop])
        # What isn't known yet is as what follows.
        if known[first] < 0 and not runs:
            run.ground = bool((known[stop:] == 1)[:1].any()) if stop < len(known) else True
        if runs and known[first] < 0:
            run.ground = runs[-1].ground
        _take(runs, run)


def _take(runs: list[Run], run: Run) -> None:
    if runs and runs[-1].ground == run.ground:
        runs[-1] = runs[-1].joined(run, run.ground)
        return
    if runs:
        runs[-1].stop_s = run.start_s
    runs.append(run)


def _moments(row: int, time: Floats, altitude: Floats) -> tuple[Moment, ...]:
    known = np.flatnonzero(np.isfinite(time))
    if not len(known):
        return ()
    stamps, heights = time[known], altitude[known]
    place = np.floor((stamps - stamps[0]) / MOMENT_S)
    starts = np.concatenate([[0], np.flatnonzero(place[1:] != place[:-1]) + 1])
    low = np.fmin.reduceat(heights, starts)
    high = np.fmax.reduceat(heights, starts)
    stops = np.append(stamps[starts[1:]], stamps[-1])
    return tuple(
        Moment(row + int(known[start]), float(stamps[start]), float(stop),
               np.inf if below != below else float(below),
               -np.inf if above != above else float(above))
        for start, stop, below, above in zip(starts, stops, low, high, strict=True))


def _merged(runs: list[Run]) -> list[Run]:
    merged: list[Run] = []
    for run in runs:
        if merged and merged[-1].ground == run.ground:
            merged[-1] = merged[-1].joined(run, run.ground)
        else:
            merged.append(run)
    return merged


def _after(runs: list[Run], rows: int) -> list[Run]:
    return [replace(run, start=max(run.start - rows, 0), stop=run.stop - rows, moments=tuple(
        replace(moment, row=max(moment.row - rows, 0)) for i, moment in enumerate(run.moments)
        if i + 1 == len(run.moments) or run.moments[i + 1].row > rows))
        for run in runs if run.stop > rows]
