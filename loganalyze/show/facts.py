"""The facts of an analysis, without its arrays: what the sentences and the summary are made of.

Every number is a plain Python one and every unknown is None, so that the facts of a long log
cost nothing to keep and go to JSON as they are.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from enum import Enum
from pathlib import PurePath
from typing import Any, TypeVar

import numpy as np

from loganalyze.judge.flight import Analysis
from loganalyze.record.channels import CHANNELS
from loganalyze.record.log import FlightLog
from loganalyze.show import wording

Facts = TypeVar("Facts", "ExceedanceFacts", "SmallestFacts")

LONGEST_LISTED = 20
"""How many unknown stretches a summary lists, longest first."""


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
class FindingFacts:
    """What was taken for what: a code, its values, and the sentence that says it."""

    code: str
    values: dict[str, Any]
    sentence: str


@dataclass(frozen=True)
class SmallestFacts:
    """How close it came to one limit (`limit` None: to whichever limit applied)."""

    limit: str | None
    margin_kt: float | None
    margin_mach: float | None
    time_s: float | None
    pressure_altitude_ft: float | None
    limit_airspeed_kt: float | None


@dataclass(frozen=True)
class ExceedanceFacts:
    """One exceedance: one limit, from crossing to crossing; see exceedances.schema.json."""

    flight: int
    episode: int
    limit: str
    quantity: str
    start_s: float
    end_s: float
    start_utc: str | None
    duration_s: float
    time_over_s: float
    began_by: str
    ended_by: str
    brief: bool
    worst_excess_kt: float | None
    worst_excess_mach: float | None
    worst_time_s: float
    worst_pressure_altitude_ft: float | None
    worst_value: float | None
    limit_value: float | None
    worst_limit_airspeed_kt: float | None
    worst_limit_pointer_kt: float | None
    worst_calibrated_airspeed_kt: float | None
    worst_mach: float | None


@dataclass(frozen=True)
class StepFacts:
    """What a step of the analysis did: its name, settings and counts."""

    name: str
    settings: dict[str, Any]
    counts: dict[str, Any]


@dataclass(frozen=True)
class FlightFacts:
    """One flight of a log."""

    flight: int
    verdict: str
    samples: int
    start_s: float | None
    end_s: float | None
    start_utc: str | None
    interval_s: float | None
    recorded_s: float
    judged_s: float
    unknown_s: float
    unknown_stretches: int
    longest_unknown_s: list[list[float]]
    """Start and end of the longest stretches that couldn't be judged."""
    smallest_margins: list[SmallestFacts]
    exceedances: list[ExceedanceFacts]
    taken: list[FindingFacts]
    steps: list[StepFacts]


def plain(value: Any) -> Any:
    """Return `value` as JSON can hold it: NaN, NaT and infinities become None."""
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, Enum):
        return plain(value.value)
    if isinstance(value, np.bool_):
        return bool(value)
    if isinstance(value, np.datetime64):
        return utc_text(value)
    if isinstance(value, np.generic | np.ndarray):
        return plain(value.tolist())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, PurePath):
        return value.name
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if hasattr(value, "__dataclass_fields__"):
        return {field.name: plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Iterable):
        return [plain(item) for item in value]
    raise TypeError(f"no plain form for a {type(value).__name__}")


def rounded(value: float) -> float | None:
    """Return a measured `value` to nine decimals, or None for NaN and infinities.

    Nine decimals are finer than any recorder; the bits beyond differ between processors.
    """
    return round(float(value), 9) if math.isfinite(value) else None


def utc_text(instant: np.datetime64 | None) -> str | None:
    """Return an instant as ISO 8601 text in UTC, to the millisecond; None for none."""
    if instant is None or np.isnat(instant):
        return None
    return f"{np.datetime_as_string(instant, unit='ms')}Z"


def channel_facts(log: FlightLog) -> list[ChannelFacts]:
    """Return what was taken for each channel of `log`, in the log's order."""
    facts = []
    for name, channel in log.channels.items():
        kind = CHANNELS.get(name)
        facts.append(ChannelFacts(
            channel=name,
            column=channel.column,
            unit=channel.recorded_unit,
            known_by=channel.known_by,
            interval_s=rounded(channel.interval_s),
            resolution=rounded(channel.resolution / (kind.unit.factor if kind else 1.0)),
            resolution_unit=kind.unit.name if kind else "",
            missing=int(np.count_nonzero(np.isnan(channel.values))),
        ))
    return facts


def exceedance_facts(analysis: Analysis) -> list[ExceedanceFacts]:
    """Return the exceedances of `analysis` as plain facts."""
    return [_copied(ExceedanceFacts, one) for one in analysis.exceedances]


def smallest_facts(analysis: Analysis) -> list[SmallestFacts]:
    """Return the smallest margins of `analysis` as plain facts, that of all limits first."""
    smallest = [_copied(SmallestFacts, one) for one in analysis.smallest]
    return [replace(one, limit=one.limit or None) for one in smallest]


def flight_facts(analysis: Analysis) -> FlightFacts:
    """Return everything that `analysis` found, in plain values and sentences."""
    log = analysis.log
    time = log.time
    longest = sorted(analysis.unknown, key=lambda pair: (pair[0] - pair[1], pair[0]))
    facts = FlightFacts(
        flight=analysis.flight,
        verdict="",
        samples=len(time),
        start_s=rounded(time[0]) if len(time) else None,
        end_s=rounded(time[-1]) if len(time) else None,
        start_utc=start_utc(analysis),
        interval_s=rounded(log.interval_s),
        recorded_s=round(float(analysis.recorded_s), 9),
        judged_s=round(float(analysis.judged_s), 9),
        unknown_s=round(float(analysis.unknown_s), 9),
        unknown_stretches=len(analysis.unknown),
        longest_unknown_s=[[round(start, 9), round(end, 9)]
                           for start, end in longest[:LONGEST_LISTED]],
        smallest_margins=smallest_facts(analysis),
        exceedances=exceedance_facts(analysis),
        taken=[FindingFacts(one.code, plain(one.values), wording.finding(one.code, one.values))
               for one in analysis.findings],
        steps=[StepFacts(one.name, plain(one.settings), plain(one.counts))
               for one in analysis.steps],
    )
    return replace(facts, verdict=wording.verdict(facts))


def start_utc(analysis: Analysis) -> str | None:
    """Return the instant of the flight's first sample as ISO 8601 text, None where not known."""
    log = analysis.log
    if log.utc_start is None or not len(log.time):
        return None
    return utc_text(log.utc_start + np.timedelta64(round(float(log.time[0]) * 1e9), "ns"))


def _copied(kind: type[Facts], found: object) -> Facts:
    values: dict[str, Any] = {}
    for field in fields(kind):
        value = getattr(found, field.name)
        measured = isinstance(value, float | np.floating)
        values[field.name] = rounded(float(value)) if measured else plain(value)
    return kind(**values)
