"""Whether a log's times can be right, by what the aircraft would have done in them.

A clock that was misread (minutes for seconds, a part of the day for seconds, HHMMSS for plain
numbers) makes a flight that no aircraft flies or a rate that no recorder samples. The altitude
and the airspeed are looked at in medians of a few rows each, on several scales, so that damaged
cells, spikes and quantization steps don't count: only a change that goes on the same way for
several medians does, and only where most of all that changes in the log does so as fast.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from loganalyze.air.airspeed import mach_from_cas, tas_from_mach
from loganalyze.air.atmosphere import pressure_altitude, temperature
from loganalyze.read.clocks.time_codes import SLOWEST_S, normal_interval
from loganalyze.record.flight_log import Channel
from loganalyze.record.units import FOOT, KNOT

Floats = NDArray[np.float64]

FEWEST_ROWS = 30
"""A log of fewer rows shows nothing (engineering judgement)."""
MOST_ROWS = 1 << 17
"""Of a longer log each n-th row is looked at, and the last digits of the first so many."""
FASTEST_S = 1 / 512
"""No recorder has rows closer together [s]: flight data recorders take their fastest parameters
16 times a second, test instrumentation hundreds of times (common practice, no source)."""
SCALES = (3, 9, 27, 81, 243)
"""Rows of a median: 3 outvote a damaged one; many show a slow change in coarse steps."""
STEPS_IN_A_ROW = 4
"""A stuck bit or a corrupt frame steps once and back; so many steps the same way are a motion."""
LEAST_SHARE = 0.5
"""... if at least this share of all motion in the log is as fast: a real dive or a burst of dirt
isn't most of what a flight does (engineering judgement)."""
STEEPEST_LEAST = 100.0
"""Rate of climb or descent [m/s] that is too much in whatever direction the nose points, where
the airspeed is less (helicopters climb at no airspeed): 20,000 ft/min. Above it the bound is the
true airspeed itself, which no aircraft exceeds even straight up or down."""
TAS_MARGIN = 1.2
"""Wind, position error and a warm day make the true airspeed from IAS wrong by less than this."""
GREATEST_ACCELERATION = 20.0
"""Change of airspeed [m/s2] that thrust and gravity together can't keep up: thrust below the
weight gives 1 g level, gravity another 1 g straight down."""
LEAST_CHANGE = 40 * KNOT
"""... and an airspeed that changes less in all is noise or gusts."""
SLOW_S = 20.0
"""Rows further apart than this [s] are looked at for a clock that runs too slow."""
SLOW_CHANGE = 5000 * FOOT
"""Altitude that must change in all before its slowness counts: the weather moves less."""
SLOW_RATE = 20 * FOOT / 60
"""A climb or descent [m/s] slower than that flown on purpose."""
SLOW_SHARE = 0.9
"""Share of all change of altitude that must be as slow."""
DIGITS_SPAN_S, DIGITS_SHARE, DIGITS_STEP_S = 300.0, 0.02, 20.0
"""Of seconds two in five end in 60 to 99; of HHMMSS none does, but for damaged cells. Shown by
numbers that run over so much, a share of less than this, with rows at least so close."""


def doubt(time: Floats, channels: Mapping[str, Channel], seconds: float | None = None,
          interval: float | None = None) -> str:
    """Return a clause that says why a log's times can't be right, or nothing.

    Parameters
    ----------
    time : float64[n]
        Rising times of the rows [s].
    channels : mapping of str to Channel
        The log's channels; altitude and airspeed are used where they are there.
    seconds : float, optional
        The clock's number at a time of 0, where its numbers were taken as seconds as they stand.
    interval : float, optional
        The `normal_interval` of the times, where it is known.

    Returns
    -------
    str
        Such as "the altitude changes by 90,000 ft/min at a true airspeed of 250 kt".
    """
    if len(time) < FEWEST_ROWS:
        return ""
    interval = normal_interval(time) if interval is None else interval
    if interval < FASTEST_S:
        return f"{1 / interval:,.0f} rows a second would be recorded"
    if interval > SLOWEST_S:
        return f"only one row in {interval / 60:,.0f} min would be recorded"
    if seconds is not None and _digits(seconds + time, interval):
        return ("none of its numbers ends in 60 to 99, which shows hours, minutes and seconds in "
                "one number")
    altitude = _altitude(time, channels)
    return (_too_steep(altitude, lambda: _true_airspeed(time, channels, altitude))
            or _too_quick(_first(time, channels, _SPEEDS)) or _too_slow(altitude, interval))


_ALTITUDES = ("pressure_altitude", "indicated_altitude", "satellite_altitude")
_SPEEDS = ("calibrated_airspeed", "indicated_airspeed", "true_airspeed")
_Series = tuple[Floats, Floats]
"""Times [s] and values [SI]."""


def _digits(numbers: Floats, interval: float) -> bool:
    if numbers[-1] - numbers[0] < DIGITS_SPAN_S or interval > DIGITS_STEP_S:
        return False
    return bool((numbers[:MOST_ROWS] % 100 >= 60).mean() < DIGITS_SHARE)


def _series(time: Floats, channel: Channel) -> _Series:
    """Return the known samples of a channel: their times and values, MOST_ROWS at most."""
    values, stamps = channel.values, time if channel.rows is None else time[channel.rows]
    stride = max(1, len(values) // MOST_ROWS)
    values, stamps = values[::stride], stamps[::stride]
    known = np.isfinite(values)
    return (stamps, values) if known.all() else (stamps[known], values[known])


def _first(time: Floats, channels: Mapping[str, Channel], names: Sequence[str]) -> _Series | None:
    found = next((channels[name] for name in names if name in channels), None)
    series = None if found is None else _series(time, found)
    return None if series is None or len(series[0]) < FEWEST_ROWS else series


def _altitude(time: Floats, channels: Mapping[str, Channel]) -> _Series | None:
    found = _first(time, channels, _ALTITUDES)
    if found is not None or "static_pressure" not in channels:
        return found
    stamps, pressure = _series(time, channels["static_pressure"])
    good = (pressure > 5000) & (pressure < 110_000)
    return (stamps[good], pressure_altitude(pressure[good])) if (
        good.sum() >= FEWEST_ROWS) else None


def _true_airspeed(time: Floats, channels: Mapping[str, Channel],
                   altitude: _Series | None) -> _Series | None:
    """Return a true airspeed [m/s] in the standard atmosphere, good to some TAS_MARGIN."""
    found = _first(time, channels, ("true_airspeed",))
    if found is not None or altitude is None:
        return found
    found = _first(time, channels, _SPEEDS[:2])
    if found is None:
        return None
    stamps, cas = found
    height = np.clip(np.interp(stamps, *altitude), -1000, 20_000)
    air = temperature(height)
    return stamps, tas_from_mach(mach_from_cas(np.clip(cas, 0, 400), height), air)


def _medians(series: _Series, rows: int) -> _Series:
    """Return the medians of so many rows each, of times and values."""
    stamps, values = series
    count = len(stamps) // rows
    return (_middles(stamps, rows),
            np.median(values[: count * rows].reshape(count, rows), axis=1))


def _middles(stamps: Floats, rows: int) -> Floats:
    """Return the medians of so many rising times each."""
    count = len(stamps) // rows
    low, high = (stamps[first::rows][:count] for first in ((rows - 1) // 2, rows // 2))
    return (low + high) / 2


def _on_scales(series: _Series, slowest: float) -> Iterator[tuple[int, _Series]]:
    """Yield the rows of a median and the medians, on each scale that may hold too fast a motion.

    `slowest` : the least rate that is too fast. Where so many steps at this rate would go beyond
    all values, there is none.
    """
    steps, spans = np.diff(series[1]), np.diff(series[0])
    # The medians of two neighbouring groups of r rows lie fewer than 2 r steps apart, over a time
    # of r of the shortest spans or more: where no row goes half as fast, no median goes too fast.
    if 2 * np.abs(steps).max(initial=0.0) <= slowest * spans.min(initial=np.inf):
        return
    reach = float(np.ptp(series[1]))
    for rows in SCALES:
        if len(series[0]) < (STEPS_IN_A_ROW + 1) * rows:
            break
        stamps = _middles(series[0], rows)
        if slowest * (stamps[STEPS_IN_A_ROW:] - stamps[:-STEPS_IN_A_ROW]).min() <= reach:
            yield rows, _medians(series, rows)


def _too_fast(medians: _Series, bound: Floats | float) -> tuple[float, float, int] | None:
    """Return the usual rate, the change in all and the place of too fast a motion, or None.

    `bound` : the rate that is too fast, at each step from one median to the next.
    """
    stamps, values = medians
    steps, spans = np.diff(values), np.diff(stamps)
    with np.errstate(divide="ignore", invalid="ignore"):
        rates = steps / spans
    long = _going_on(np.where(np.abs(rates) > bound, np.sign(steps), 0))
    if not long.any():
        return None
    moved = float(np.abs(steps[long]).sum())
    if moved < LEAST_SHARE * np.abs(steps[_going_on(np.sign(steps))]).sum():
        return None
    return float(np.median(np.abs(rates[long]))), moved, int(np.flatnonzero(long)[0])


def _going_on(way: Floats) -> NDArray[np.bool_]:
    """Tell which steps belong to enough of them in sequence that go the same way: 1 or -1."""
    edges = np.flatnonzero(np.diff(way, prepend=np.inf, append=np.inf))
    lasting = np.diff(edges)
    return np.asarray(np.repeat(lasting >= STEPS_IN_A_ROW, lasting) & (way != 0))


def _too_steep(altitude: _Series | None, airspeed: Callable[[], _Series | None]) -> str:
    if altitude is None:
        return ""
    for rows, medians in _on_scales(altitude, STEEPEST_LEAST):
        if _too_fast(medians, STEEPEST_LEAST) is None:
            continue  # whatever the airspeed
        tas, stamps = airspeed(), medians[0]
        speed = np.zeros(len(stamps)) if tas is None else np.interp(stamps, *_medians(tas, min(
            rows, len(tas[0]))))
        bound = np.maximum(STEEPEST_LEAST, TAS_MARGIN * np.maximum(speed[1:], speed[:-1]))
        found = _too_fast(medians, bound)
        if found is not None:
            at = "" if tas is None else (
                f" at a true airspeed of {speed[found[2]] / KNOT:.0f} kt")
            return f"the altitude would change by {found[0] * 60 / FOOT:,.0f} ft/min{at}"
    return ""


def _too_quick(speed: _Series | None) -> str:
    if speed is None:
        return ""
    for _, medians in _on_scales(speed, GREATEST_ACCELERATION):
        found = _too_fast(medians, GREATEST_ACCELERATION)
        if found is not None and found[1] >= LEAST_CHANGE:
            return f"the airspeed would change by {found[0] / KNOT:,.0f} kt a second"
    return ""


def _too_slow(altitude: _Series | None, interval: float) -> str:
    if altitude is None or interval < SLOW_S:
        return ""
    stamps, values = _medians(altitude, SCALES[0])
    steps = np.abs(np.diff(values))
    slow = steps < SLOW_RATE * np.diff(stamps)
    if steps.sum() < SLOW_CHANGE or steps[slow].sum() < SLOW_SHARE * steps.sum():
        return ""
    rate = float(np.median((steps / np.diff(stamps))[steps > 0])) * 60 / FOOT
    return f"the altitude would change by {rate:.1f} ft/min, with a row in {interval:.0f} s"
