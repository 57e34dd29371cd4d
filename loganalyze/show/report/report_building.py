"""The report of one flight: its sections, for a kind of reader, from its facts and assessment."""

from __future__ import annotations

from loganalyze.events.analysis import Analysis
from loganalyze.results.assessment_results import Assessment
from loganalyze.show.report.report_blocks import Report
from loganalyze.show.report.report_subject import Subject
from loganalyze.show.report.section_registry import makers
from loganalyze.text.facts import Summary
from loganalyze.text.flight_account import presented
from loganalyze.text.language import page_labels
from loganalyze.text.language import report_labels as label
from loganalyze.text.presentation import Presentation


def flight_report(
    analysis: Analysis,
    summary: Summary,
    *,
    assessment: Assessment | None = None,
    presentation: Presentation | None = None,
) -> Report:
    """Return the report of one flight.

    Parameters
    ----------
    analysis : Analysis
        The flight.
    summary : Summary
        Of the log that holds the flight, as `summarise` gave it.
    assessment : Assessment, optional
        How sure and why; without it the report states what can't be determined.
    presentation : Presentation, optional
        For whom, in which units, on which clock, and whether de-identified.

    Returns
    -------
    Report
        Its sections, from top to bottom. Figures are drawn only when asked for.

    Raises
    ------
    ValueError
        When the summary holds no such flight.
    """
    how = presented(analysis, presentation)
    subject = Subject.of(analysis, summary, assessment, how)
    sections = tuple(section for make in makers(how.reader) for section in make(subject))
    return Report(
        title=label.TITLE[how.reader],
        subtitle=subject.name,
        sections=sections,
        footer=subject.footer,
        log_sha256=subject.log_sha256,
        language=page_labels.LANGUAGE,
    )
