"""The clock of a log: from what a recorder stamps on a row to elapsed seconds.

Ticks are what a column holds: float64 of numbers, or int64 nanoseconds of stamps (of the day,
or since 1970), or counters that a counter clock turns into seconds.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from loganalyze.problems import Problem
from loganalyze.read.cells.arrow_arrays import numbers
from loganalyze.read.clocks.calendar_dates import DAY, WEEK
from loganalyze.read.clocks.counter_clock import CounterClock, FrameClock
from loganalyze.read.clocks.rollover import RolloverCounter
from loganalyze.read.columns.recognition import LogColumn
from loganalyze.record.findings import Finding
from loganalyze.record.units import Unit

MISSING = np.iinfo(np.int64).min
"""The int64 tick of a row without a stamp."""
_LARGEST = np.iinfo(np.int64).max
ALONE_S, ALONE_STEPS = 10.0, 10.0
"""A first or last row so far [s], and so many steps, from all others has nothing that shows
whether its stamp or a gap is meant."""
TURN_S = 60.0
"""Seconds that fall from so little [s] before a day's or a week's end to so little after its start
count from midnight, or from a week's start."""
SAMPLED_STEPS = 1 << 16
"""Steps looked at for the normal interval."""
FIRST_ROWS = 64
"""Rows that mostly hold the first ticks."""

Ticks = NDArray[np.float64] | NDArray[np.int64]

# The first tick of an epoch clock lies between 1990 and 2060, in which no two units overlap.
_EPOCHS = (("s", 1.0), ("ms", 1e3), ("us", 1e6), ("ns", 1e9))
_EPOCH_FROM, _EPOCH_TO = 6.3e8, 2.85e9
SHORTEST_STEP_S = 0.0099
"""No export has more than a hundred rows a second (common practice, no source): a shorter step
is no step of seconds."""
_IN_MINUTES = (1, 2, 4, 5, 8, 10)
"""Steps of so many seconds, written in minutes, are 60, 30, 15, 12, 7.5 or 6 a second: rates that
recorders hardly have (common practice, no source)."""
SLOWEST_S = 600.0
"""Sampling interval [s] that no recorder exceeds (common practice, no source)."""
_STEPS = (("ms", 1e3, 600, 1e4), ("us", 1e6, 6.1e4, 1e7), ("ns", 1e9, 6.1e7, 6e10))
"""Steps that can be of one unit alone: rows from 16 a second (two in milliseconds) to one in 10 s
(one a minute in nanoseconds). In the next larger unit they would be more than a minute apart, in
the next smaller one a hundredth of a second at most. What lies between is asked for."""


@dataclass(frozen=True)
class Form:
    """How a log states time.

    ``per_second`` : ticks in a second; ``dated`` : ticks count from 1970; ``daily`` : ticks
    start again at midnight; ``textual`` : the column holds text; ``words`` : the clock in plain
    words; ``inferred`` : a finding where the file didn't state it; ``epoch_s`` : the instant from
    which a dated clock's ticks count [s since 1970]; ``parts``, ``join`` : the columns of a clock
    that several make, and what makes ticks of their arrays (by channel: text where the cells are
    no numbers), raising BadStampError for a row that it can't; ``counter_clock`` : returns what
    makes seconds of ticks that are counters; ``order`` : that of the dates, where they are day or
    month first.
    """

    per_second: float
    words: str
    dated: bool = False
    daily: bool = False
    textual: bool = False
    inferred: Finding | None = None
    epoch_s: float = 0.0
    parts: tuple[LogColumn, ...] = ()
    join: Callable[[Mapping[str, pa.Array]], Ticks] | None = None
    counter_clock: Callable[[], CounterClock] | None = None
    order: str = ""


def form_of_numbers(sample: NDArray[np.float64], unit: Unit | None, stated: str, name: str,
                    where: str) -> Form:
    """Tell how the numbers of a time column count, from its first values and its unit.

    `stated` is the unit as the file writes it. Raises Problem where it isn't known, or isn't
    stated and the data leave a doubt.
    """
    values = sample[np.isfinite(sample)]
    if not len(values):
        raise Problem(f'the time column "{name}" holds no time in its first rows', where,
                      "name the column that holds it as time in a columns file")
    steps = np.diff(values)
    step = float(np.median(steps[steps > 0])) if (steps > 0).any() else np.nan
    for symbol, per_second in _EPOCHS:
        inside = (values > _EPOCH_FROM * per_second) & (values < _EPOCH_TO * per_second)
        epoch = inside.mean() > 0.5 and not step > SLOWEST_S * per_second
        if epoch and (unit is None or unit.name == symbol):
            return Form(per_second, f"{symbol} since 1970", dated=True,
                        inferred=Finding("numbers_since_1970", {"column": name, "unit": symbol}))
    if unit is not None:
        return Form(1 / unit.factor, f"elapsed {unit.name}")
    if stated:
        raise Problem(f'the unit "{stated}" of the time column "{name}" isn\'t known', where,
                      "state unit for time in a columns file as one of s, ms, us, ns, min, h")
    return _by_step(step, name, where)


def _by_step(step: float, name: str, where: str) -> Form:
    """Return the form of elapsed time by the usual step of its numbers; raises in doubt."""
    if step < SHORTEST_STEP_S or any(abs(60 * step - whole) < 0.03 for whole in _IN_MINUTES):
        raise Problem(f'nothing states what the time column "{name}" counts, and its step of '
                      f"{step:.3g} is hardly one of seconds", where,
                      "state its unit in a columns file as min or h, such as "
                      f'time = {{ column = "{name}", unit = "min" }}, or say form = "time of day" '
                      "under [clock] if it is a part of the day")
    if step < 10:
        return Form(1.0, "elapsed s",
                    inferred=Finding("step_of_seconds", {"column": name, "step": step}))
    for symbol, per_second, least, most in _STEPS:
        if least <= step <= most:
            return Form(per_second, f"elapsed {symbol}",
                        inferred=Finding("step_of_parts", {
                            "column": name, "step": step, "unit": symbol}))
    if step < 600:
        between = "seconds or milliseconds"
    elif step < 1e6:
        between = "milliseconds or microseconds"
    else:
        between = "microseconds or nanoseconds" if step < 6e10 else "seconds or parts of them"
    raise Problem(f'nothing states whether the time column "{name}" counts {between}', where,
                  f'state its unit in a columns file, such as time = {{ column = "{name}", '
                  'unit = "s" }')


def ticks_of(array: pa.Array) -> Ticks:
    """Return the ticks of a numeric or temporal Arrow array; an infinite number is no tick."""
    kind = array.type
    if pa.types.is_timestamp(kind) or pa.types.is_time(kind) or pa.types.is_duration(kind):
        width = np.dtype(np.int32 if pa.types.is_time32(kind) else np.int64)
        raw, valid = numbers(array, width)
        factor = {"s": 10**9, "ms": 10**6, "us": 10**3, "ns": 1}[kind.unit]
        ticks = raw.astype(np.int64)
        most = _LARGEST // factor  # What is beyond is no date at all.
        if factor == 1:
            stamps = ticks
        elif len(ticks) and ticks.min() >= -most and ticks.max() <= most:
            stamps = ticks * factor
        else:
            held = (ticks >= -most) & (ticks <= most)
            stamps = np.where(held, ticks * factor, MISSING)
        return stamps if valid is None else np.where(valid, stamps, MISSING)
    if pa.types.is_date32(kind):
        days, valid = numbers(array, np.dtype(np.int32))
        stamps = days.astype(np.int64) * (86400 * 10**9)
        return stamps if valid is None else np.where(valid, stamps, MISSING)
    raw, valid = numbers(array)
    if raw.dtype == np.int64:
        return raw if valid is None else np.where(valid, raw, MISSING)
    values = raw.astype(np.float64, copy=False)
    held = np.isfinite(values)
    if valid is not None:
        held &= valid
    return values if held.all() else np.where(held, values, np.nan)


@dataclass
class Clock:
    """Turns ticks, block after block, into seconds since the file's first stamp."""

    form: Form
    first: float | int | None = None
    _rollover: RolloverCounter = field(default_factory=lambda: RolloverCounter(DAY), init=False)
    _counter_clock: CounterClock | None = field(default=None, init=False)
    _last: float = field(default=np.nan, init=False)
    _turned_s: float = field(default=0.0, init=False)
    _farthest_s: float = field(default=0.0, init=False)
    _found: list[Finding] = field(default_factory=list, init=False)

    def __post_init__(self) -> None:
        self._counter_clock = self.form.counter_clock() if self.form.counter_clock else None

    def elapsed(self, ticks: Ticks) -> NDArray[np.float64]:
        """Return float64[n] [s]; NaN where a row has no stamp."""
        if self._counter_clock is not None:
            ticks = self._counter_clock.run(ticks.astype(np.float64, copy=False))
        if self.first is None:
            known = _first_known(ticks)
            if not len(known):
                return np.full(len(ticks), np.nan)
            self.first = known[_first_of(known, self.form.per_second)].item()
        if ticks.dtype == np.float64 and self.first == 0 and self.form.per_second == 1:
            return self._turned(ticks.astype(np.float64, copy=False))
        with np.errstate(invalid="ignore", over="ignore"):
            time: NDArray[np.float64] = (ticks - self.first) / self.form.per_second
        if ticks.dtype == np.int64:
            time[ticks == MISSING] = np.nan
        return self._rollover.join(time) if self.form.daily else self._turned(time)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """How the clock interpreted its times, as far as it has run."""
        counters = self._counter_clock
        return (*self._found, *(counters.found if isinstance(counters, FrameClock) else ()))

    def _turned(self, time: NDArray[np.float64]) -> NDArray[np.float64]:
        """Let elapsed seconds run on that start again from 0 at the end of a day, or of a week."""
        if self._counter_clock is not None or self.form.dated or not len(time):
            return time
        before, self._last = self._last, float(time[-1])
        step = np.diff(time, prepend=before)
        turns = np.flatnonzero((step < 0) | (step > DAY - 2 * TURN_S))
        if not len(turns):
            return time if not self._turned_s else time + self._turned_s
        shifted = time + self._turned_s
        start = (self.first or 0) / self.form.per_second
        for row in turns.tolist():
            last = start + float(time[row - 1] if row else before)
            now = start + float(time[row])
            for period, code in ((DAY, "midnight"), (WEEK, "end_of_week")):
                if _over(last, now, period):
                    shifted[row:] += period
                    self._turned_s += period
                    if self._turned_s > self._farthest_s:
                        self._found.append(Finding(code, {"last": last, "now": now}))
                        self._farthest_s = self._turned_s
                elif _over(now, last, period) and self._turned_s >= period:
                    # Rows are out of order: this one is from before.
                    shifted[row:] -= period
                    self._turned_s -= period
        return shifted

    @property
    def utc_start(self) -> np.datetime64 | None:
        """The instant of the first stamp, where the clock has a date that is on the calendar."""
        if self.first is None or not self.form.dated:
            return None
        # Whole seconds and the rest apart: float64 doesn't hold a date to the nanosecond.
        base = self.form.epoch_s + (
            self._counter_clock.base_s if self._counter_clock is not None else 0.0)
        first = (round(self.first * (10**9 // round(self.form.per_second)))
                 if isinstance(self.first, int) else round(
                     self.first / self.form.per_second * 1e9))
        start = round(base * 1e6) * 1000 + first
        return np.datetime64(start, "ns") if abs(start) < _LARGEST else None


def _over(last: float, now: float, period: float) -> bool:
    """Whether the time falls from shortly before the end of a `period` [s] to shortly after it."""
    return period - TURN_S <= last <= period and 0 <= now < TURN_S


def _first_known(ticks: Ticks) -> Ticks:
    """Return the first nine ticks that are there, or as many as there are."""
    for some in (ticks[:FIRST_ROWS], ticks):
        known = some[some != MISSING if some.dtype == np.int64 else np.isfinite(some)][:9]
        if len(known) == 9:
            break
    return known


def _first_of(ticks: Ticks, per_second: float) -> int:
    """Return the place of the first of some ticks that isn't far from all the others: 0 or 1."""
    if len(ticks) < 9:
        return 0
    steps = np.abs(np.diff(ticks.astype(np.float64)))
    usual = float(np.median(steps[1:]))
    return int(steps[0] > max(ALONE_STEPS * usual, ALONE_S * per_second))


def rises(time: NDArray[np.float64]) -> bool:
    """Whether every time is finite and later than the one before, in one pass."""
    return bool((time[1:] > time[:-1]).all()) and bool(np.isfinite(time[[0, -1]]).all())


def normal_interval(time: NDArray[np.float64]) -> float:
    """Return the median step [s] of a rising time; NaN for a single sample.

    A long log is looked at in evenly placed stretches, some 65,000 steps in all.
    """
    if len(time) < 2:
        return float("nan")
    if len(time) <= SAMPLED_STEPS:
        return float(np.median(np.diff(time)))
    return float(np.median(np.concatenate([np.diff(part) for part in stretches(time)])))


def stretches(values: NDArray[np.float64]) -> Sequence[NDArray[np.float64]]:
    """Return 64 evenly placed stretches of a long array, as views."""
    length = SAMPLED_STEPS // 64
    starts = np.linspace(0, len(values) - length - 1, 64).astype(int)
    return [values[start : start + length + 1] for start in starts]
