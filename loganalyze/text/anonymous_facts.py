"""Sheets and facts without what tells whose flight it is: names, hashes, dates, UTC."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from loganalyze.record.findings import Finding
from loganalyze.sheets.limits_sheet import LimitsSheet
from loganalyze.text.facts import FlightFacts, Summary
from loganalyze.text.language import finding_text, reading_text, report_labels
from loganalyze.text.recording_facts import InferredFacts, StepFacts
from loganalyze.uncertainty.prior_models import Prior

_NAMING = ("column", "columns", "others", "cell", "week", "folder", "file", "files")
"""Values of findings that hold the log's own words."""
_OF_READING = ("read", "parts", "sources")
"""Steps whose settings and counts may name columns, files or dates."""


def anonymous_sheet(sheet: LimitsSheet) -> LimitsSheet:
    """Return a limits sheet whose free text names nobody: it judges a flight just the same.

    Severity rules and ceilings are numbered in the sheet's order; who set a ceiling and where a
    tolerance comes from are neutral words. The names of limits stay: they are the flight manual's.
    """
    stated = sheet.uncertainty
    if stated is not None:
        stated = stated.model_copy(update={
            name: entry.model_copy(update={"source": report_labels.HIDDEN_SOURCE})
            for name, entry in stated if getattr(entry, "source", None)})
    return sheet.model_copy(update={
        "uncertainty": stated,
        "severity": tuple(
            rule.model_copy(update={"name": report_labels.HIDDEN_RULE.format(number=i)})
            for i, rule in enumerate(sheet.severity, 1)),
        "ceiling": tuple(
            ceiling.model_copy(update={"name": report_labels.HIDDEN_CEILING.format(number=i),
                                   "set_by": report_labels.HIDDEN_OPERATOR})
            for i, ceiling in enumerate(sheet.ceiling, 1))})


def anonymous_priors(priors: Mapping[str, Prior]) -> dict[str, Prior]:
    """Return priors without the names of their fleets."""
    return {limit: replace(prior, name=report_labels.HIDDEN_PRIOR.format(number=i))
            for i, (limit, prior) in enumerate(priors.items(), 1)}


def anonymous_flight(facts: FlightFacts) -> FlightFacts:
    """Return a flight's facts without its date, its files and the log's own words."""
    origin = facts.start_s or 0.0
    return replace(
        facts,
        start_utc=None,
        files=[],
        exceedances=[replace(exceedance, start_utc=None) for exceedance in facts.exceedances],
        taken=[
            replace(
                finding,
                values=_nameless(finding.values),
                sentence=finding_text.finding(
                    finding.code, finding.values, hidden=True, origin_s=origin
                ),
            )
            for finding in facts.taken
        ],
        steps=[
            StepFacts(step.name, {}, {}) if step.name in _OF_READING else step
            for step in facts.steps
        ],
        ceilings=[
            replace(ceiling, set_by=report_labels.HIDDEN_OPERATOR) for ceiling in facts.ceilings
        ],
    )


def anonymous(summary: Summary) -> Summary:
    """Return a summary without anything that its log, sheet or aircraft could be found by.

    Its flights are those of `anonymous_flight`; what a sheet and its priors name is for
    `anonymous_sheet` and `anonymous_priors` to leave out, before a flight is judged by them.
    """
    found = [Finding(inferred.code, inferred.values) for inferred in summary.inferred_codes]
    return replace(
        summary, aircraft=report_labels.AIRCRAFT_HIDDEN, inputs=[],
        dialect={key: value for key, value in summary.dialect.items() if key == "format"},
        inferred=list(reading_text.sentences(found, hidden=True)),
        inferred_codes=[InferredFacts(inferred.code, _nameless(inferred.values))
                        for inferred in summary.inferred_codes],
        channels=[replace(channel, column="", known_by="") for channel in summary.channels],
        flights=[anonymous_flight(flight) for flight in summary.flights])


def _nameless(values: dict[str, object]) -> dict[str, object]:
    return {key: value for key, value in values.items() if key not in _NAMING}
