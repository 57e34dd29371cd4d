"""Facts without what tells which flight they are of: names, hashes, dates, instants of UTC."""

from __future__ import annotations

from dataclasses import replace

from loganalyze.record.findings import Finding
from loganalyze.text.facts import FlightFacts, Summary
from loganalyze.text.language import finding_text, reading_text, report_labels
from loganalyze.text.recording_facts import InferredFacts, StepFacts

_NAMING = ("column", "columns", "others", "cell", "week", "folder", "file", "files")
"""Values of findings that hold the log's own words."""
_OF_READING = ("read", "parts", "sources")
"""Steps whose settings and counts may name columns, files or dates."""


def anonymous_flight(facts: FlightFacts) -> FlightFacts:
    """Return a flight's facts without its date, its files and the log's own words."""
    origin = facts.start_s or 0.0
    return replace(
        facts, start_utc=None, files=[],
        exceedances=[replace(one, start_utc=None) for one in facts.exceedances],
        taken=[replace(one, values=_nameless(one.values), sentence=finding_text.finding(
            one.code, one.values, hidden=True, origin_s=origin)) for one in facts.taken],
        steps=[StepFacts(one.name, {}, {}) if one.name in _OF_READING else one
               for one in facts.steps],
        ceilings=[replace(one, set_by=report_labels.HIDDEN_FILE) for one in facts.ceilings])


def anonymous(summary: Summary) -> Summary:
    """Return a summary without anything that its log, sheet or aircraft could be found by.

    Its flights are those of `anonymous_flight`. The names of limits, of severity rules and of
    priors stay: they are the limits sheet's words for what was judged.
    """
    found = [Finding(one.code, one.values) for one in summary.inferred_codes]
    return replace(
        summary, aircraft=report_labels.AIRCRAFT_HIDDEN, inputs=[],
        dialect={key: value for key, value in summary.dialect.items() if key == "format"},
        inferred=list(reading_text.sentences(found, hidden=True)),
        inferred_codes=[InferredFacts(one.code, _nameless(one.values))
                        for one in summary.inferred_codes],
        channels=[replace(one, column="", known_by="") for one in summary.channels],
        flights=[anonymous_flight(one) for one in summary.flights])


def _nameless(values: dict[str, object]) -> dict[str, object]:
    return {key: value for key, value in values.items() if key not in _NAMING}
