"""Samples that can't support a verdict, and the reasons for rejecting them.

Missing values, values outside the plausible range and one-sample spikes are found block by
block, while a block lies in the processor's cache. Reasons that need the whole flight (frozen,
stale, disagreeing) are found beforehand and merged into the blocks from `aside`. The plausible
ranges are those of `record.channels`, the rates those of the settings.
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

_CORRUPT = tuple(np.uint16(0b110 << channel.first_bit) for channel in (SPEED, HEIGHT))
"""Bits of the reasons that show a corrupt word, a mask a channel: out of range, or a spike.
Temperature is left out: a failed temperature probe must not invalidate airspeed and altitude."""

NOISE = {SPEED: 2.0 * KNOT, HEIGHT: 30.0}
"""Allowance for quantization and noise in the step between two samples [m/s, m]."""

_BESIDE = 24
"""Samples on either side from which the usual deviation between neighbours is estimated."""


@dataclass(frozen=True, eq=False)
class Screen:
    """The data, thresholds and findings that the screening of a block uses.

    ``time``, ``speed``, ``altitude`` and ``temperature`` : float64[n] in SI, as recorded;
    ``aside`` : rows rejected beforehand, ascending, and the bits of the reasons; ``corroborated`` :
    whether other channels confirm the airspeed at a row; ``others`` : further channels, each with
    its plausible range, to recognize where the recording lost its frame synchronization.
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
    local_checks: Callable[[int, int], Bits | None] | None = None
    """Replaces `local` with the same results, such as the compiled kernel; None for `local`."""
    fast_steps: Mapping[Plausible, list[Rows]] = field(
        default_factory=lambda: {SPEED: [], HEIGHT: []})
    """Receives the rows after which a step was so fast that it may begin or end an excursion."""

    def block(self, start: int, stop: int) -> Bits | None:
        """Return the reasons against rows `start` to `stop` - 1, uint16[m]; None if there are none.

        Reads one data frame beyond either end, so that results don't depend on block boundaries.
        """
        low, high = max(start - self._frame, 0), min(stop + self._frame, len(self.time))
        bits = (self.local_checks or self.local)(low, high)
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
        """Greatest number of rows in a data frame."""
        if not self.interval > 0:
            return 1
        return int(min(self.settings.lost_frame_s / self.interval, 4096.0)) + 1

    def rate(self, bound: Plausible) -> float:
        """Return the greatest plausible rate of change [SI/s]."""
        return plausible_rate(bound, self.settings)

    def local(self, low: int, high: int) -> Bits | None:
        """Return reasons from each sample and its neighbours: missing, out of range, a spike.

        Checks rows `low` to `high` - 1, uint16[high - low]; None if there are no reasons.
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
            found, fast_steps = spikes(
                bound, rate, values[first:stop], steps, self.settings.excursion_rate_factor * rate)
            self.add_fast_steps(bound, fast_steps + first)
            for row in found:
                bits = np.zeros(high - low, dtype=np.uint16) if bits is None else bits
                self.mark_spike(bits, bound, first + row, low)
        return bits

    def add_fast_steps(self, bound: Plausible, rows: Rows) -> None:
        """Append fast steps, each by the row before it."""
        if len(rows):
            self.fast_steps[bound].append(rows.copy())

    def mark_spike(self, bits: Bits, bound: Plausible, row: int, low: int) -> bool:
        """Set a spike's bit unless it may be real; `bits` begin at row `low`; return whether set.

        It may be real where it doesn't exceed the usual noise, or other channels confirm it.
        """
        if not self.stands_out(bound, row, row) or self._is_corroborated(bound, row):
            return False
        bits[row - low] |= np.uint16(1 << (bound.first_bit + 2))
        return True

    def stands_out(self, bound: Plausible, first: int, last: int) -> bool:
        """Whether rows `first` to `last` differ from the rows beside by more than noise."""
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

    def _is_corroborated(self, bound: Plausible, row: int) -> bool:
        return bound is SPEED and self.corroborated is not None and self.corroborated(row)

    def _lose(self, bits: Bits, low: int) -> None:
        """Mark every row that may share a data frame with two corrupt instants."""
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
        for corrupt, following in pairwise(at.tolist()):
            if following - corrupt <= frame:
                first = np.searchsorted(time, following - frame, side="left")
                last = np.searchsorted(time, corrupt + frame, side="right")
                bits[first:last] |= LOST


def plausible_rate(bound: Plausible, settings: Settings) -> float:
    """Return the greatest plausible rate of change [SI/s] of the airspeed or the altitude."""
    if bound is SPEED:
        return settings.plausible_rate_kt_s * KNOT
    return settings.plausible_rate_ft_s * FOOT


def _departures(values: Floats, lag: int) -> Floats:
    """Distances of samples from the mean of those `lag` rows before and after; NaN left out."""
    if len(values) <= 2 * lag:
        return np.empty(0)
    off = np.abs(values[lag:-lag] - (values[: -2 * lag] + values[2 * lag :]) / 2)
    return np.asarray(off[~np.isnan(off)])


def spikes(
    bound: Plausible, rate: float, values: Floats, steps: Floats, excursion_rate: float
) -> tuple[list[int], Rows]:
    """Return the rows of one-sample spikes, and the rows before fast steps.

    A spike is a sample between two steps of opposite direction, both faster than `rate` [SI/s]. A
    fast step is one beyond `excursion_rate` [SI/s]. Both allow for noise (`NOISE`); steps from or
    to implausible values or NaN count for neither.

    `values` : float64[n] in SI; `steps` : float64[n - 1], the time [s] between them.
    """
    nothing = np.empty(0, dtype=np.intp)
    if len(values) < 2:
        return [], nothing
    jump = values[1:] - values[:-1]
    noise = NOISE[bound]
    least = min(rate, excursion_rate) * float(steps.min()) + noise
    # The extremes decide most blocks; with a NaN they are NaN, and every step is examined.
    if jump.max() <= least and jump.min() >= -least:
        return [], nothing
    # A sample beside a fill value isn't a spike for that.
    plausible = bound.plausible(values)
    jump = plausible[1:] - plausible[:-1]
    rows = np.flatnonzero(np.abs(jump) > least)
    fast_steps = rows[np.abs(jump[rows]) > excursion_rate * steps[rows] + noise]
    rows = rows[np.abs(jump[rows]) > rate * steps[rows] + noise]
    back = np.diff(rows) == 1
    return [int(row) + 1 for row in rows[:-1][back] if jump[row] * jump[row + 1] < 0], fast_steps


def held(time: Floats, interval: float) -> Floats:
    """Return the time [s] that each sample stands for: to the next one, at most 1.5 intervals.

    `time` : float64[n] [s], ascending; `interval` : usual interval [s], NaN if unknown. float64[n].
    """
    normal = interval if interval > 0 else 0.0
    hold = np.empty(len(time))
    np.subtract(time[1:], time[:-1], out=hold[:-1])
    np.minimum(hold[:-1], HELD_INTERVALS * normal, out=hold[:-1])
    hold[-1] = normal
    return hold


def held_at(time: Floats, interval: float, rows: Rows) -> Floats:
    """Return `held` at the given rows, float64[m]."""
    normal, last = interval if interval > 0 else 0.0, len(time) - 1
    until = np.minimum(time[np.minimum(rows + 1, last)] - time[rows], HELD_INTERVALS * normal)
    return np.where(rows == last, normal, until)
