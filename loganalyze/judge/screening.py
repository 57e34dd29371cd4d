"""Samples that no verdict may rest on: missing, implausible, or faster than plausible.

The plausible ranges and rates are those of `record.channels`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loganalyze.record.channels import CHANNELS, ChannelKind
from loganalyze.record.intervals import HELD_INTERVALS
from loganalyze.record.units import KNOT

Floats = NDArray[np.float64]
Bits = NDArray[np.uint8]

REASONS = (
    "airspeed missing",
    "airspeed outside its plausible range",
    "airspeed spike faster than plausible",
    "pressure altitude missing",
    "pressure altitude outside its plausible range",
    "pressure altitude spike faster than plausible",
    "temperature missing",
    "temperature outside its plausible range",
)
"""What each bit of a sample's reasons means, the lowest bit first."""

AIRSPEED = np.uint8(0b00000111)
ALTITUDE = np.uint8(0b00111000)
TEMPERATURE = np.uint8(0b11000000)


@dataclass(frozen=True, slots=True)
class Plausible:
    """A channel's plausible range and rate in SI, and the bit of its first reason."""

    lowest: float
    highest: float
    rate: float
    first_bit: int

    @classmethod
    def of(cls, kind: ChannelKind, first_bit: int) -> Plausible:
        """Take the bounds of a channel from the vocabulary."""
        unit = kind.unit
        return cls(
            kind.lowest * unit.factor + unit.offset,
            kind.highest * unit.factor + unit.offset,
            kind.greatest_rate * unit.factor,
            first_bit,
        )

    def clean(self, values: Floats) -> bool:
        """Whether every value is a number inside the range (a quick look at the extremes)."""
        return bool(values.min() >= self.lowest and values.max() <= self.highest)

    def plausible(self, values: Floats) -> Floats:
        """Return the values, NaN where outside the range."""
        return np.where((values >= self.lowest) & (values <= self.highest), values, np.nan)

    def mark(self, values: Floats, bits: Bits) -> None:
        """Set the missing and out-of-range bits."""
        bits |= np.isnan(values).view(np.uint8) << self.first_bit
        outside = (values < self.lowest) | (values > self.highest)
        bits |= outside.view(np.uint8) << (self.first_bit + 1)


SPEED = Plausible.of(CHANNELS["calibrated_airspeed"], 0)
HEIGHT = Plausible.of(CHANNELS["pressure_altitude"], 3)
HEAT = Plausible.of(CHANNELS["total_air_temperature"], 6)

_NOISE = {0: 2.0 * KNOT, 3: 30.0}
"""What quantisation and noise may add to a step [m/s, m]."""


def screen(
    time: Floats, speed: Floats, altitude: Floats, temperature: Floats | None,
    first: int, stop: int,
) -> Bits | None:
    """Return the reasons against rows `first` to `stop`, or None when there are none.

    Works on a block of rows, looking one row beyond either end for spikes. A spike is one
    sample whose change both from the sample before and to the one after is faster than
    plausible, in opposite directions: out and at once back.

    Parameters
    ----------
    time, speed, altitude, temperature : float64[n]  [s], [m/s], [m], [K]
    first, stop : int
        The block, half-open.
    """
    bits: Bits | None = None
    for bound, values in ((SPEED, speed), (HEIGHT, altitude), (HEAT, temperature)):
        if values is not None and not bound.clean(values[first:stop]):
            bits = np.zeros(stop - first, dtype=np.uint8) if bits is None else bits
            bound.mark(values[first:stop], bits)
    low, high = max(first - 1, 0), min(stop + 1, len(time))
    steps = time[low + 1 : high] - time[low : high - 1]
    for bound, values in ((SPEED, speed), (HEIGHT, altitude)):
        for row in _spikes(bound, values[low:high], steps):
            if first <= low + row < stop:
                bits = np.zeros(stop - first, dtype=np.uint8) if bits is None else bits
                bits[low + row - first] |= np.uint8(1 << (bound.first_bit + 2))
    return bits


def _spikes(bound: Plausible, values: Floats, steps: Floats) -> list[int]:
    """Rows that are out and at once back, both faster than plausible."""
    if len(values) < 3:
        return []
    jump = values[1:] - values[:-1]
    noise = _NOISE[bound.first_bit]
    least = bound.rate * float(steps.min()) + noise
    # One look at the extremes settles most blocks; NaN leaves them NaN, and so undecided.
    if jump.max() <= least and jump.min() >= -least:
        return []
    # A fill value beside it makes no good sample a spike.
    plausible = bound.plausible(values)
    jump = plausible[1:] - plausible[:-1]
    rows = np.flatnonzero(np.abs(jump) > least)
    rows = rows[np.abs(jump[rows]) > bound.rate * steps[rows] + noise]
    back = np.diff(rows) == 1
    return [int(row) + 1 for row in rows[:-1][back] if jump[row] * jump[row + 1] < 0]


def held(time: Floats, interval: float) -> Floats:
    """Time [s] for which each sample stands: to the next one, at most 1.5 intervals."""
    if not len(time):
        return np.empty(0)
    normal = interval if interval > 0 else 0.0
    return np.append(np.minimum(np.diff(time), HELD_INTERVALS * normal), normal)
