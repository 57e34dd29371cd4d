"""Reasons to exclude a sample, one bit each, and the plausible ranges of the air data.

The reasons of a sample are the bits of one integer, so that a block of samples can be screened
with array operations. The plausible ranges come from `record.channels`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loganalyze.record.arrays import Bits, Floats
from loganalyze.record.channels import CHANNELS, ChannelKind

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
"""The meaning of each bit of a sample's reasons, lowest bit first."""


def bit(reason: str) -> np.uint16:
    """Return the bit of a reason."""
    return np.uint16(1 << REASONS.index(reason))


def _mask(subject: str) -> np.uint16:
    bits = (bit(reason) for reason in REASONS if reason.startswith((subject, "synchronisation")))
    return np.uint16(sum(int(value) for value in bits))


AIRSPEED = _mask("airspeed")
ALTITUDE = _mask("pressure altitude")
TEMPERATURE = _mask("temperature")
LOST = bit("synchronisation lost")
NOTHING = np.uint16(
    sum(int(bit(reason)) for reason in REASONS if reason.endswith(("missing", "plausible range"))))
"""Reasons that leave a sample without any value."""


@dataclass(frozen=True, slots=True)
class Plausible:
    """A channel's plausible range in SI, and the bit of its first reason (missing)."""

    lowest: float
    highest: float
    first_bit: int

    @classmethod
    def of(cls, kind: ChannelKind, first_reason: str) -> Plausible:
        """Take the plausible range of a channel kind."""
        return cls(*kind.bounds, REASONS.index(first_reason))

    def clean(self, values: Floats) -> bool:
        """Whether every value is a number inside the range; scans only the extremes."""
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
