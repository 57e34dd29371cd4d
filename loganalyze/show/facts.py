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

from loganalyze.assess.results import (
    AssessedExceedance,
    Assessment,
    Check,
    LimitMeasure,
    NearMiss,
    PhaseStretch,
    TimeToLimit,
    WarningFinding,
)
from loganalyze.judge.flight import Analysis
from loganalyze.record.channels import CHANNELS
from loganalyze.record.log import FlightLog
from loganalyze.record.quality import QualityFlag
from loganalyze.show import wording
from loganalyze.show.wording import recording

Judged = Analysis | Assessment
"""A flight that was judged, and perhaps assessed."""

Facts = TypeVar("Facts", "ExceedanceFacts", "SmallestFacts")

STRETCHES_LISTED = 10
"""How many stretches of a flag are listed, from the first."""
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
    start_uncertainty_s: float | None
    end_uncertainty_s: float | None
    phase: str | None = None
    severity: str | None = None
    assessment: str | None = None
    probability: float | None = None
    excess_low: float | None = None
    excess_high: float | None = None
    assessment_displayed: str | None = None
    probability_displayed: float | None = None


@dataclass(frozen=True)
class AssessmentFacts:
    """What the assessment found, as `assess.results` describes it; null is not known."""

    exceedances: tuple[AssessedExceedance, ...]
    near: tuple[NearMiss, ...]
    phases: tuple[PhaseStretch, ...]
    measures: tuple[LimitMeasure, ...]
    highest_calibrated_airspeed_kt: float
    highest_mach: float
    shortest_time_to_limit: TimeToLimit | None
    warnings: tuple[WarningFinding, ...]
    checks: tuple[Check, ...]
    tolerances: tuple[tuple[str, str, float], ...]


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
    set_aside: bool
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
    not_borne_out_by: list[str]
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
    quality: QualityFacts
    assessment: AssessmentFacts | None = None


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


def exceedance_facts(judged: Judged) -> list[ExceedanceFacts]:
    """Return the exceedances of a flight as plain facts."""
    found = [_copied(ExceedanceFacts, one) for one in analysis_of(judged).exceedances]
    if isinstance(judged, Analysis):
        return found
    return [
        replace(
            one,
            phase=told.phase,
            severity=told.severity.level if told.severity else None,
            assessment=told.flown.word,
            probability=rounded(told.flown.probability),
            excess_low=rounded(told.flown.low),
            excess_high=rounded(told.flown.high),
            assessment_displayed=told.displayed.word,
            probability_displayed=rounded(told.displayed.probability),
        )
        for one, told in zip(found, judged.exceedances, strict=True)
    ]


def analysis_of(judged: Judged) -> Analysis:
    """Return the analysis of a flight, whether it was assessed or not."""
    return judged.analysis if isinstance(judged, Assessment) else judged


def assessment_facts(assessment: Assessment) -> AssessmentFacts:
    """Return an assessment without its arrays."""
    return AssessmentFacts(**{
        field.name: _settled(getattr(assessment, field.name))
        for field in fields(AssessmentFacts)})


def _settled(value: Any) -> Any:
    """Return `value` with every float in it to nine decimals, as `rounded` does; NaN stays."""
    if isinstance(value, float | np.floating):
        return round(float(value), 9) if math.isfinite(value) else float("nan")
    if isinstance(value, tuple):
        return tuple(_settled(item) for item in value)
    if isinstance(value, Mapping):
        return {name: _settled(item) for name, item in value.items()}
    if hasattr(value, "__dataclass_fields__"):
        return replace(value, **{
            field.name: _settled(getattr(value, field.name)) for field in fields(value)})
    return value


def smallest_facts(analysis: Analysis) -> list[SmallestFacts]:
    """Return the smallest margins of `analysis` as plain facts, that of all limits first."""
    smallest = [_copied(SmallestFacts, one) for one in analysis.smallest]
    return [replace(one, limit=one.limit or None) for one in smallest]


def flag_facts(one: QualityFlag) -> FlagFacts:
    """Return a flag as plain facts."""
    return FlagFacts(
        one.name, one.channel, round(one.covered.duration, 9), round(one.raised.duration, 9),
        [[round(start, 9), round(end, 9)] for start, end in one.raised][:STRETCHES_LISTED],
        one.set_aside, plain(_settled(dict(one.values))), recording.flag(one))


def quality_facts(analysis: Analysis) -> QualityFacts:
    """Return how good the recording was: of its flags those that decide or found anything."""
    flags = [flag_facts(one) for one in analysis.quality]
    return QualityFacts(
        airborne_s=round(analysis.airborne.duration, 9),
        screened_s={reason: round(time, 9) for reason, time in analysis.screened_s.items()},
        bounded_s=round(analysis.bounded_s, 9),
        bounded_gaps=len(analysis.bounded),
        suspects=[SuspectFacts(**plain(_settled(one))) for one in analysis.suspects],
        flags=[one for one in flags if one.set_aside or one.sentence],
    )


def flight_facts(judged: Judged) -> FlightFacts:
    """Return everything that was found in a flight, in plain values and sentences."""
    analysis = analysis_of(judged)
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
        exceedances=exceedance_facts(judged),
        taken=[FindingFacts(one.code, plain(one.values), wording.finding(one.code, one.values))
               for one in analysis.findings],
        steps=[StepFacts(one.name, plain(one.settings), plain(one.counts))
               for one in judged.steps],
        quality=quality_facts(analysis),
        assessment=assessment_facts(judged) if isinstance(judged, Assessment) else None,
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
        if not hasattr(found, field.name):
            continue  # what only an assessment tells
        value = getattr(found, field.name)
        measured = isinstance(value, float | np.floating)
        values[field.name] = rounded(float(value)) if measured else plain(value)
    return kind(**values)
