"""Counters that start again: seconds of a minute, of the day, of a week; frames of a recorder."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

BACK_SHARE = 0.02
"""A counter that seems to run almost a whole turn ahead fell back across its start instead,
unless the upper counter says that it is the same turn."""
_NO_GLITCH = 3600.0
"""A counter of so long a turn isn't lapped within ..."""
_GLITCH_ROWS = 3
"""... so many rows: where it is soon as if it had never fallen, those rows are corrupt, and ..."""
_GLITCH_S = 60.0
"""... this is the greatest step [s] a row that is taken for their end."""


@dataclass
class Wheel:
    """A counter that starts again, beside the one that counts its turns.

    Like an odometer's: ``period`` is the span of the lower wheel, ``turns`` after how many of
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
        steps = np.diff(lower, prepend=self._low if self._low == self._low else lower[0])
        turned = steps < -self.period / 2
        back = steps > (1 - BACK_SHARE) * self.period
        if high is not None:
            risen = self._wrapped(np.diff(high[known], prepend=self._high))
            # Both at once is a turn, however far the lower one fell: across a gap it may be little.
            turned |= (steps < 0) & (risen == 1)
            back &= risen != 0
            self._high = float(high[known][-1])
        elif self.period >= _NO_GLITCH:
            turned &= ~_returns(lower, np.flatnonzero(turned), self.period)
        count = self._count + np.cumsum(turned.astype(float) - back)
        total = count if high is None else count + self._carried(lower, count, high[known])
        self._low, self._count = float(lower[-1]), float(count[-1])
        if self.turns is not None:
            total = total % self.turns
        joined[known] = total * self.period + lower
        return joined

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


def _returns(low: Floats, falls: NDArray[np.intp], period: float) -> NDArray[np.bool_]:
    """Whether each row begins a fall that is no turn's, and a few rows later hasn't been."""
    glitch = np.zeros(len(low), dtype=bool)
    for fall in falls[falls > 0]:
        after = low[fall + 1 : fall + 1 + _GLITCH_ROWS] - low[fall - 1]
        back = (after >= 0) & (after <= _GLITCH_S * np.arange(2, len(after) + 2))
        glitch[fall] = back.any() and low[fall] + period - low[fall - 1] > _GLITCH_S
    return glitch


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
