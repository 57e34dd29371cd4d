"""Reference channels: other recorded channels that depend on speed and altitude.

Each is compared with the evaluated airspeed or altitude *inside* an exceedance, around its worst
sample, relative to their difference in the minute before and after it. The comparison detects a
corrupt value in either channel, but not errors that both share (those of the sensors).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from loganalyze.air import atmosphere
from loganalyze.airdata import channel_choice
from loganalyze.events.analysis import Analysis
from loganalyze.record import sample_reasons
from loganalyze.record.arrays import Floats, Rows
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.units import DEGREE, FOOT, KNOT
from loganalyze.results.evidence import Compared
from loganalyze.screening import redundant_sources
from loganalyze.screening.quantization import step_of

AIRSPEED: Final = "airspeed"
ALTITUDE: Final = "pressure altitude"

_HEAT_CAPACITY = atmosphere.GAMMA * atmosphere.R_AIR / (atmosphere.GAMMA - 1.0)
_SCALE_HEIGHT = 8000.0
"""Approximate scale height of the air's pressure [m]."""
_STEADY = 10 * DEGREE
"""A ground speed follows the airspeed's changes while the track stays within this [rad]."""
BASELINE_S = 60.0
"""The usual difference of two channels is taken from this time [s] before and after an exceedance:
twice the longest time that a bit is stuck, so that most of the samples are valid."""
_FEWEST = 3
_SPREADS = 3.0
"""A difference within this many spreads of the usual one is not a contradiction."""
_FLOOR = {AIRSPEED: 0.5 * KNOT, ALTITUDE: 20 * FOOT}
"""Differences up to this [m/s, m] are due to rounding and conversion."""
_WIND = 15.0 * KNOT
"""Change of wind [m/s] allowed where the reference is a ground speed."""
_SAME_QUANTITY = 0.2
"""A reference that differs by more than this fraction is no airspeed (inactive, other unit)."""
_MOVED = 3.0
"""A channel is inactive if constant while the evaluated one moves by more than so many steps."""
_SCALE = 0.02
"""Scale difference allowed between two channels (position error, temperature)."""
_LATE_S = 1.0
"""Lag allowed between two channels [s]; at least the reference's own interval."""
_CLIMB_LATE_S = 3.0
"""A vertical speed may lag the altitude by this [s] (instantaneous indicators lag less)."""


@dataclass(frozen=True, eq=False)
class ReferenceSeries:
    """An evaluated quantity derived from a reference channel: `values` [SI], NaN where unknown.

    ``confirms`` : the evaluated quantities that it can confirm; a Mach number or a true airspeed
    confirms airspeed and altitude. ``recorded`` : the channel itself; ``step`` : its quantization
    step, in the unit of ``recorded``. Values are comparable only where ``direction`` (a track) is
    None or near that of the exceedance, and where ``section`` is the same (no gap between).
    """

    channel: str
    quantity: Compared
    confirms: frozenset[str]
    values: Floats
    recorded: Floats
    step: float
    floor: float
    late_s: float
    absolute: bool = True
    direction: Floats | None = None
    section: NDArray[np.intp] | None = None

    def at(self, rows: Rows, middle: int) -> Floats:
        """The values at rows, NaN where not comparable with the middle of the exceedance."""
        values = self.values[rows]
        if self.direction is not None:
            off = np.angle(np.exp(1j * (self.direction[rows] - self.direction[middle])))
            values = np.where(np.abs(off) <= _STEADY, values, np.nan)
        if self.section is not None:
            values = np.where(self.section[rows] == self.section[middle], values, np.nan)
        return values

    def stepped(self, level: float, recorded: float) -> float:
        """Effect of one quantization step on the derived value [SI], at a level of it."""
        if not self.step > 0:
            return 0.0
        if self.quantity == ALTITUDE:
            return self.step * (_SCALE_HEIGHT / recorded if self.channel == "static_pressure"
                                else 1.0)
        return self.step * level / max(recorded, self.step)


@dataclass(frozen=True, slots=True)
class Difference:
    """Excess of the evaluated quantity over the reference [SI], less the usual one; its bound."""

    shift: float
    allowed: float
    samples: int


class ReferenceSet:
    """All reference series of a flight, each computed once, at the rows given."""

    def __init__(self, analysis: Analysis, rows: Rows) -> None:
        self._log, self._air = analysis.log, analysis.evaluation.air
        self._interval = self._log.interval_s
        self._settings = analysis.settings
        self._rows = rows
        self.all = tuple(self._found())

    def _found(self) -> Iterator[ReferenceSeries]:
        both = frozenset((AIRSPEED, ALTITUDE))
        log, air = self._log, self._air
        for name, at in redundant_sources.ways_to_the_airspeed(log, air).items():
            confirms = both if name == "mach" else frozenset((AIRSPEED,))
            yield self._series(name, AIRSPEED, confirms, at)
        if "true_airspeed" in log:
            yield self._series("true_airspeed", AIRSPEED, both, self._cas_of("true_airspeed"))
        track = next((name for name in ("track", "heading") if name in log), None)
        if "ground_speed" in log and track is not None:
            speed = self._series("ground_speed", AIRSPEED, both, self._cas_of("ground_speed"))
            yield replace(speed, floor=_WIND, absolute=False, direction=log.aligned(track))
        for name, at in redundant_sources.ways_to_the_altitude(log, air).items():
            yield self._series(name, ALTITUDE, frozenset((ALTITUDE,)), at)
        if "vertical_speed" in log and air.altitude_sources:
            yield self._climbed()

    def _series(self, name: str, quantity: Compared, confirms: frozenset[str],
                at: Callable[[Rows], Floats]) -> ReferenceSeries:
        channel = self._log.channels[name]
        interval = channel.interval_s if channel.rows is not None else self._interval
        values = np.full(len(self._log), np.nan)
        values[self._rows] = at(self._rows)
        return ReferenceSeries(name, quantity, confirms, values, self._log.aligned(name),
                   step_of(channel.values, channel.resolution), _FLOOR[quantity],
                   max(_LATE_S, interval if interval > 0 else 0.0))

    def _cas_of(self, name: str) -> Callable[[Rows], Floats]:
        """Calibrated airspeed [m/s] of a true airspeed (or a ground speed), by the recorded air."""
        true, height = self._log.aligned(name), self._air.screened_altitude

        def at(rows: Rows) -> Floats:
            here, high = true[rows], height[rows]
            static = np.full(len(rows), np.nan)
            inside = (high > atmosphere.LOWEST) & (high < atmosphere.HIGHEST)
            if self._air.temperature is None:
                static[inside] = atmosphere.temperature(high[inside])
            else:
                probe = sample_reasons.HEAT.plausible(self._air.temperature[rows])
                # Uses the true airspeed itself, because the evaluated airspeed is in question.
                static = probe - self._air.recovery_factor * here**2 / (2.0 * _HEAT_CAPACITY)
                static[~(static > 100.0)] = np.nan
            sound = np.sqrt(atmosphere.GAMMA * atmosphere.R_AIR * static)
            return channel_choice.cas_of_mach(here / sound, high)

        return at

    def _climbed(self) -> ReferenceSeries:
        """The height [m] integrated from the vertical speed, restarted after each gap."""
        rate = self._log.aligned("vertical_speed")
        seconds = np.diff(self._log.time)
        gained = (rate[1:] + rate[:-1]) / 2 * seconds
        breaks = np.isnan(gained) | (seconds > HELD_INTERVALS * self._interval)
        section = np.concatenate([[0], np.cumsum(breaks)])
        height = np.concatenate([[0.0], np.cumsum(np.where(breaks, 0.0, gained))])
        series = self._series("vertical_speed", ALTITUDE, frozenset((ALTITUDE,)),
                              height.__getitem__)
        return replace(series, step=0.0, late_s=max(series.late_s, _CLIMB_LATE_S), absolute=False,
                       section=section)

    @cached_property
    def judged(self) -> dict[str, Floats]:
        """The evaluated quantities as recorded [SI]; NaN where screened out."""
        found = {}
        for quantity, values in ((AIRSPEED, self._air.screened_airspeed),
                                 (ALTITUDE, self._air.screened_altitude)):
            kept = np.array(values, dtype=np.float64)
            if self._air.rejected is not None:
                kept[self._air.rejected[0]] = np.nan
            found[quantity] = kept
        return found

    @cached_property
    def _steps(self) -> dict[str, float]:
        """The quantization steps of the judged quantities [SI], 0 where there is none."""
        steps = {quantity: step_of(values) for quantity, values in self.judged.items()}
        return {quantity: step if step > 0 else 0.0 for quantity, step in steps.items()}

    def difference(
        self, series: ReferenceSeries, core: Rows, before: Rows, after: Rows
    ) -> Difference | None:
        """Compare a reference series with the evaluated quantity inside an exceedance.

        Parameters
        ----------
        series : ReferenceSeries
        core : intp[k]
            Rows about the worst sample.
        before, after : intp[l], intp[m]
            Rows beside the exceedance, from which the usual difference is taken.

        Returns
        -------
        Difference or None
            None where no comparison is possible: the reference is unknown inside; it is constant
            while the evaluated quantity moves beside the exceedance; it measures something else
            (an airspeed off by a fifth); or it is unknown beside the exceedance and has no
            absolute value (ground speed, vertical speed).
        """
        judged, time = self.judged[series.quantity], self._log.time
        middle = int(core[len(core) // 2])
        (inside, derived, off), *beside = (
            self._off(series, judged, rows, middle) for rows in (core, before, after))
        if not len(inside):
            return None
        sides = [side for side in beside if len(side[0]) >= _FEWEST]
        level, when = median(derived), median(time[inside])
        steps = (series.stepped(level, median(np.abs(series.recorded[inside])))
                 + self._steps[series.quantity])
        moving = self._moved(series, core, middle)
        if self._dead(series, np.concatenate([inside, *(side[0] for side in sides)]),
                      [judged[side[0]] for side in sides], steps):
            return None
        if not sides:
            if not series.absolute:
                return None
            apart = (float(redundant_sources.speeds_apart(np.array([level]), self._settings)[0])
                     if series.quantity == AIRSPEED else self._settings.sources_apart_ft * FOOT)
            return Difference(median(off), apart + steps + moving, len(inside))
        usual = [median(side[2]) for side in sides]
        drift = 0.0
        expected = usual[0]
        if len(sides) == 2:
            # Interpolate linearly from before to after.
            start, end = (median(time[side[0]]) for side in sides)
            share = min(max((when - start) / (end - start), 0.0), 1.0) if end > start else 0.5
            expected, drift = usual[0] + share * (usual[1] - usual[0]), abs(usual[1] - usual[0]) / 2
        if (series.quantity == AIRSPEED and series.absolute
                and abs(expected) > _SAME_QUANTITY * (level + expected)):
            return None
        left = np.concatenate([side[2] - centre for side, centre in zip(sides, usual, strict=True)])
        spread = 1.4826 * median(np.abs(left))
        scale = _SCALE * max(abs(level - median(side[1])) for side in sides)
        # The spread holds the rounding of both already, unless they hardly cross a step.
        allowed = series.floor + max(_SPREADS * spread, steps) + drift + moving + scale
        return Difference(median(off) - expected, allowed, len(inside))

    @staticmethod
    def _off(
        series: ReferenceSeries, judged: Floats, rows: Rows, middle: int
    ) -> tuple[Rows, Floats, Floats]:
        """Rows at which both are known, the reference there, and the difference from it."""
        derived = series.at(rows, middle)
        off = judged[rows] - derived
        known = ~np.isnan(off)
        return rows[known], derived[known], off[known]

    @staticmethod
    def _dead(series: ReferenceSeries, rows: Rows, beside: Sequence[Floats], steps: float) -> bool:
        """Whether a channel is constant although the evaluated quantity moves."""
        if np.ptp(series.recorded[rows]) > 0 or not beside:
            return False
        return bool(np.ptp(np.concatenate(beside)) > _MOVED * (steps + _FLOOR[series.quantity]))

    def _moved(self, series: ReferenceSeries, core: Rows, middle: int) -> float:
        """How much the reference itself changes near the core within its lag [SI]."""
        time = self._log.time
        low, high = np.searchsorted(
            time, (time[core[0]] - series.late_s, time[core[-1]] + series.late_s))
        rows = np.arange(int(low), min(int(high) + 1, len(time)))
        later = np.searchsorted(time[rows], time[rows] + series.late_s - 1e-6)
        pairs = later < len(rows)
        derived = series.at(rows, middle)
        moved = np.abs(derived[later[pairs]] - derived[pairs])
        moved = moved[~np.isnan(moved)]
        return median(moved) if len(moved) else 0.0


def median(values: Floats) -> float:
    """Return the median of some numbers, the upper of two in the middle.

    Faster than `np.median` for the tens of thousands of short arrays of a limit ridden in gusts.
    """
    return float(np.sort(values)[len(values) // 2])
