"""Reports on disk: a page, a PDF or both, of one flight, from pictures drawn once."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from loganalyze.results.assessment_results import Assessment
from loganalyze.show.figures.figure_style import png_bytes
from loganalyze.show.files import report_formats
from loganalyze.show.pdf.pdf_sheet import Paper
from loganalyze.show.report.report_blocks import Picture
from loganalyze.show.report.report_building import flight_report
from loganalyze.text.facts import Summary
from loganalyze.text.flight_account import Judged, analysis_of
from loganalyze.text.presentation import Presentation


@dataclass(frozen=True, slots=True)
class ReportOptions:
    """Which reports to write, how they put things, and the size of their paper.

    Raises ValueError for an unknown format.
    """

    formats: tuple[str, ...] = ("html", "pdf")
    presentation: Presentation = field(default_factory=Presentation)
    paper: Paper = "A4"

    def __post_init__(self) -> None:
        if not set(self.formats) <= set(report_formats.names()):
            raise ValueError(f"report formats are {', '.join(report_formats.names())}")


def write_reports(
    folder: str | Path,
    judged: Judged,
    summary: Summary,
    options: ReportOptions | None = None,
) -> tuple[Path, ...]:
    """Write the reports of one flight into a folder that exists.

    Parameters
    ----------
    folder : path-like
        Gets ``report.html`` and ``report.pdf``, or ``report-2.html`` and so on for a second
        flight of the log and further ones.
    judged : Analysis or Assessment
        The flight; without an assessment the report states what can't be determined.
    summary : Summary
        Of the log that holds the flight.
    options : ReportOptions, optional
        Which of the two, for whom, and how.

    Returns
    -------
    tuple of Path
        The files written.

    Examples
    --------
    >>> import loganalyze as la
    >>> flight, = la.analyze("sample_logs/descent_through_mmo_and_vmo.csv",
    ...                      "sample_logs/ouzelwing_240.toml")
    >>> options = la.ReportOptions(formats=("html",))
    >>> [path.name for path in la.write_reports(".", flight, la.summarise([flight]), options)]
    ['report.html']
    """
    options = options or ReportOptions()
    analysis = analysis_of(judged)
    assessment = judged if isinstance(judged, Assessment) else None
    report = flight_report(analysis, summary, assessment=assessment,
                           presentation=options.presentation)

    @cache
    def drawn(picture: Picture) -> bytes:
        return png_bytes(picture.draw())

    number = f"-{analysis.flight}" if analysis.flight > 1 else ""
    written = []
    for kind in options.formats:
        path = Path(folder) / f"report{number}.{kind}"
        path.write_bytes(report_formats.named(kind).make(report, options.paper, drawn))
        written.append(path)
    return tuple(written)
