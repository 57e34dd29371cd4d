"""The subject of a report: one flight's facts, its assessment, and the presentation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from loganalyze.events.analysis import Analysis
from loganalyze.results.assessment_results import AssessedExceedance, Assessment
from loganalyze.results.decisive_exceedance import decisive_first
from loganalyze.text.facts import ExceedanceFacts, FlightFacts, Summary
from loganalyze.text.language import paper_labels
from loganalyze.text.language import report_labels as label
from loganalyze.text.presentation import Presentation


@dataclass(frozen=True, eq=False)
class Subject:
    """All that the sections of one flight's report are made from."""

    analysis: Analysis
    facts: FlightFacts
    summary: Summary
    assessment: Assessment | None
    how: Presentation

    @classmethod
    def of(cls, analysis: Analysis, summary: Summary, assessment: Assessment | None,
           how: Presentation) -> Subject:
        """Find the flight in the summary of its log.

        Raises ValueError when it isn't there, or the assessment is of another analysis.
        """
        if assessment is not None and assessment.analysis is not analysis:
            raise ValueError("the assessment is of another analysis")
        for facts in summary.flights:
            if facts.flight == analysis.flight:
                return cls(analysis, facts, summary, assessment, how)
        raise ValueError(f"the summary holds no flight {analysis.flight}")

    @property
    def aircraft(self) -> str:
        """The aircraft's name; that is free text, which may hold a registration."""
        return label.AIRCRAFT_HIDDEN if self.how.deidentified else self.summary.aircraft

    @property
    def log_sha256(self) -> str:
        """SHA-256 of the log; empty in a de-identified report."""
        return "" if self.how.deidentified else next(
            item.sha256 for item in self.summary.inputs if item.role == "log")

    @property
    def name(self) -> str:
        """The subject of the report in one line."""
        parts = [self.aircraft]
        if not self.how.deidentified:
            parts += self.facts.files or [
                next(item.file for item in self.summary.inputs if item.role == "log")]
            if self.facts.start_utc:
                parts.append(f"{self.facts.start_utc[:10]}")
        if len(self.summary.flights) > 1 or self.facts.flight > 1:
            parts.append(label.FLIGHT_OF_LOG.format(number=self.facts.flight))
        return " · ".join(parts)

    @property
    def footer(self) -> str:
        """The footer of each printed page."""
        version = self.summary.versions["loganalyze"]
        return paper_labels.footer(version, self.log_sha256)

    @property
    def all_assessed(self) -> Sequence[AssessedExceedance]:
        """The assessment of each exceedance; empty without an assessment."""
        return self.assessment.exceedances if self.assessment else ()

    def assessed(self, number: int) -> AssessedExceedance | None:
        """The assessment of exceedance `number`, from 0."""
        if self.assessment is None or number >= len(self.assessment.exceedances):
            return None
        return self.assessment.exceedances[number]

    @property
    def worst_first(self) -> Sequence[int]:
        """The exceedances' numbers (from 0), the one that decides first: see `decisive_first`."""
        return decisive_first([exceedance.worst_excess_kt for exceedance in self.facts.exceedances],
                              self.all_assessed, self.how.basis)

    @property
    def worst(self) -> ExceedanceFacts | None:
        """The exceedance that decides."""
        return self.facts.exceedances[self.worst_first[0]] if self.facts.exceedances else None

    def column_at(self, name: str, seconds: float) -> float:
        """Return a sample's value of a column at the sample nearest to an instant, or NaN."""
        values, time = self.analysis.columns.get(name), self.analysis.time
        if values is None or not len(time) or not np.isfinite(seconds):
            return float("nan")
        return float(values[int(np.abs(time - seconds).argmin())])

    def least_margin(self, start_s: float, end_s: float) -> tuple[float, float]:
        """Return the smallest margin [kt] in a stretch of time, and when; NaN where unknown."""
        first, last = np.searchsorted(self.analysis.time, [start_s, end_s])
        margin = self.analysis.columns["margin_kt"][first:last]
        if not len(margin) or np.isnan(margin).all():
            return float("nan"), float("nan")
        at = int(np.nanargmin(margin))
        return float(margin[at]), float(self.analysis.time[first + at])
