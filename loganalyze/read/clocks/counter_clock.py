"""What turns the counters of a clock that several columns make into seconds, block after block.

Each clock takes float64[n, k], a column a counter with the fastest first and NaN where blank, and
returns float64[n] [s]. The seconds count from the start of the first day, week or frame
that is known; ``base_s`` is that instant in the clock's own count, so that nothing is lost of
the seconds' digits.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from loganalyze.read.clocks.calendar_dates import DAY, WEEK, days_of, days_of_ordinal
from loganalyze.read.clocks.rollover import (
    REACH_S,
    RolloverCounter,
    Years,
    faults,
    filled,
    turns_away,
    without_faults,
)
from loganalyze.record.findings import Finding

Floats = NDArray[np.float64]

LATE_S = 65.0
"""The upper parts of a clock (hour, date) are refreshed at most so late, once a frame of 64 s."""
REACH_FRAMES = 8.0
"""The greatest usual step of a frame counter from row to row; REACH_S where that's more."""
LATE_MINUTE_S = 5.0
"""Minutes are refreshed at most so late, once a frame of 4 s."""


class CounterClock(Protocol):
    """Makes seconds of counters."""

    base_s: float

    def run(self, counters: Floats) -> Floats:
        """Return float64[n] [s] of float64[n, k]; NaN where a row has no time."""


@dataclass
class DayClock:
    """Time of day, as one column or several, and the day.

    ``hands`` : 1 for seconds of the day, 2 for minutes and hours, 3 for seconds, minutes, hours;
    ``day`` : whether a day follows; ``offset`` : whether what the clock shows less UTC follows;
    ``calendar`` : makes days of the day's column; ``year`` : that of the first sample where the
    column states none.
    """

    hands: int
    day: bool
    offset: bool
    calendar: str = "days"
    year: int | None = None
    base_s: float = field(default=0.0, init=False)
    _offset: float = field(default=0.0, init=False)
    _based: bool = field(default=False, init=False)
    _rollovers: tuple[RolloverCounter, ...] = field(init=False)
    _years: Years = field(init=False)
    _turns: int = field(default=0, init=False)
    _code: float = field(default=np.nan, init=False)

    def __post_init__(self) -> None:
        hands = (RolloverCounter(60, 60, LATE_MINUTE_S),
                 RolloverCounter(3600, 24, LATE_S))[3 - self.hands :]
        self._rollovers = (*hands, RolloverCounter(DAY, None, LATE_S))
        self._years = Years(self.year)

    def run(self, counters: Floats) -> Floats:
        """Return seconds from the start of the first known day."""
        seconds = counters[:, 0]
        for place, counter in enumerate(self._rollovers[:-1], 1):
            seconds = counter.join(seconds, counters[:, place])
        days = self._days(counters[:, self.hands]) if self.day else None
        if days is not None and not self._based and not np.isnan(days).all():
            first = float(days[~np.isnan(days)][0])
            self.base_s, self._based = first * DAY, True
        seconds = self._rollovers[-1].join(
            seconds, None if days is None else days - self.base_s / DAY)
        if self.offset:
            offset = filled(counters[:, -1], self._offset)
            self._offset = float(offset[-1]) if len(offset) else self._offset
            seconds = seconds - offset
        return seconds

    def _days(self, column: Floats) -> Floats:
        # Of a code of months and days a day is 73 at most, from February to March.
        column = without_faults(column, self._code, None, 73 if self.calendar == "months" else 1)
        known = np.flatnonzero(~np.isnan(column))
        if self.calendar == "days":
            self._code = float(column[known[-1]]) if len(known) else self._code
            return column
        if self.calendar == "ordinal" and self.year is None:
            self._code = float(column[known[-1]]) if len(known) else self._code
            return self._years.run_on(column)
        codes = column[known]
        least = 300.0 if self.calendar == "ordinal" else 1000.0
        steps = np.diff(codes, prepend=self._code if self._code == self._code else codes[:1])
        assert self.year is not None
        years = self.year + self._turns + np.cumsum(steps < -least)
        result = np.full(len(column), np.nan)
        if len(known):
            self._turns, self._code = int(years[-1]) - self.year, float(codes[-1])
            result[known] = (days_of_ordinal(years, codes) if self.calendar == "ordinal"
                             else days_of(years, codes // 100, codes % 100))
        return result


@dataclass
class WeekClock:
    """Seconds of satellite time's week, and the week."""

    base_s: float = field(default=0.0, init=False)
    _based: bool = field(default=False, init=False)
    _week: float = field(default=np.nan, init=False)
    _rollover: RolloverCounter = field(
        default_factory=lambda: RolloverCounter(WEEK, None, LATE_S), init=False)

    def run(self, counters: Floats) -> Floats:
        """Return seconds from the start of the first known week."""
        weeks = without_faults(counters[:, 1], self._week, None, 1)
        stated = weeks[~np.isnan(weeks)]
        self._week = float(stated[-1]) if len(stated) else self._week
        if not self._based and not np.isnan(weeks).all():
            self.base_s, self._based = float(weeks[~np.isnan(weeks)][0]) * WEEK, True
        return self._rollover.join(counters[:, 0], weeks - self.base_s / WEEK)


@dataclass
class FrameClock:
    """Frames of ``frame_s`` [s], and the part of a frame in subframes where they are counted.

    ``frames`` : after how many the counter starts again, or None where that isn't stated: then
    a fall from a power of two less one is taken so, and nothing else.
    """

    frame_s: float
    subframes: int
    frames: int | None = None
    found: list[Finding] = field(default_factory=list, init=False)
    base_s: float = field(default=0.0, init=False)
    _frame: float = field(default=np.nan, init=False)
    _before: float = field(default=0.0, init=False)
    _within: RolloverCounter = field(init=False)

    def __post_init__(self) -> None:
        self._within = RolloverCounter(self.subframes, None)

    def run(self, counters: Floats) -> Floats:
        """Return seconds from 0 of the counter."""
        frames = self._running(counters[:, -1])
        if counters.shape[1] == 1:
            return frames * self.frame_s
        return self._within.join(counters[:, 0], frames) * (self.frame_s / self.subframes)

    def _running(self, frames: Floats) -> Floats:
        known = np.flatnonzero(~np.isnan(frames))
        if not len(known):
            return frames
        counts = frames[known]
        bad = faults(counts, self._frame, self.frames, max(REACH_FRAMES, REACH_S / self.frame_s))
        good = np.flatnonzero(~bad)
        held = filled(np.where(bad, np.nan, counts), self._frame)
        running = counts[good]
        steps = np.diff(running, prepend=self._frame if self._frame == self._frame else running[:1])
        before = np.full(len(counts), self._before)
        for fall in np.flatnonzero(steps < 0).tolist():
            last = float(running[fall - 1] if fall else self._frame)
            turn = self._turn(last, float(running[fall]))
            if turn:
                self._before += turn
                before[good[fall]:] = self._before
        self._frame = float(running[-1]) if len(running) else self._frame
        result = np.full(len(frames), np.nan)
        if bad.any() and self.frames is not None:
            before[bad] += self.frames * turns_away(counts, held, self.frames)[bad]
        result[known] = counts + before
        return result

    def _turn(self, last: float, now: float) -> float:
        """Return after how many frames the counter started again, 0 where it did not."""
        if self.frames is not None:
            return float(self.frames) if last - now > self.frames / 2 else 0.0
        turn = last + 1 - min(now, 1.0)
        if now <= 1 and turn >= 16 and turn == 2 ** round(np.log2(turn)):
            self.found.append(Finding("frame_counter_restarted", {
                "last": last, "now": now, "frames": turn}))
            return turn
        return 0.0
