"""Samples that no verdict may rest on, and the reasons against them.

Missing values, values outside the plausible range and one-sample spikes are found block by
block, while a block lies in the processor's cache. What takes a longer view (frozen, stale,
disagreeing) is found beforehand and laid over the blocks as `aside`. The plausible ranges are
those of `record.channels`, the rates those of the settings.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from loganalyze.record.arrays import Bits
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.sample_reasons import HEAT, HEIGHT, LOST, SPEED, Plausible
from loganalyze.record.units import FOOT, KNOT
from loganalyze.sheets.evaluation_settings import Settings

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]

_CORRUPT = tuple(np.uint16(0b110 << one.first_bit) for one in (SPEED, HEIGHT))
"""The reasons that speak of garbage, channel by channel: out of range, or a spike. A temperature
isn't among them: a probe that fails must take no verdict away."""

NOISE = {SPEED: 2.0 * KNOT, HEIGHT: 30.0}
"""What quantisation and noise may add to a step [m/s, m]."""


_BESIDE = 24
"""So many samples on either side determine the usual departure of samples from their neighbours."""


@dataclass(frozen=True, eq=False)
class Screen:
    """All that the screening of a block looks at.

    ``time``, ``speed``, ``altitude`` and ``temperature`` : float64[n] in SI, as recorded;
    ``aside`` : rows screened out beforehand, increasing, and the reasons; ``corroborated`` :
    whether other channels confirm the airspeed at a row; ``others`` : further channels, each
    with its plausible range, used where the recording seems to have lost its synchronisation.
    """

    time: Floats
    speed: Floats
    altitude: Floats
    temperature: Floats | None
    settings: Settings
    interval: float
    aside: tuple[Rows, Bits] | None = None
    corroborated: Callable[[int], bool] | None = None
    others: tuple[tuple[Floats, float, float], ...] = ()
    look: Callable[[int, int], Bits | None] | None = None
    """What looks at samples and their neighbours in place of the plain way, with its results."""
    leaps: Mapping[Plausible, list[Rows]] = field(
        default_factory=lambda: {SPEED: [], HEIGHT: []})
    """Receives rows after which a step was so fast that an excursion may begin or end with it."""

    def block(self, start: int, stop: int) -> Bits | None:
        """Return the reasons against rows `start` to `stop`, or None when there are none.

        Looks a frame beyond either end, so that the blocks' boundaries leave no trace.
        """
        low, high = max(start - self._frame, 0), min(stop + self._frame, len(self.time))
        bits = (self.look or self.local)(low, high)
        if bits is not None:
            self._lose(bits, low)
            bits = bits[start - low : stop - low]
        if self.aside is not None:
            rows, reasons = self.aside
            first, last = np.searchsorted(rows, (start, stop))
            if first < last:
                bits = np.zeros(stop - start, dtype=np.uint16) if bits is None else bits
                bits[rows[first:last] - start] |= reasons[first:last]
        return bits if bits is not None and bits.any() else None

    @property
    def _frame(self) -> int:
        """Rows that a frame holds, at most."""
        if not self.interval > 0:
            return 1
        return int(min(self.settings.lost_frame_s / self.interval, 4096.0)) + 1

    def rate(self, bound: Plausible) -> float:
        """The greatest plausible rate [SI/s]."""
        return plausible_rate(bound, self.settings)

    def local(self, low: int, high: int) -> Bits | None:
        """Reasons from each sample and its neighbours: missing, out of range, a spike.

        Takes rows `low` to before `high`; None where nothing is against any.
        """
        bits: Bits | None = None
        for bound, values in ((SPEED, self.speed), (HEIGHT, self.altitude),
                              (HEAT, self.temperature)):
            if values is not None and not bound.clean(values[low:high]):
                bits = np.zeros(high - low, dtype=np.uint16) if bits is None else bits
                bound.mark(values[low:high], bits)
        first, stop = max(low - 1, 0), min(high + 1, len(self.time))
        steps = self.time[first + 1 : stop] - self.time[first : stop - 1]
        for bound, values in ((SPEED, self.speed), (HEIGHT, self.altitude)):
            rate = self.rate(bound)
            found, leaps = spikes(
                bound, rate, values[first:stop], steps, self.settings.excursion_rate_factor * rate)
            self.leap(bound, leaps + first)
            for row in found:
                if low <= first + row < high:
                    bits = np.zeros(high - low, dtype=np.uint16) if bits is None else bits
                    self.mark_spike(bits, bound, first + row, low)
        return bits

    def leap(self, bound: Plausible, rows: Rows) -> None:
        """Note leaps that were seen, by the rows before them."""
        if len(rows):
            self.leaps[bound].append(rows.copy())

    def mark_spike(self, bits: Bits, bound: Plausible, row: int, low: int) -> bool:
        """Set a spike's bit, unless it may be flown; `bits` begin at row `low`.

        It may be where it doesn't stand out, or where other channels bear it out.
        """
        if not self.stands_out(bound, row, row) or self._borne_out(bound, row):
            return False
        bits[row - low] |= np.uint16(1 << (bound.first_bit + 2))
        return True

    def stands_out(self, bound: Plausible, first: int, last: int) -> bool:
        """Whether rows `first` to `last` depart from their neighbours as no gust or noise does."""
        values, settings = self.speed, self.settings
        least = settings.spike_least_kt * KNOT
        if bound is HEIGHT:
            values, least = self.altitude, settings.spike_least_ft * FOOT
        departure = float(np.abs(
            values[first : last + 1] - (values[first - 1] + values[last + 1]) / 2).min())
        if departure <= least:
            return False
        lag = last - first + 1
        reach = _BESIDE + 2 * lag
        beside = np.concatenate([
            _departures(bound.plausible(values[max(first - reach, 0) : first]), lag),
            _departures(bound.plausible(values[last + 1 : last + 1 + reach]), lag)])
        return (len(beside) < _BESIDE / 2
                or departure > settings.spike_noise * float(np.median(beside)))

    def _borne_out(self, bound: Plausible, row: int) -> bool:
        return bound is SPEED and self.corroborated is not None and self.corroborated(row)

    def _lose(self, bits: Bits, low: int) -> None:
        """Mark every row that may lie in one frame with two corrupt instants."""
        rows = np.flatnonzero(bits & np.bitwise_or.reduce(_CORRUPT))
        if len(rows) < 2:
            return
        several = np.zeros(len(rows), dtype=np.intp)
        for mask in _CORRUPT:
            several += (bits[rows] & mask) > 0
        for values, lowest, highest in self.others:
            here = values[rows + low]
            several += (here < lowest) | (here > highest)
        time = self.time[low : low + len(bits)]
        at = time[rows[several >= self.settings.lost_channels]]
        frame = self.settings.lost_frame_s
        for one, next_one in pairwise(at.tolist()):
            if next_one - one <= frame:
                first = np.searchsorted(time, next_one - frame, side="left")
                last = np.searchsorted(time, one + frame, side="right")
                bits[first:last] |= LOST


def plausible_rate(bound: Plausible, settings: Settings) -> float:
    """Return the greatest plausible rate [SI/s] of the airspeed or the altitude."""
    if bound is SPEED:
        return settings.plausible_rate_kt_s * KNOT
    return settings.plausible_rate_ft_s * FOOT


def _departures(values: Floats, lag: int) -> Floats:
    """How far samples lie from the mean of those `lag` rows before and after; without NaN."""
    if len(values) <= 2 * lag:
        return np.empty(0)
    off = np.abs(values[lag:-lag] - (values[: -2 * lag] + values[2 * lag :]) / 2)
    return np.asarray(off[~np.isnan(off)])


def spikes(
    bound: Plausible, rate: float, values: Floats, steps: Floats, leap: float
) -> tuple[list[int], Rows]:
    """Return rows that are out and at once back, both faster than `rate` [SI/s], and leaps.

    `values` : float64[n] in SI; `steps` : float64[n - 1] [s] between them; `leap` [SI/s] : the
    rate beyond which a step is a leap. Leaps are told by the rows before them.
    """
    nothing = np.empty(0, dtype=np.intp)
    if len(values) < 2:
        return [], nothing
    jump = values[1:] - values[:-1]
    noise = NOISE[bound]
    least = min(rate, leap) * float(steps.min()) + noise
    # One look at the extremes settles most blocks; NaN leaves them NaN, and so undecided.
    if jump.max() <= least and jump.min() >= -least:
        return [], nothing
    # A fill value beside it makes no good sample a spike.
    plausible = bound.plausible(values)
    jump = plausible[1:] - plausible[:-1]
    rows = np.flatnonzero(np.abs(jump) > least)
    leaps = rows[np.abs(jump[rows]) > leap * steps[rows] + noise]
    rows = rows[np.abs(jump[rows]) > rate * steps[rows] + noise]
    back = np.diff(rows) == 1
    return [int(row) + 1 for row in rows[:-1][back] if jump[row] * jump[row + 1] < 0], leaps


def held(time: Floats, interval: float) -> Floats:
    """Time [s] for which each sample stands: to the next one, at most 1.5 intervals."""
    if not len(time):
        return np.empty(0)
    normal = interval if interval > 0 else 0.0
    hold = np.empty(len(time))
    np.subtract(time[1:], time[:-1], out=hold[:-1])
    np.minimum(hold[:-1], HELD_INTERVALS * normal, out=hold[:-1])
    hold[-1] = normal
    return hold


def held_at(time: Floats, interval: float, rows: Rows) -> Floats:
    """Return what `held` gives for some rows."""
    if not len(time):
        return np.empty(0)
    normal, last = interval if interval > 0 else 0.0, len(time) - 1
    until = np.minimum(time[np.minimum(rows + 1, last)] - time[rows], HELD_INTERVALS * normal)
    return np.where(rows == last, normal, until)
