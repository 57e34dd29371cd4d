"""What would have helped: the greatest excess, had the speed come down earlier, or the descent been
less steep.

Both are answered from the flight's own energy (`energy_replay`), over the minute and a half about
an exceedance, always as an interval and never as a verdict:

- *Earlier*: all that followed the onset of the speed reduction happens n seconds before. The
  seconds that fall away are those before the onset; they must have been steady.
- *Shallower*: from an instant on, the same levers, and a rate of descent lower by a few hundred
  feet a minute.

The onset is the bend of the speed about the worst instant, a little before it to be safe: what
lies between is steady flight, whichever side of the onset it is counted to. The interval holds
the noise of the speed, what isn't known of the drag, and the wind's change with height. Where it
is wider than `WhatIfSettings.widest_kt` to either side, or the flight can't show what is needed,
there is no answer but the reason.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from loganalyze.air import airspeed, atmosphere
from loganalyze.events.analysis import Analysis
from loganalyze.events.exceedances import Exceedance
from loganalyze.explain import speed_onset
from loganalyze.explain.energy_replay import local_fits, speed_difference
from loganalyze.limits import limit_equivalents
from loganalyze.limits.limit_equivalents import AirDataRows
from loganalyze.record.units import FOOT, KNOT
from loganalyze.sheets.limits_sheet import Limit

Floats = NDArray[np.float64]

Change = Literal["earlier", "shallower"]
Refusal = Literal[
    "", "no speed", "no temperature", "gap before", "gap after", "no reduction", "several peaks",
    "other changes", "configuration", "descent too shallow", "noise", "too uncertain"]

FEET_A_MINUTE = FOOT / 60.0


@dataclass(frozen=True, slots=True)
class WhatIfSettings:
    """What is asked, and from where on it isn't answered. Engineering judgement but for sources."""

    earlier_s: tuple[float, ...] = (5.0, 10.0, 15.0)
    less_steep_fpm: tuple[float, ...] = (250.0, 500.0, 1000.0)
    less_steep_for_s: float = 20.0
    """How long before the onset the lower rate of descent begins."""
    before_s: float = 60.0
    after_s: float = 45.0
    """What of the flight is looked at, before and after the worst instant."""
    grid_s: float = 0.5
    half_width_s: float = 3.0
    """Of the smoothing; at least five samples to either side."""
    guard_s: float = 4.0
    """How long before the bend of the speed the onset is taken: an engine's and a hand's lag."""
    damping: tuple[float, float, float] = (0.03, 0.14, 0.25)
    """Least, middle and greatest k: twice a parasite drag of .03 to .08 of the weight, and what a
    propeller's thrust loses."""
    shear: float = 0.0034
    """[1/s] Standard deviation of the wind's change with height: 2 kt per 1000 ft."""
    ramp_s: float = 3.0
    """How long the change to the lower rate of descent takes."""
    steady_fpm: float = 500.0
    steady_kt_s: float = 0.35
    """The most by which rate of descent and acceleration may change in the seconds that fall
    away."""
    least_fall_kt: float = 1.0
    """How far the excess must have fallen again after its worst."""
    noisiest_kt: float = 0.6
    """[kt] Half-width that noise alone may bring to the interval."""
    widest_kt: float = 0.8
    """[kt] The greatest half-width of an interval that is given, so that 1 kt holds for all."""
    quantile: float = 1.959963984540054
    """Of the 95 % interval of a normal distribution (JCGM 100:2008, table G.1)."""


@dataclass(frozen=True, slots=True)
class WhatIf:
    """The greatest excess that one change would have left, as an interval.

    ``change`` : "earlier", by ``amount`` [s], or "shallower", by ``amount`` [ft/min]; ``from_s``
    : when it begins [s from the log's first sample]; ``low_kt``, ``high_kt`` : between these the
    greatest excess would have been [kt CAS], negative is under; ``refusal`` : why there is no
    answer, "" where there is one, and then all numbers but ``amount`` are known.
    """

    change: Change
    amount: float
    refusal: Refusal = ""
    from_s: float = float("nan")
    low_kt: float = float("nan")
    high_kt: float = float("nan")


@dataclass(frozen=True, slots=True)
class WhatWouldHaveHelped:
    """What would have changed the greatest excess of one exceedance.

    ``as_flown_kt`` : the greatest excess as flown, smoothed as the answers are, NaN where nothing
    could be answered; ``onset_s`` : when the speed reduction began, NaN where none was found.
    """

    number: int
    limit: str
    as_flown_kt: float
    onset_s: float
    answers: tuple[WhatIf, ...]


def what_if(
    analysis: Analysis, number: int, settings: WhatIfSettings | None = None
) -> WhatWouldHaveHelped:
    """Return what would have changed the greatest excess of an exceedance.

    Parameters
    ----------
    analysis : Analysis
        The judged flight.
    number : int
        The exceedance, from 1, in the order of time.
    settings : WhatIfSettings, optional

    Returns
    -------
    WhatWouldHaveHelped
        An answer or a reason for each change of the settings.

    Raises
    ------
    IndexError
        Where there is no such exceedance.

    Examples
    --------
    >>> import loganalyze as la
    >>> flight, = la.analyze("sample_logs/descent_through_mmo_and_vmo.csv",
    ...                      "sample_logs/ouzelwing_240.toml")
    >>> helped = la.what_if(flight, 2)
    >>> helped.limit, [answer.amount for answer in helped.answers if answer.change == "earlier"]
    ('VMO', [5.0, 10.0, 15.0])
    """
    settings = settings or WhatIfSettings()
    if number < 1:
        raise IndexError(f"exceedances are numbered from 1, not {number}")
    exceedance = analysis.exceedances[number - 1]
    about = _About.of(analysis, exceedance, settings)
    if isinstance(about, str):
        nothing = float("nan")
        return WhatWouldHaveHelped(number, exceedance.limit, nothing, nothing, tuple(
            replace(asked, refusal=about) for asked in _asked(settings)))
    return WhatWouldHaveHelped(
        number, exceedance.limit, about.as_flown, about.onset if about.has_onset else float("nan"),
        tuple(about.earlier(asked) if asked.change == "earlier" else about.less_steep(asked)
              for asked in _asked(settings)))


def _asked(settings: WhatIfSettings) -> tuple[WhatIf, ...]:
    return (*(WhatIf("earlier", seconds) for seconds in settings.earlier_s),
            *(WhatIf("shallower", rate) for rate in settings.less_steep_fpm))


@dataclass(frozen=True, eq=False)
class _About:
    """The flight about one exceedance, smooth, on an even grid of time; SI but for excesses."""

    analysis: Analysis
    limit: Limit
    settings: WhatIfSettings
    time: Floats
    rows: NDArray[np.intp]
    """The sample nearest to each instant."""
    calibrated: Floats
    altitude: Floats
    temperature: Floats
    speed: Floats
    """True airspeed."""
    climb: Floats
    """Geometric rate of climb."""
    excess: Floats
    """[kt]"""
    noise_kt: float
    """Half-width of the interval that noise brings."""
    peak: int
    bend: float
    has_onset: bool
    fell: bool
    """Whether the excess had passed its worst when the samples end."""
    ends_early: bool
    begins_late: bool

    @classmethod
    def of(cls, analysis: Analysis, exceedance: Exceedance, settings: WhatIfSettings
           ) -> _About | Refusal:
        """Smooth the flight about an exceedance; a reason where that can't be done."""
        limit = next(each for each in analysis.sheet.limit if each.name == exceedance.limit)
        evaluation, time = analysis.evaluation, analysis.time
        if not limit.kind.is_speed or not evaluation.air.has_altitude:
            return "no speed"
        if evaluation.air.temperature is None:
            return "no temperature"
        first, last = np.searchsorted(
            time, [exceedance.worst_time_s - settings.before_s,
                   exceedance.worst_time_s + settings.after_s])
        rows = np.arange(first, last)
        at = evaluation.air_data_at(rows)
        worst = int(np.searchsorted(time[rows], exceedance.worst_time_s))
        known = ~np.isnan(at.calibrated_airspeed + at.pressure_altitude)
        start, stop = speed_onset.unbroken(time[rows], known, worst)
        begins_late = time[rows[start]] > exceedance.worst_time_s - settings.before_s + 1.0
        ends_early = time[rows[stop - 1]] < exceedance.worst_time_s + settings.after_s - 1.0
        piece = slice(start, stop)
        rows, at = rows[piece], at.taken(piece)
        if len(rows) < 12:
            return "gap before"
        if speed_onset.configuration_moved(analysis, rows):
            return "configuration"
        warm = ~np.isnan(at.temperature)
        if warm.sum() < 0.5 * len(rows):
            return "no temperature"
        width = max(settings.half_width_s, 5 * analysis.log.interval_s)
        grid = np.arange(time[rows[0]], time[rows[-1]], settings.grid_s)
        speed, share, noise = speed_onset.smoothed_twice(
            grid, time[rows], at.calibrated_airspeed, width)
        altitude, _, _ = local_fits(grid, time[rows], at.pressure_altitude, 2 * width)
        temperature = np.interp(grid, time[rows][warm], local_fits(
            time[rows][warm], time[rows][warm], at.temperature[warm], 3 * width, 1)[0])
        if np.isnan(speed + altitude + temperature).any():
            return "gap before"
        true = airspeed.tas_from_cas(speed, altitude, temperature)
        climb = np.gradient(altitude, grid) * temperature / atmosphere.temperature(altitude)
        nearest = rows[np.abs(time[rows][None, :] - grid[:, None]).argmin(axis=1)]
        found = cls(analysis, limit, settings, grid, nearest, speed, altitude, temperature, true,
                    climb, np.empty(0),
                    settings.quantile * noise * float(np.median(share)) / KNOT,
                    0, float("nan"), False, False, bool(ends_early), bool(begins_late))
        excess = found._excess(speed, altitude, temperature, slice(None))
        beside = (np.abs(grid - exceedance.worst_time_s) <= 20.0) & (
            grid >= exceedance.start_s - 5.0) & (grid <= exceedance.end_s + 5.0)
        if np.isnan(excess[beside]).any() or not beside.any():
            return "no speed"
        peak = int(np.flatnonzero(beside)[excess[beside].argmax()])
        if np.nanmax(excess[peak:]) > excess[peak] + settings.noisiest_kt:
            return "several peaks"
        bend = speed_onset.bend(grid, true, peak)
        slow = settings.quantile * speed_onset.unsteadiness(grid, speed / KNOT, peak, (
            bend if bend == bend else float(grid[peak])) - settings.guard_s)
        fell = np.nanmin(excess[peak:]) <= excess[peak] - settings.least_fall_kt
        return replace(found, excess=excess, peak=peak, bend=bend, fell=bool(fell),
                       noise_kt=max(found.noise_kt, slow),
                       has_onset=bend == bend and found._fall(peak) >= settings.least_fall_kt)

    @property
    def as_flown(self) -> float:
        """The greatest smooth excess [kt]."""
        return float(self.excess[self.peak])

    @property
    def onset(self) -> float:
        """When the speed reduction began at the earliest [s]."""
        return self.bend - self.settings.guard_s

    def earlier(self, asked: WhatIf) -> WhatIf:
        """Answer what an earlier reduction would have left."""
        settings = self.settings
        if self.noise_kt > settings.noisiest_kt:
            return replace(asked, refusal="noise")
        if not self.has_onset:
            return replace(asked, refusal="gap after" if self.ends_early else
                           "gap before" if self.begins_late else "no reduction")
        begins = self.onset - asked.amount
        if begins < self.time[0] + settings.half_width_s:
            return replace(asked, refusal="gap before")
        last = self._index(self.onset)
        first = self._index(begins)
        if not self._steady(first, last):
            return replace(asked, refusal="other changes")
        if self.time[-1] < self.time[self.peak] + asked.amount:
            return replace(asked, refusal="gap after")
        # From a parabola through the seconds that fall away: two smooth speeds have more noise.
        some = slice(max(first - round(3.0 / settings.grid_s), 0), last + 1)
        fitted = np.polyfit(self.time[some] - begins, self.speed[some], 2)
        start = float(np.polyval(fitted, 0.0) - np.polyval(fitted, asked.amount))
        higher = self.altitude[first] - self.altitude[last]
        still = np.zeros(len(self.time) - last)
        return self._answer(asked, begins, last, first, start, float(higher), still)

    def less_steep(self, asked: WhatIf) -> WhatIf:
        """Answer what a lower rate of descent would have left."""
        settings = self.settings
        if self.noise_kt > settings.noisiest_kt:
            return replace(asked, refusal="noise")
        if self.ends_early and not self.fell:
            return replace(asked, refusal="gap after")
        until = self.onset if self.has_onset else float(self.time[self.peak])
        begins = until - settings.less_steep_for_s
        if begins < self.time[0]:
            return replace(asked, refusal="gap before")
        first = self._index(begins)
        wanted = asked.amount * FEET_A_MINUTE
        ratio = self.temperature[first:] / atmosphere.temperature(self.altitude[first:])
        descent = -self.climb[first:] / ratio
        if descent[: self._index(until) - first + 1].min() < wanted:
            return replace(asked, refusal="descent too shallow")
        ramp = np.clip((self.time[first:] - self.time[first]) / settings.ramp_s, 0.0, 1.0)
        added = np.clip(np.minimum(wanted, descent), 0.0, None) * ramp * ratio
        return self._answer(asked, begins, first, first, 0.0, 0.0, added)

    def _answer(self, asked: WhatIf, begins: float, replayed: int, first: int, start: float,
                higher: float, added: Floats) -> WhatIf:
        """Fly the samples from `replayed` on again, from the instant `first` on."""
        settings = self.settings
        low, middle, high = settings.damping
        again = slice(replayed, None)
        time, temperature = self.time[again], self.temperature[again]
        ratio = temperature / atmosphere.temperature(self.altitude[again])
        step = np.diff(time)
        raised = np.concatenate([[0.0], np.cumsum(step * (added / ratio)[1:])]) + higher
        altitude = self.altitude[again] + raised
        # Where the flight has been tells how warm it is there; else the air as it was then.
        warmth = temperature + atmosphere.temperature(altitude) - atmosphere.temperature(
            self.altitude[again])
        before = float(np.max(self.excess[max(first - 20, 0): first + 1]))

        def greatest(damping: float, shear: float) -> float:
            speed = self.speed[again] + speed_difference(
                time, self.speed[again], self.climb[again], added, start, damping, shear,
                raised)
            calibrated = airspeed.cas_from_tas(speed, altitude, warmth)
            excess = self._excess(calibrated, altitude, warmth, again)
            return max(before, float(np.nanmax(excess)))

        best = greatest(middle, 0.0)
        drag = max(abs(greatest(k, 0.0) - best) for k in (low, high))
        wind = settings.quantile * max(
            abs(greatest(middle, side * settings.shear) - best) for side in (-1.0, 1.0))
        half = float(np.sqrt(2 * self.noise_kt**2 + drag**2 + wind**2))
        if half > settings.widest_kt:
            return replace(asked, refusal="too uncertain")
        return replace(asked, from_s=float(begins), low_kt=best - half, high_kt=best + half)

    def _excess(self, calibrated: Floats, altitude: Floats, temperature: Floats,
                which: slice) -> Floats:
        """Return how far some speeds are over the limit [kt CAS]."""
        at = self._point(calibrated, altitude, temperature, which)
        return np.asarray(
            (calibrated - self.analysis.evaluation.equivalent(self.limit, at)) / KNOT)

    def _point(self, calibrated: Floats, altitude: Floats, temperature: Floats,
               which: slice) -> AirDataRows:
        """Return some air data as the limits take them."""
        rows = self.rows[which]
        there = self.analysis.evaluation.air_data_at(rows)
        static = np.nan_to_num(there.indicated_altitude - there.pressure_altitude)
        position = np.nan_to_num(there.indicated_airspeed - there.calibrated_airspeed)
        return AirDataRows(rows, calibrated, altitude, airspeed.mach_from_cas(calibrated, altitude),
                           temperature, calibrated + position, altitude + static, there.others)

    def _fall(self, peak: int) -> float:
        """Return how far the limited quantity fell after its peak [kt CAS].

        A limit that rises takes the excess away as well, and no speed needs to have come down.
        """
        at = self._point(self.calibrated, self.altitude, self.temperature, slice(None))
        value = limit_equivalents.published_value(self.limit, at)
        maximum = limit_equivalents.published_maximum(self.limit, at)[peak]
        knots = self.analysis.evaluation.equivalent(self.limit, at)[peak] / KNOT / maximum
        return float((value[peak] - np.nanmin(value[peak:])) * knots)

    def _index(self, time_s: float) -> int:
        return int(np.abs(self.time - time_s).argmin())

    def _steady(self, first: int, last: int) -> bool:
        """Whether rate of climb and acceleration are nearly constant from `first` to `last`."""
        settings = self.settings
        margin = round(settings.half_width_s / settings.grid_s / 2)
        some = slice(max(first - margin, 0), last + 1)
        path = np.ptp(self.climb[some]) / FEET_A_MINUTE
        halves = np.array_split(np.arange(len(self.time))[some], 2)
        slopes = [np.polyfit(self.time[half], self.calibrated[half], 1)[0] / KNOT
                  for half in halves if len(half) > 2]
        return bool(path <= settings.steady_fpm and np.ptp(slopes) <= settings.steady_kt_s)
