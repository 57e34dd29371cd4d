"""Other recorded channels that say how fast and how high the aircraft was.

Each is compared with the judged airspeed or altitude *inside* an exceedance, about its worst
sample, against how the two differ in the minute before and after it. What they share (the sensors'
own errors) isn't tested by it; a corrupt value in either is.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from loganalyze.air import atmosphere
from loganalyze.judge import inputs, screening, sources
from loganalyze.judge.flight import Analysis
from loganalyze.judge.quantum import step_of
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.units import DEGREE, FOOT, KNOT

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]

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
_SCALE = 0.02
"""Two channels may differ in scale by this share (position error, temperature)."""
_LATE_S = 1.0
"""One channel may lag the other by so much [s], or by its own interval."""
_CLIMB_LATE_S = 3.0
"""A vertical speed may lag the altitude by this [s] (instantaneous indicators lag less)."""


@dataclass(frozen=True, eq=False)
class Way:
    """One way to a judged quantity: `at` gives it [SI] at rows, NaN where it isn't known.

    ``tells`` : which of the judged quantities it bears out; a Mach number or a true airspeed
    bears out airspeed and altitude. ``step`` gives what one of its quantization steps makes [SI].
    """

    channel: str
    quantity: str
    tells: frozenset[str]
    at: Callable[[Rows], Floats]
    step: Callable[[Rows], float]
    interval_s: float
    floor: float
    late_s: float


@dataclass(frozen=True, slots=True)
class Difference:
    """How much more the judged quantity reads inside an exceedance than usual [SI], and may."""

    shift: float
    allowed: float
    samples: int


class Ways:
    """All ways of one flight, each channel looked up once."""

    def __init__(self, analysis: Analysis) -> None:
        self._log, self._air = analysis.log, analysis._case.air
        self._interval = self._log.interval_s
        self._settings = analysis.settings

    @cached_property
    def all(self) -> tuple[Way, ...]:
        """The ways that the log allows."""
        both = frozenset((AIRSPEED, ALTITUDE))
        found = [
            self._way(name, AIRSPEED, both if name == "mach" else frozenset((AIRSPEED,)), at)
            for name, at in sources.ways_to_the_airspeed(self._log, self._air).items()
        ]
        if "true_airspeed" in self._log:
            true = self._log.aligned("true_airspeed")
            found.append(self._way("true_airspeed", AIRSPEED, both,
                                   lambda rows: self._cas_of_true(true[rows], rows)))
        over_ground = self._ground_speed()
        if over_ground is not None:
            found.append(self._way("ground_speed", AIRSPEED, both, over_ground, _WIND))
        found += [self._way(name, ALTITUDE, frozenset((ALTITUDE,)), at)
                  for name, at in sources.ways_to_the_altitude(self._log, self._air).items()]
        if "vertical_speed" in self._log and self._air.altitude_sources:
            found.append(self._way("vertical_speed", ALTITUDE, frozenset((ALTITUDE,)),
                                   self._climbed(), late_s=_CLIMB_LATE_S))
        return tuple(found)

    def _way(self, name: str, quantity: str, tells: frozenset[str],
             at: Callable[[Rows], Floats], floor: float = 0.0, late_s: float = _LATE_S) -> Way:
        channel = self._log.channels[name]
        interval = channel.interval_s if channel.rows is not None else self._interval
        values = self._log.aligned(name)
        step = step_of(channel.values, channel.resolution)

        def effect(rows: Rows) -> float:
            here, value = at(rows), np.abs(values[rows])
            if name == "vertical_speed" or not step > 0:
                return 0.0
            if quantity == ALTITUDE:
                share = _SCALE_HEIGHT / value if name == "static_pressure" else np.ones(len(rows))
            else:
                share = np.abs(here) / np.fmax(value, step)
            return float(np.nanmedian(share * step)) if len(rows) else 0.0

        return Way(name, quantity, tells, at, effect, interval,
                   max(floor, _FLOOR[quantity]), max(late_s, interval if interval > 0 else 0.0))

    def _cas_of_true(self, true: Floats, rows: Rows) -> Floats:
        """Calibrated airspeed [m/s] of a true airspeed [m/s] at rows, by the recorded air."""
        height = self._air.screened_altitude[rows]
        inside = (height > atmosphere.LOWEST) & (height < atmosphere.HIGHEST)
        static = np.full(len(rows), np.nan)
        if self._air.temperature is None:
            static[inside] = atmosphere.temperature(height[inside])
        else:
            felt = screening.HEAT.plausible(self._air.temperature[rows])
            # By the true airspeed itself: the judged one is what is in question.
            static = felt - self._air.recovery_factor * true**2 / (2.0 * _HEAT_CAPACITY)
            static[~(static > 100.0)] = np.nan
        sound = np.sqrt(atmosphere.GAMMA * atmosphere.R_AIR * static)
        return inputs.cas_of_mach(true / sound, height)

    def _ground_speed(self) -> Callable[[Rows], Floats] | None:
        """The airspeed [m/s] but for the wind, where the track is steady."""
        track = next((name for name in ("track", "heading") if name in self._log), None)
        if "ground_speed" not in self._log or track is None:
            return None
        speed, angle = self._log.aligned("ground_speed"), self._log.aligned(track)

        def at(rows: Rows) -> Floats:
            here = angle[rows]
            known = here[~np.isnan(here)]
            if not len(known):
                return np.full(len(rows), np.nan)
            off = np.angle(np.exp(1j * (here - known[len(known) // 2])))
            return np.where(np.abs(off) <= _STEADY, self._cas_of_true(speed[rows], rows), np.nan)

        return at

    def _climbed(self) -> Callable[[Rows], Floats]:
        """The height [m] that the vertical speed adds up to, as far as no gap parts the rows."""
        rate = self._log.aligned("vertical_speed")
        seconds = np.diff(self._log.time)
        gained = (rate[1:] + rate[:-1]) / 2 * seconds
        parted = np.isnan(gained) | (seconds > HELD_INTERVALS * self._interval)
        part = np.concatenate([[0], np.cumsum(parted)])
        height = np.concatenate([[0.0], np.cumsum(np.where(parted, 0.0, gained))])

        def at(rows: Rows) -> Floats:
            here = part[rows]
            if not len(here):
                return np.empty(0)
            most = here.min() + int(np.bincount(here - here.min()).argmax())
            return np.where(here == most, height[rows], np.nan)

        return at

    def judged(self, quantity: str) -> Floats:
        """The quantity that is judged, as recorded [SI]."""
        return (self._air.screened_airspeed if quantity == AIRSPEED
                else self._air.screened_altitude)

    @cached_property
    def steps(self) -> dict[str, float]:
        """The quantization steps of the judged quantities [SI], 0 where there is none."""
        found = {}
        for quantity in (AIRSPEED, ALTITUDE):
            step = step_of(self.judged(quantity))
            found[quantity] = step if step > 0 else 0.0
        return found

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
            None where the way isn't known inside, or nothing beside it and no absolute
            comparison is possible (ground speed).
        """
        judged, time = self.judged(way.quantity), self._log.time
        around = np.concatenate([before, core, after])
        told = way.at(around)
        known = ~np.isnan(told) & ~np.isnan(judged[around])
        size = len(before)
        inside = np.zeros(len(around), dtype=bool)
        inside[size : size + len(core)] = True
        off = judged[around] - told
        here = known & inside
        if not here.any():
            return None
        sides = []
        for side in (np.arange(len(around)) < size, np.arange(len(around)) >= size + len(core)):
            some = known & side
            if some.sum() >= _FEWEST:
                sides.append((float(np.median(time[around[some]])), float(np.median(off[some])),
                              off[some], float(np.median(told[some]))))
        when = float(np.median(time[around[here]]))
        level = float(np.median(told[here]))
        steps = way.step(around[here]) + self.steps[way.quantity]
        moving = self._moved(way, core)
        if not sides:
            if way.floor > _FLOOR[way.quantity] or way.channel == "vertical_speed":
                return None
            apart = (float(sources.speeds_apart(np.array([level]), self._settings)[0])
                     if way.quantity == AIRSPEED else self._settings.sources_apart_ft * FOOT)
            return Difference(float(np.median(off[here])), apart + steps + moving,
                              int(here.sum()))
        if len(sides) == 2:
            (t0, first, _, _), (t1, second, _, _) = sides
            share = min(max((when - t0) / (t1 - t0), 0.0), 1.0) if t1 > t0 else 0.5
            usual, drift = first + share * (second - first), abs(second - first) / 2
        else:
            usual, drift = sides[0][1], 0.0
        left = np.concatenate([one[2] - one[1] for one in sides])
        spread = 1.4826 * float(np.median(np.abs(left)))
        scale = _SCALE * max(abs(level - one[3]) for one in sides)
        allowed = way.floor + _SPREADS * spread + drift + steps + moving + scale
        return Difference(float(np.median(off[here])) - usual, allowed, int(here.sum()))

    def _moved(self, way: Way, core: Rows) -> float:
        """How far the way itself moves about the core within its lag [SI]."""
        time = self._log.time
        low, high = np.searchsorted(time, (time[core[0]] - way.late_s, time[core[-1]] + way.late_s))
        rows = np.arange(int(low), min(int(high) + 1, len(time)))
        later = np.searchsorted(time[rows], time[rows] + way.late_s - 1e-6)
        pairs = later < len(rows)
        told = way.at(rows)
        moved = np.abs(told[later[pairs]] - told[pairs])
        moved = moved[~np.isnan(moved)]
        return float(np.median(moved)) if len(moved) else 0.0
