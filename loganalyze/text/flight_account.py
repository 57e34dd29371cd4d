"""The account of a flight: from its analysis to its facts, with what is said of them."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any, TypeVar

import numpy as np

from loganalyze.events.analysis import Analysis
from loganalyze.quantities.quantity_registry import quantity_of
from loganalyze.record.channels import CHANNELS
from loganalyze.record.flight_log import FlightLog
from loganalyze.record.quality_flags import QualityFlag
from loganalyze.results.assessment_results import Assessment, Severity
from loganalyze.results.decisive_exceedance import BASES, decisive_first
from loganalyze.results.evidence import CONFIRMS, CONFIRMS_LESS, CONTRADICTS, Evidence
from loganalyze.text.facts import (
    AboveFacts,
    AssessmentFacts,
    CeilingFacts,
    ExceedanceFacts,
    FindingFacts,
    FlightFacts,
    SmallestFacts,
)
from loganalyze.text.language import finding_text, reading_text, recording_text, verdict_sentences
from loganalyze.text.plain_values import plain, rounded, settled, utc_text
from loganalyze.text.presentation import Presentation
from loganalyze.text.recording_facts import (
    ChannelFacts,
    FlagFacts,
    QualityFacts,
    StepFacts,
    SuspectFacts,
)

Judged = Analysis | Assessment
"""A flight that was judged, and perhaps assessed."""

Facts = TypeVar("Facts", AboveFacts, ExceedanceFacts, SmallestFacts)

STRETCHES_LISTED = 10
"""How many stretches of a flag are listed, from the first."""
LACKING = ("condition_not_recorded", "limit_needs_temperature", "limit_needs_altitude",
           "limit_needs_channel")
"""Findings of limits for which the log doesn't hold a channel."""
LONGEST_LISTED = 20
"""How many unknown stretches a summary lists, longest first."""


def channel_facts(log: FlightLog) -> list[ChannelFacts]:
    """Return what was taken for each channel of `log`, in the log's order."""
    facts = []
    for name, channel in log.channels.items():
        kind = CHANNELS.get(name)
        facts.append(ChannelFacts(
            channel=name,
            column=channel.column,
            unit=channel.recorded_unit,
            known_by=reading_text.known_by(channel),
            interval_s=rounded(channel.interval_s),
            resolution=rounded(channel.resolution / (kind.unit.factor if kind else 1.0)),
            resolution_unit=kind.unit.name if kind else "",
            missing=int(np.count_nonzero(np.isnan(channel.values))),
        ))
    return facts


def exceedance_facts(judged: Judged) -> list[ExceedanceFacts]:
    """Return the exceedances of a flight as plain facts."""
    analysis = analysis_of(judged)
    start = round(_origin_s(analysis), 9)
    found = [_copied(ExceedanceFacts, exceedance, number=i, flight_start_s=start)
             for i, exceedance in enumerate(analysis.exceedances, 1)]
    found = [
        replace(exceedance, unit=exceedance.unit if exceedance.worst_excess is not None else None)
        for exceedance in found
    ]
    if isinstance(judged, Analysis):
        return found
    return [
        replace(
            exceedance,
            phase=assessed.phase,
            severity=assessed.severity.level if assessed.severity else None,
            **(severity_facts(assessed.severity) if assessed.severity else {}),
            assessment=assessed.flown.word,
            probability=rounded(assessed.flown.probability),
            excess_low=rounded(assessed.flown.low),
            excess_high=rounded(assessed.flown.high),
            assessment_displayed=assessed.displayed.word,
            probability_displayed=rounded(assessed.displayed.probability),
            excess_low_displayed=rounded(assessed.displayed.low),
            excess_high_displayed=rounded(assessed.displayed.high),
            assessment_widest=assessed.flown.widest.word if assessed.flown.widest else None,
            excess_low_widest=rounded(assessed.flown.widest.low) if assessed.flown.widest else None,
            excess_high_widest=rounded(assessed.flown.widest.high)
            if assessed.flown.widest
            else None,
            confirmed_by=_channels(assessed.evidence, CONFIRMS, CONFIRMS_LESS),
            contradicted_by=_channels(assessed.evidence, CONTRADICTS),
            unproven_because=assessed.evidence.reason or None,
        )
        for exceedance, assessed in zip(found, judged.exceedances, strict=True)
    ]


def severity_facts(severity: Severity) -> dict[str, Any]:
    """Return the rule that was met, and what it asks for, as fields of ExceedanceFacts."""
    return {
        "severity_probability": rounded(severity.probability),
        "severity_rule": severity.rule,
        "severity_rule_kind": "example" if severity.example else "operator",
        "severity_criteria": "; ".join(
            f"{each.key} {each.value:.6g} of {each.least:g}" for each in severity.criteria) or None,
    }


def _channels(evidence: Evidence, *verdicts: str) -> str | None:
    """The channels that give one of the verdicts, as one text; None for none."""
    return (
        "; ".join(
            reference.channel for reference in evidence.references if reference.verdict in verdicts
        )
        or None
    )


def analysis_of(judged: Judged) -> Analysis:
    """Return the analysis of a flight, whether it was assessed or not."""
    return judged.analysis if isinstance(judged, Assessment) else judged


def assessment_facts(assessment: Assessment) -> AssessmentFacts:
    """Return an assessment without its arrays."""
    return AssessmentFacts(**{
        field.name: settled(getattr(assessment, field.name))
        for field in fields(AssessmentFacts)})


def smallest_facts(analysis: Analysis) -> list[SmallestFacts]:
    """Return the smallest margins of `analysis` as plain facts, that of all limits first."""
    kinds = (None, *(limit.kind for limit in analysis.sheet.limit))
    return [_copied(SmallestFacts, margin, limit=margin.limit or None, **(
        {"margin": None} if quantity is None or quantity.is_speed
        else {"unit": quantity.unit.name, "quantity": quantity.name}))
        for margin, quantity in zip(analysis.smallest, kinds, strict=True)]


def ceiling_facts(analysis: Analysis) -> list[CeilingFacts]:
    """Return what the flight was beside the sheet's own ceilings, as plain facts."""
    return [CeilingFacts(
        measure.name, measure.set_by, measure.quantity, quantity_of(measure.quantity).unit.name,
        round(measure.measured_s, 9), round(measure.unknown_s, 9), round(measure.time_above_s, 9),
        [_copied(AboveFacts, stretch) for stretch in measure.stretches], list(measure.lacking))
        for measure in analysis.ceilings]


def suspect_facts(analysis: Analysis) -> list[SuspectFacts]:
    """Return the stretches over a limit whose samples are in doubt, as plain facts."""
    return [SuspectFacts(**plain(settled(suspect))) for suspect in analysis.suspects]


def flag_facts(flag: QualityFlag, how: Presentation | None = None) -> FlagFacts:
    """Return a flag as plain facts and a sentence."""
    return FlagFacts(
        flag.name, flag.channel, round(flag.covered.duration, 9), round(flag.raised.duration, 9),
        [[round(start, 9), round(end, 9)] for start, end in flag.raised][:STRETCHES_LISTED],
        flag.screened_out, plain(settled(dict(flag.values))), recording_text.flag(flag, how))


def quality_facts(analysis: Analysis, *, in_words: bool = True) -> QualityFacts:
    """Return how good the recording was: of its flags those that decide or found anything."""
    flags = []
    if in_words:
        how = presented(analysis, None)
        flags = [flag_facts(flag, how) for flag in analysis.quality]
    return QualityFacts(
        airborne_s=round(analysis.airborne.duration, 9),
        screened_s={reason: round(time, 9) for reason, time in analysis.screened_s.items()},
        bounded_s=round(analysis.bounded_s, 9),
        bounded_gaps=len(analysis.bounded),
        suspects=suspect_facts(analysis),
        flags=[flag for flag in flags if flag.screened_out or flag.sentence],
    )


def flight_facts(judged: Judged, how: Presentation | None = None, *, in_words: bool = True
                 ) -> FlightFacts:
    """Return everything that was found in a flight, in plain values and sentences.

    `how` : for whom and in which units the verdict is put; `in_words` : without, the verdict, what
    was taken for granted, the steps, the recording's flags and the assessment, which the tables of
    results don't hold, are left out.
    """
    analysis = analysis_of(judged)
    log = analysis.log
    time = log.time
    origin = _origin_s(analysis)
    longest = sorted(analysis.unknown, key=lambda pair: (pair[0] - pair[1], pair[0]))
    facts = FlightFacts(
        flight=analysis.flight,
        outcome=analysis.outcome,
        verdict="",
        samples=len(time),
        start_s=rounded(time[0]) if len(time) else None,
        end_s=rounded(time[-1]) if len(time) else None,
        start_utc=start_utc(analysis),
        interval_s=rounded(log.interval_s),
        recorded_s=round(float(analysis.recorded_s), 9),
        judged_s=round(float(analysis.judged_s), 9),
        time_over_s=round(analysis.time_over_s, 9),
        unknown_s=round(float(analysis.unknown_s), 9),
        judged_shares={name: round(share, 6) for name, share in analysis.judged_shares.items()},
        unjudged_limits=list(analysis.unjudged_limits),
        unknown_stretches=len(analysis.unknown),
        longest_unknown_s=[
            [round(start, 9), round(end, 9)] for start, end in longest[:LONGEST_LISTED]
        ],
        smallest_margins=smallest_facts(analysis),
        exceedances=exceedance_facts(judged),
        taken=[
            FindingFacts(
                finding.code,
                plain(finding.values),
                finding_text.finding(finding.code, finding.values, origin_s=origin),
            )
            for finding in (analysis.findings if in_words else ())
        ],
        steps=[
            StepFacts(step.name, plain(step.settings), plain(step.counts))
            for step in (judged.steps if in_words else ())
        ],
        quality=quality_facts(analysis, in_words=in_words),
        assessment=assessment_facts(judged)
        if in_words and isinstance(judged, Assessment)
        else None,
        lacking_channels={
            finding.values["limit"]: list(finding.values.get("channels", ["temperature"]))
            for finding in analysis.findings
            if finding.code in LACKING
        },
        files=[path.name for path in log.source.flight_files],
        ceilings=ceiling_facts(analysis),
    )
    if not in_words:
        return facts
    if facts.assessment and facts.exceedances:
        excesses = [exceedance.worst_excess_kt for exceedance in facts.exceedances]
        flown, displayed = (
            decisive_first(excesses, facts.assessment.exceedances, basis)[0] + 1
            for basis in BASES)
        facts = replace(facts, decisive_exceedance=flown, decisive_exceedance_displayed=displayed)
    return replace(facts, verdict=verdict_sentences.verdict(
        facts, presented(analysis, how)))


def presented(analysis: Analysis, how: Presentation | None) -> Presentation:
    """Return how a flight's facts are put: on its own clock."""
    return (how or Presentation()).of_flight(_origin_s(analysis), analysis.log.utc_start)


def _origin_s(analysis: Analysis) -> float:
    """Return the time [s] of a flight's first sample, from the log's first; 0 without samples."""
    return float(analysis.time[0]) if len(analysis.time) else 0.0


def start_utc(analysis: Analysis) -> str | None:
    """Return the instant of the flight's first sample as ISO 8601 text, None where not known."""
    log = analysis.log
    if log.utc_start is None or not len(log.time):
        return None
    return utc_text(log.utc_start + np.timedelta64(round(float(log.time[0]) * 1e9), "ns"))


def _copied(kind: type[Facts], found: object, **more: Any) -> Facts:
    """Return facts of what has the same fields; `more` : fields that are stated otherwise."""
    values: dict[str, Any] = {}
    for name in kind.__dataclass_fields__:
        value: Any = getattr(found, name, _MISSING)
        if name in more or value is _MISSING:
            continue  # what only an assessment tells
        measured = isinstance(value, float | np.floating)
        values[name] = rounded(float(value)) if measured else plain(value)
    return kind(**values, **more)


_MISSING = object()
