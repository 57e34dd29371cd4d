"""The facts of a recording: its channels, what was inferred, its steps and its quality.

Plain Python numbers, None where unknown, as in `facts`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class ChannelFacts:
    """Which column was taken for a channel, in which unit, and how that was known."""

    channel: str
    column: str
    unit: str
    known_by: str
    interval_s: float | None
    resolution: float | None
    """The recorder's quantum, in `resolution_unit`."""
    resolution_unit: str
    missing: int
    """Samples without a value."""


@dataclass(frozen=True)
class InferredFacts:
    """How something in the file was interpreted: a code and its values."""

    code: str
    values: dict[str, Any]


@dataclass(frozen=True)
class StepFacts:
    """What a step of the analysis did: its name, settings and counts."""

    name: str
    settings: dict[str, Any]
    counts: dict[str, Any]


@dataclass(frozen=True)
class FlagFacts:
    """A flag of the recording's quality: where it could be judged, and where it is true."""

    name: str
    channel: str
    covered_s: float
    raised_s: float
    stretches: list[list[float]]
    """Start and end of the first stretches."""
    screened_out: bool
    values: dict[str, Any]
    sentence: str
    """Empty where nothing was found."""


@dataclass(frozen=True)
class SuspectFacts:
    """A stretch over a limit that isn't counted, since its samples are in doubt."""

    limit: str
    quantity: str
    start_s: float
    end_s: float
    time_s: float
    excess: float
    """In the limit's published quantity, kt or Mach."""
    reason: str
    unconfirmed_by: list[str]
    """The channels that could have borne it out and didn't."""


@dataclass(frozen=True)
class QualityFacts:
    """How good a flight's recording was, and what that kept from the verdict."""

    airborne_s: float
    screened_s: dict[str, float]
    """Airborne time that was screened out, by reason; "" for airspeed and altitude together."""
    bounded_s: float
    """Unknown time that can't hide an exceedance; not counted as judged."""
    bounded_gaps: int
    suspects: list[SuspectFacts]
    flags: list[FlagFacts]
