"""The facts of a log and its flights, without arrays: what sentences and summary are made of.

Every number is a plain Python one and every unknown is None, so that the facts of a long log
cost nothing to keep and go to JSON as they are.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field, fields
from typing import Any, Protocol

from loganalyze.events.analysis import Outcome
from loganalyze.results.assessment_results import (
    LEFT_OUT,
    AssessedExceedance,
    Check,
    LimitMeasure,
    NearMiss,
    PhaseStretch,
    TimeToLimit,
    WarningFinding,
)
from loganalyze.text.plain_values import plain
from loganalyze.text.recording_facts import ChannelFacts, InferredFacts, QualityFacts, StepFacts

UNJUDGED = ("condition_not_recorded", "limit_needs_temperature", "limit_needs_altitude",
            "limit_needs_channel", "limit_in_force_at_rest")
"""Codes of the findings that belong to the verdict: limits that nothing could judge."""


class Exceeding(Protocol):
    """An exceedance, or its plain facts."""

    @property
    def quantity(self) -> str:
        """The quantity in which its limit is published."""

    @property
    def worst_excess_kt(self) -> float | None:
        """The greatest excess as CAS [kt]."""

    @property
    def worst_excess_mach(self) -> float | None:
        """The same in Mach, for a Mach limit."""

    @property
    def worst_excess(self) -> float | None:
        """The same in the limit's own unit, for a limit that is none of a speed."""


@dataclass(frozen=True)
class FindingFacts:
    """How an input was interpreted: a code, its values, and the sentence that says it."""

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
    margin: float | None = field(default=None, metadata=LEFT_OUT)
    """The margin in `unit`, to a limit that is none of a speed."""
    unit: str | None = field(default=None, metadata=LEFT_OUT)
    quantity: str | None = field(default=None, metadata=LEFT_OUT)

    @property
    def known(self) -> bool:
        """Whether a margin is known."""
        return self.margin_kt is not None or self.margin is not None


@dataclass(frozen=True)
class ExceedanceFacts:
    """One exceedance: one limit, from crossing to crossing; see exceedances.schema.json."""

    flight: int
    flight_start_s: float
    """The flight's first sample: sentences and pictures count from it, numbers from the log's."""
    number: int
    """By start within the flight, from 1: the same in every table, picture and sentence."""
    episode: int
    limit: str
    quantity: str
    start_s: float
    end_s: float
    start_utc: str | None
    duration_s: float
    time_over_s: float
    touches: int
    longest_over_s: float
    bounded_s: float
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
    severity_probability: float | None = None
    severity_rule: str | None = None
    severity_rule_kind: str | None = None
    severity_criteria: str | None = None
    assessment: str | None = None
    probability: float | None = None
    excess_low: float | None = None
    excess_high: float | None = None
    assessment_displayed: str | None = None
    probability_displayed: float | None = None
    excess_low_displayed: float | None = None
    excess_high_displayed: float | None = None
    assessment_widest: str | None = None
    excess_low_widest: float | None = None
    excess_high_widest: float | None = None
    confirmed_by: str | None = None
    contradicted_by: str | None = None
    unproven_because: str | None = None
    worst_excess: float | None = field(default=None, metadata=LEFT_OUT)
    """In `unit`, for a limit that is none of a speed."""
    unit: str | None = field(default=None, metadata=LEFT_OUT)


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
    widest: tuple[tuple[str, str, float], ...]


@dataclass(frozen=True)
class AboveFacts:
    """One stretch above a ceiling; see ceilings.schema.json."""

    start_s: float
    end_s: float
    time_above_s: float
    touches: int
    worst_time_s: float
    worst_pressure_altitude_ft: float | None
    most: float
    """The greatest difference to the ceiling, in `CeilingFacts.unit`."""
    most_kt: float | None
    """The same as CAS; null for a quantity that is no speed."""
    value: float
    ceiling_value: float
    began_by: str
    ended_by: str


@dataclass(frozen=True)
class CeilingFacts:
    """What a flight was beside a ceiling of a school's or an operator's own, which is no limit."""

    name: str
    set_by: str
    quantity: str
    unit: str
    measured_s: float
    unknown_s: float
    time_above_s: float
    stretches: list[AboveFacts]
    lacking: list[str]
    """Channels that the log doesn't hold, without which it couldn't be measured."""

    @property
    def worst(self) -> AboveFacts | None:
        """The stretch that went farthest above; None where there was none."""
        return max(self.stretches, key=lambda stretch: stretch.most, default=None)


@dataclass(frozen=True)
class FlightFacts:
    """One flight of a log."""

    flight: int
    outcome: Outcome
    """"exceeded"; "not determined", where only samples in doubt are over a limit (see `quality`);
    "not exceeded", where it could be judged; or "not judged"."""
    verdict: str
    samples: int
    start_s: float | None
    end_s: float | None
    start_utc: str | None
    interval_s: float | None
    recorded_s: float
    judged_s: float
    time_over_s: float
    """Time over any limit: what is over two limits at once counts once."""
    unknown_s: float
    judged_shares: dict[str, float]
    """Share of the airborne time in which each limit could be judged, gaps that can hide no
    exceedance included; empty without airborne time."""
    unjudged_limits: list[str]
    """The limits of which that share is too small for a verdict on the flight."""
    unknown_stretches: int
    longest_unknown_s: list[list[float]]
    """Start and end of the longest stretches that couldn't be judged."""
    smallest_margins: list[SmallestFacts]
    exceedances: list[ExceedanceFacts]
    taken: list[FindingFacts]
    steps: list[StepFacts]
    quality: QualityFacts
    assessment: AssessmentFacts | None = None
    decisive_exceedance: int | None = None
    """The number, from 1, of the exceedance that decides the verdict as flown: of those that are
    proven over the greatest, or else by the order of outcomes; null without an assessment."""
    decisive_exceedance_displayed: int | None = None
    """The same as displayed."""
    lacking_channels: dict[str, list[str]] = field(default_factory=dict)
    """The limits that couldn't be judged since the log doesn't hold these channels, and nobody
    declared them; they don't count for the exit code unless --require-every-limit is given."""
    files: list[str] = field(default_factory=list)
    """Which of a recording's several files hold the flight."""
    ceilings: list[CeilingFacts] = field(default_factory=list)
    """Beside the sheet's own ceilings; nothing else here depends on them."""


@dataclass(frozen=True)
class InputFacts:
    """A file that went in: what it was for, its name, and its bytes."""

    role: str
    file: str
    size: int
    sha256: str


@dataclass(frozen=True)
class LimitFacts:
    """A limit of the sheet, by name and published quantity."""

    name: str
    quantity: str


@dataclass(frozen=True)
class Summary:
    """Everything that was found in one log. It holds no clock times: same inputs, same bytes."""

    program: str
    versions: dict[str, str]
    aircraft: str
    inputs: list[InputFacts]
    dialect: dict[str, Any]
    """How the file was understood: format, delimiter, encoding, ..."""
    inferred: list[str]
    """What the file itself didn't state, a sentence each."""
    inferred_codes: list[InferredFacts]
    """The same as codes and values, in the same order."""
    channels: list[ChannelFacts]
    limits: list[LimitFacts]
    settings: dict[str, Any]
    declared: dict[str, float]
    """States that the recorder doesn't hold, as they were declared."""
    flights: list[FlightFacts]
    cautions: list[str]

    @property
    def exceeded(self) -> bool:
        """Whether any limit was exceeded."""
        return any(flight.outcome == "exceeded" for flight in self.flights)

    @property
    def undetermined(self) -> bool:
        """Whether in any flight only samples in doubt were over a limit."""
        return any(flight.outcome == "not determined" for flight in self.flights)

    @property
    def unjudged(self) -> bool:
        """Whether any limit of any flight counts as not judged."""
        return any(flight.outcome == "not judged" or flight.unjudged_limits
                   for flight in self.flights)

    @property
    def status(self) -> Outcome:
        """What the log comes to: the first of these that is true of one of its flights.

        "exceeded"; "not determined"; "not judged", of any limit; else "not exceeded".
        """
        if self.exceeded:
            return "exceeded"
        if self.undetermined:
            return "not determined"
        return "not judged" if self.unjudged else "not exceeded"

    @property
    def lacking(self) -> bool:
        """Whether any limit of any flight needs a channel that the log doesn't hold."""
        return any(flight.lacking_channels for flight in self.flights)

    def plain(self) -> dict[str, Any]:
        """Return the summary as JSON holds it: null where a number isn't known."""
        return {field.name: plain(getattr(self, field.name)) for field in fields(self)}

    def json(self) -> str:
        """Return the summary as JSON text."""
        return json.dumps(self.plain(), indent=2, ensure_ascii=False, allow_nan=False) + "\n"
