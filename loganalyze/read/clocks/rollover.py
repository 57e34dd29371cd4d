"""Counters that start again: seconds of a minute, of the day, of a week; frames of a recorder."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

BACK_SHARE = 0.02
"""A counter that seems to run almost a whole turn ahead fell back across its start instead,
unless the upper counter says that it is the same turn."""
LONG_PERIOD = 3600.0
"""Period [s] from which a counter can't complete a turn within a few rows, so that damage shows."""
REACH_S = 60.0
"""Greatest usual step [s] of such a counter between rows."""
FAULT_ROWS = 3
"""Greatest number of consecutive damaged rows; with more, the counter was set."""

OUT_OF_PLACE_ROWS = 8
"""Rows that are at most so many places out of order are sorted: buffers of recorders and
telemetry hold a few rows (common practice, no source); more is another fault."""
FEWEST_VALUES = 6
"""Of fewer values none shows how the counter runs."""


def faults(values: Floats, last: float, period: float | None, reach: float) -> NDArray[np.bool_]:
    """Tell which values of a counter don't lie between those before and after them.

    Parameters
    ----------
    values : float64[n]
        The counter, none NaN.
    last : float
        The last good value before them, NaN for none.
    period : float or None
        After what it starts again, None for never.
    reach : float
        The greatest usual step from one value to the next.

    Returns
    -------
    bool[n]
        Up to FAULT_ROWS in sequence, where the values around them run on. A last value beyond
        `reach` is taken as one: what follows isn't known yet, and a row lost there costs little.
    """
    bad = np.zeros(len(values), dtype=bool)

    def ahead(steps: Floats) -> Floats:
        return steps if period is None else (steps + period / 2) % period - period / 2

    steps = ahead(np.diff(values, prepend=last))
    odd = np.flatnonzero(~((steps >= 0) & (steps <= reach)))
    if len(values) < FEWEST_VALUES or len(odd) > FAULT_ROWS + 0.1 * len(values):
        return bad  # It doesn't run on: which values are damaged can't be found.
    for row in np.unique(np.concatenate([odd, odd - 1])).tolist():
        if row < 0 or bad[row]:
            continue
        start = max(0, row - 4 * FAULT_ROWS)
        good = start + np.flatnonzero(~bad[start:row])
        before = float(values[good[-1]]) if len(good) else last
        if before != before:
            bad[row] = row == 0 and 1 in odd and 2 not in odd
            continue
        own = ahead(values[row : row + 1 + FAULT_ROWS] - before)
        if row + 1 == len(values):
            bad[row] = not 0 <= own[0] <= reach
            continue
        fits = (own[1:] >= 0) & (own[1:] <= reach * np.arange(2, len(own) + 1))
        if fits.any():
            after = 1 + int(fits.argmax())
            bad[row : row + after] = ~((own[:after] >= 0) & (own[:after] <= own[after]))
    return bad


def without_faults(values: Floats, last: float, period: float | None, reach: float) -> Floats:
    """Return a counter with its `faults` made NaN; NaN where it is blank."""
    known = np.flatnonzero(~np.isnan(values))
    bad = known[faults(values[known], last, period, reach)]
    if not len(bad):
        return values
    values = values.copy()
    values[bad] = np.nan
    return values


def turns_away(values: Floats, before: Floats, period: float) -> Floats:
    """Return how many turns a counter's value is away from the one before it, at every row.

    Rows that are out of order lie a little ahead of the turn or behind it: -1, 0 or 1 where the
    shorter way from `before` is `REACH_S` at most; 0 where it is longer, or either is NaN.
    """
    steps = values - before
    nearest = (steps + period / 2) % period - period / 2
    turns = np.rint((nearest - steps) / period)
    return np.where(np.abs(nearest) <= REACH_S, turns, 0.0)


@dataclass
class RolloverCounter:
    """A counter that starts again, beside the one that counts its turns.

    Like an odometer's: ``period`` is the span of the lower counter, ``turns`` after how many of
    its turns the upper one starts again (None: never). Recorders refresh the upper one late, or
    blank it between: within ``edge`` of a turn it is not believed where it is one turn out,
    and where it is blank the turns are counted. Works block after block.
    """

    period: float
    turns: float | None = None
    edge: float = 0.0
    _low: float = field(default=np.nan, init=False)
    _count: float = field(default=0.0, init=False)
    _ahead: float = field(default=np.nan, init=False)
    _high: float = field(default=np.nan, init=False)

    def join(self, low: Floats, high: Floats | None = None) -> Floats:
        """Return ``high * period + low``, float64[n]; NaN where `low` is.

        `high` is NaN where blank, None where there is no upper counter: then the turns are
        counted from the first sample's.
        """
        joined = np.full(len(low), np.nan)
        known = np.flatnonzero(~np.isnan(low))
        if not len(known):
            return joined
        lower = low[known]
        first = math.isnan(self._high)
        upper = None if high is None else without_faults(high[known], self._high, self.turns, 1)
        good = np.ones(len(lower), dtype=bool)
        if self.period >= LONG_PERIOD:
            good = ~faults(lower, self._low, self.period, REACH_S)
        count = self._counted(lower, upper, good, None if high is None else high[known])
        total = count if upper is None else count + self._carried(lower, count, upper)
        if self.turns is not None:
            total = total % self.turns
        joined[known] = total * self.period + lower
        if high is not None and upper is not None:
            # A value at an end may be damaged or stand beyond a gap: no later one tells.
            lost = np.isnan(upper) & ~np.isnan(high[known])
            joined[known[-1:][lost[-1:]]] = np.nan
            if first:
                joined[known[:1][lost[:1]]] = np.nan
            if self._short(lower):
                joined[known[lost]] = np.nan
        return joined

    def _short(self, low: Floats) -> bool:
        """Whether rows may be out of order by more than half a turn, so that it can't be counted.
        """
        steps = np.diff(low)
        steps = steps[steps > 0]
        return bool(len(steps)) and self.period / 2 < OUT_OF_PLACE_ROWS * float(np.median(steps))

    def _counted(self, low: Floats, high: Floats | None, good: NDArray[np.bool_],
                 recorded: Floats | None) -> Floats:
        """Return the turns counted at every row.

        Those not `good` have that of the row before, or of the turn that they are next to.
        """
        rows = np.flatnonzero(good)
        count, away = np.zeros(len(low)), np.zeros(len(low))
        if not good.all():
            held = filled(np.where(good, low, np.nan), self._low)
            away[~good] = turns_away(low, held, self.period)[~good]
        if len(rows):
            lower = low[rows]
            steps = np.diff(lower, prepend=self._low if self._low == self._low else lower[0])
            turned = steps < -self.period / 2
            back = steps > (1 - BACK_SHARE) * self.period
            if high is not None and recorded is not None:
                upper = filled(high[rows], self._high)
                risen = self._wrapped(np.diff(upper, prepend=self._high))
                recorded = self._wrapped(np.diff(filled(recorded[rows], self._high),
                                                 prepend=self._high))
                # Both at once is a turn, however far the lower one fell: across a gap it may be
                # little. Where both turn back, rows are out of order.
                turned |= (steps < 0) & ((risen == 1) | (recorded == 1))
                fallen = recorded == (-1 if self.turns is None else self.turns - 1)
                back = (back & (risen != 0)) | (fallen & (steps >= self.period / 2))
                self._high = float(upper[-1])
            count[rows] = turned.astype(float) - back
            self._low = float(lower[-1])
        count = self._count + np.cumsum(count)
        self._count = float(count[-1])
        return count + away

    def _carried(self, low: Floats, count: Floats, high: Floats) -> Floats:
        """Return how far the upper counter is ahead of the turns counted, at every row."""
        ahead = self._wrapped(high - count)
        stated = ~np.isnan(high)
        near = (low < self.edge) | (low >= self.period - self.edge)
        seed = self._ahead
        if seed != seed and stated.any():
            seed = float(ahead[stated.argmax()])
        trusted = filled(np.where(stated & ~near, ahead, np.nan), seed)
        apart = np.abs(self._wrapped(ahead - trusted))
        late = apart == 1 if self.turns is None else (apart == 1) | (apart == self.turns - 1)
        ahead = filled(np.where(stated & near & late, trusted, ahead), seed)
        self._ahead = float(ahead[-1])
        return ahead

    def _wrapped(self, values: Floats) -> Floats:
        return values if self.turns is None else values % self.turns


def filled(values: Floats, before: float) -> Floats:
    """Return `values` with each NaN replaced by the last number before it; `before` at first."""
    known = np.concatenate([[True], ~np.isnan(values)])
    latest = np.maximum.accumulate(np.where(known, np.arange(len(known)), 0))
    return np.asarray(np.concatenate([[before], values])[latest[1:]])


@dataclass
class Years:
    """Day numbers within a year that fall at its end, made to run on.

    ``first`` : the year of the first sample, or None; then the years' lengths are taken from
    the last day before each fall.
    """

    first: int | None = None
    _day: float = field(default=np.nan, init=False)
    _before: float = field(default=0.0, init=False)
    _turns: int = field(default=0, init=False)

    def run_on(self, day_of_year: Floats) -> Floats:
        """Return days that run on across the ends of years; NaN where `day_of_year` is."""
        result = np.full(len(day_of_year), np.nan)
        known = np.flatnonzero(~np.isnan(day_of_year))
        if not len(known):
            return result
        days = day_of_year[known]
        steps = np.diff(days, prepend=self._day if self._day == self._day else days[0])
        before = np.full(len(days), self._before)
        for fall in np.flatnonzero(steps < -300):
            last = days[fall - 1] if fall else self._day
            self._before += self._length(last)
            self._turns += 1
            before[fall:] = self._before
        self._day = float(days[-1])
        result[known] = days + before
        return result

    def _length(self, last: float) -> float:
        if self.first is None:
            return float(max(last, 365))
        year = self.first + self._turns
        return 366.0 if year % 4 == 0 and (year % 100 != 0 or year % 400 == 0) else 365.0
