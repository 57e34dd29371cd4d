"""Other recorded channels that say how fast and how high the aircraft was.

Each is compared with the judged airspeed or altitude *inside* an exceedance, about its worst
sample, against how the two differ in the minute before and after it. What they share (the sensors'
own errors) isn't tested by it; a corrupt value in either is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from loganalyze.air import atmosphere
from loganalyze.airdata import channel_choice
from loganalyze.events.analysis import Analysis
from loganalyze.record import sample_reasons
from loganalyze.record.arrays import Floats, Rows
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.units import DEGREE, FOOT, KNOT
from loganalyze.screening import redundant_sources
from loganalyze.screening.quantization import step_of

AIRSPEED, ALTITUDE = "airspeed", "pressure altitude"

_HEAT_CAPACITY = atmosphere.GAMMA * atmosphere.R_AIR / (atmosphere.GAMMA - 1.0)
_SCALE_HEIGHT = 8000.0
"""How high [m] the air's pressure falls by a share of itself, nearly."""
_STEADY = 10 * DEGREE
"""A ground speed tells the airspeed's changes while the track stays within this."""
BASELINE_S = 60.0
"""So long before and after an exceedance two channels' usual difference is taken from [s]: twice
the longest time that a bit is stuck, so that most of it is sound."""
_FEWEST = 3
_SPREADS = 3.0
"""A difference within so many spreads of the usual one is no contradiction."""
_FLOOR = {AIRSPEED: 0.5 * KNOT, ALTITUDE: 20 * FOOT}
"""Differences up to this [m/s, m] are what rounding and conversion leave."""
_WIND = 15.0 * KNOT
"""The wind may change by this where nothing but the ground speed is to be compared with."""
_ALIKE = 0.2
"""An airspeed that differs by more than this share is none (a dead channel, another unit)."""
_MOVED = 3.0
"""A channel is dead that stands still while the judged one moves by so many steps beside it."""
_SCALE = 0.02
"""Two channels may differ in scale by this share (position error, temperature)."""
_LATE_S = 1.0
"""One channel may lag the other by so much [s], or by its own interval."""
_CLIMB_LATE_S = 3.0
"""A vertical speed may lag the altitude by this [s] (instantaneous indicators lag less)."""


@dataclass(frozen=True, eq=False)
class Way:
    """One way to a judged quantity: `values` [SI] at every row, NaN where it isn't known.

    ``tells`` : which of the judged quantities it bears out; a Mach number or a true airspeed
    bears out airspeed and altitude. ``recorded`` : the channel itself; ``step`` : what one of its
    quantization steps makes of a value, as a share of `scale`. Values compare only where
    ``alike`` is None or near that of the exceedance (a track), and ``part`` the same (no gap).
    """

    channel: str
    quantity: str
    tells: frozenset[str]
    values: Floats
    recorded: Floats
    step: float
    floor: float
    late_s: float
    absolute: bool = True
    alike: Floats | None = None
    part: NDArray[np.intp] | None = None

    def at(self, rows: Rows, middle: int) -> Floats:
        """The values at rows that compare with the one in the middle of the exceedance."""
        values = self.values[rows]
        if self.alike is not None:
            off = np.angle(np.exp(1j * (self.alike[rows] - self.alike[middle])))
            values = np.where(np.abs(off) <= _STEADY, values, np.nan)
        if self.part is not None:
            values = np.where(self.part[rows] == self.part[middle], values, np.nan)
        return values

    def stepped(self, level: float, recorded: float) -> float:
        """What one quantization step makes [SI] of a value at a level, by what was recorded."""
        if not self.step > 0:
            return 0.0
        if self.quantity == ALTITUDE:
            return self.step * (_SCALE_HEIGHT / recorded if self.channel == "static_pressure"
                                else 1.0)
        return self.step * level / max(recorded, self.step)


@dataclass(frozen=True, slots=True)
class Difference:
    """How much more the judged quantity reads inside an exceedance than usual [SI], and may."""

    shift: float
    allowed: float
    samples: int


class Ways:
    """All ways of one flight, each reckoned once, at the rows that are asked for."""

    def __init__(self, analysis: Analysis, rows: Rows) -> None:
        self._log, self._air = analysis.log, analysis.evaluation.air
        self._interval = self._log.interval_s
        self._settings = analysis.settings
        self._rows = rows
        self.all = tuple(self._found())

    def _found(self) -> Iterator[Way]:
        both = frozenset((AIRSPEED, ALTITUDE))
        log, air = self._log, self._air
        for name, at in redundant_sources.ways_to_the_airspeed(log, air).items():
            yield self._way(name, AIRSPEED, both if name == "mach" else frozenset((AIRSPEED,)), at)
        if "true_airspeed" in log:
            yield self._way("true_airspeed", AIRSPEED, both, self._cas_of("true_airspeed"))
        track = next((name for name in ("track", "heading") if name in log), None)
        if "ground_speed" in log and track is not None:
            yield replace(self._way("ground_speed", AIRSPEED, both, self._cas_of("ground_speed")),
                          floor=_WIND, absolute=False, alike=log.aligned(track))
        for name, at in redundant_sources.ways_to_the_altitude(log, air).items():
            yield self._way(name, ALTITUDE, frozenset((ALTITUDE,)), at)
        if "vertical_speed" in log and air.altitude_sources:
            yield self._climbed()

    def _way(self, name: str, quantity: str, tells: frozenset[str], at: Callable[[Rows], Floats]
             ) -> Way:
        channel = self._log.channels[name]
        interval = channel.interval_s if channel.rows is not None else self._interval
        values = np.full(len(self._log), np.nan)
        values[self._rows] = at(self._rows)
        return Way(name, quantity, tells, values, self._log.aligned(name),
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
                felt = sample_reasons.HEAT.plausible(self._air.temperature[rows])
                # By the true airspeed itself: the judged one is what is in question.
                static = felt - self._air.recovery_factor * here**2 / (2.0 * _HEAT_CAPACITY)
                static[~(static > 100.0)] = np.nan
            sound = np.sqrt(atmosphere.GAMMA * atmosphere.R_AIR * static)
            return channel_choice.cas_of_mach(here / sound, high)

        return at

    def _climbed(self) -> Way:
        """The height [m] that the vertical speed adds up to, as far as no gap parts the rows."""
        rate = self._log.aligned("vertical_speed")
        seconds = np.diff(self._log.time)
        gained = (rate[1:] + rate[:-1]) / 2 * seconds
        parted = np.isnan(gained) | (seconds > HELD_INTERVALS * self._interval)
        part = np.concatenate([[0], np.cumsum(parted)])
        height = np.concatenate([[0.0], np.cumsum(np.where(parted, 0.0, gained))])
        way = self._way("vertical_speed", ALTITUDE, frozenset((ALTITUDE,)), height.__getitem__)
        return replace(way, step=0.0, late_s=max(way.late_s, _CLIMB_LATE_S), absolute=False,
                       part=part)

    @cached_property
    def judged(self) -> dict[str, Floats]:
        """The quantities that are judged, as recorded [SI]; NaN where screening rejects them."""
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

    def difference(self, way: Way, core: Rows, before: Rows, after: Rows) -> Difference | None:
        """Compare a way with the judged quantity inside an exceedance.

        Parameters
        ----------
        way : Way
        core : intp[k]
            Rows about the worst sample.
        before, after : intp[l], intp[m]
            Rows beside the exceedance, from which the usual difference is taken.

        Returns
        -------
        Difference or None
            None where nothing can be compared: the way isn't known inside; it stands still while
            the judged quantity moves beside the exceedance; it doesn't measure the same (an
            airspeed off by a fifth); or nothing is known beside it and it tells no absolute
            value (ground speed, vertical speed).
        """
        judged, time = self.judged[way.quantity], self._log.time
        middle = int(core[len(core) // 2])
        (inside, told, off), *beside = (
            self._off(way, judged, rows, middle) for rows in (core, before, after))
        if not len(inside):
            return None
        sides = [one for one in beside if len(one[0]) >= _FEWEST]
        level, when = median(told), median(time[inside])
        steps = (way.stepped(level, median(np.abs(way.recorded[inside])))
                 + self._steps[way.quantity])
        moving = self._moved(way, core, middle)
        if self._dead(way, np.concatenate([inside, *(one[0] for one in sides)]),
                      [judged[one[0]] for one in sides], steps):
            return None
        if not sides:
            if not way.absolute:
                return None
            apart = (float(redundant_sources.speeds_apart(np.array([level]), self._settings)[0])
                     if way.quantity == AIRSPEED else self._settings.sources_apart_ft * FOOT)
            return Difference(median(off), apart + steps + moving, len(inside))
        usual = [median(one[2]) for one in sides]
        drift = 0.0
        expected = usual[0]
        if len(sides) == 2:
            # From before to after, in a straight line.
            start, end = (median(time[one[0]]) for one in sides)
            share = min(max((when - start) / (end - start), 0.0), 1.0) if end > start else 0.5
            expected, drift = usual[0] + share * (usual[1] - usual[0]), abs(usual[1] - usual[0]) / 2
        if (way.quantity == AIRSPEED and way.absolute
                and abs(expected) > _ALIKE * (level + expected)):
            return None
        left = np.concatenate([one[2] - at for one, at in zip(sides, usual, strict=True)])
        spread = 1.4826 * median(np.abs(left))
        scale = _SCALE * max(abs(level - median(one[1])) for one in sides)
        # The spread holds the rounding of both already, unless they hardly cross a step.
        allowed = way.floor + max(_SPREADS * spread, steps) + drift + moving + scale
        return Difference(median(off) - expected, allowed, len(inside))

    @staticmethod
    def _off(way: Way, judged: Floats, rows: Rows, middle: int) -> tuple[Rows, Floats, Floats]:
        """The rows at which both are known, the way's values there, and how far off it is."""
        told = way.at(rows, middle)
        off = judged[rows] - told
        known = ~np.isnan(off)
        return rows[known], told[known], off[known]

    @staticmethod
    def _dead(way: Way, rows: Rows, beside: Sequence[Floats], steps: float) -> bool:
        """Whether a channel stands still although the judged quantity moves beside it."""
        if np.ptp(way.recorded[rows]) > 0 or not beside:
            return False
        return bool(np.ptp(np.concatenate(beside)) > _MOVED * (steps + _FLOOR[way.quantity]))

    def _moved(self, way: Way, core: Rows, middle: int) -> float:
        """How far the way itself moves about the core within its lag [SI]."""
        time = self._log.time
        low, high = np.searchsorted(time, (time[core[0]] - way.late_s, time[core[-1]] + way.late_s))
        rows = np.arange(int(low), min(int(high) + 1, len(time)))
        later = np.searchsorted(time[rows], time[rows] + way.late_s - 1e-6)
        pairs = later < len(rows)
        told = way.at(rows, middle)
        moved = np.abs(told[later[pairs]] - told[pairs])
        moved = moved[~np.isnan(moved)]
        return median(moved) if len(moved) else 0.0


def median(values: Floats) -> float:
    """Return the median of some numbers, the upper of two in the middle.

    A limit ridden in gusts asks for tens of thousands, each of a few numbers.
    """
    return float(np.sort(values)[len(values) // 2])
