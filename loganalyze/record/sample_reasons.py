"""Why a sample may not count: the reasons, a bit each, and the plausible range of each channel.

A sample's reasons are one integer, so that a block of samples is screened without objects. The
plausible ranges are those of `record.channels`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loganalyze.record.channels import CHANNELS, ChannelKind

Floats = NDArray[np.float64]
Bits = NDArray[np.uint16]

REASONS = (
    "airspeed missing",
    "airspeed outside its plausible range",
    "airspeed spike faster than plausible",
    "airspeed frozen while others moved",
    "airspeed stale",
    "airspeed sources disagree",
    "pressure altitude missing",
    "pressure altitude outside its plausible range",
    "pressure altitude spike faster than plausible",
    "pressure altitude frozen while others moved",
    "pressure altitude stale",
    "pressure altitude sources disagree",
    "temperature missing",
    "temperature outside its plausible range",
    "temperature sources disagree",
    "synchronisation lost",
)
"""What each bit of a sample's reasons means, the lowest bit first."""


def bit(reason: str) -> np.uint16:
    """Return the bit of a reason."""
    return np.uint16(1 << REASONS.index(reason))


def _mask(subject: str) -> np.uint16:
    bits = (bit(one) for one in REASONS if one.startswith((subject, "synchronisation")))
    return np.uint16(sum(int(one) for one in bits))


AIRSPEED = _mask("airspeed")
ALTITUDE = _mask("pressure altitude")
TEMPERATURE = _mask("temperature")
SPIKES = np.uint16(bit("airspeed spike faster than plausible")
                   | bit("pressure altitude spike faster than plausible"))
LOST = bit("synchronisation lost")
NOTHING = np.uint16(
    sum(int(bit(one)) for one in REASONS if one.endswith(("missing", "plausible range"))))
"""Reasons that leave no value at all, not even a doubtful one."""


@dataclass(frozen=True, slots=True)
class Plausible:
    """A channel's plausible range in SI, and the bit of its first reason (missing)."""

    lowest: float
    highest: float
    first_bit: int

    @classmethod
    def of(cls, kind: ChannelKind, first_reason: str) -> Plausible:
        """Take the bounds of a channel from the vocabulary."""
        unit = kind.unit
        return cls(
            kind.lowest * unit.factor + unit.offset,
            kind.highest * unit.factor + unit.offset,
            REASONS.index(first_reason),
        )

    def clean(self, values: Floats) -> bool:
        """Whether every value is a number inside the range (a quick look at the extremes)."""
        return bool(values.min() >= self.lowest and values.max() <= self.highest)

    def plausible(self, values: Floats) -> Floats:
        """Return the values, NaN where outside the range."""
        return np.where((values >= self.lowest) & (values <= self.highest), values, np.nan)

    def mark(self, values: Floats, bits: Bits) -> None:
        """Set the missing and out-of-range bits."""
        bits |= np.isnan(values).astype(np.uint16) << self.first_bit
        outside = (values < self.lowest) | (values > self.highest)
        bits |= outside.astype(np.uint16) << (self.first_bit + 1)


SPEED = Plausible.of(CHANNELS["calibrated_airspeed"], "airspeed missing")
HEIGHT = Plausible.of(CHANNELS["pressure_altitude"], "pressure altitude missing")
HEAT = Plausible.of(CHANNELS["total_air_temperature"], "temperature missing")
