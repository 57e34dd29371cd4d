"""Reports on disk: a page, a PDF or both, of one flight, from pictures drawn once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from loganalyze.results.assessment_results import Assessment
from loganalyze.show.figures.figure_style import png_bytes
from loganalyze.show.files.log_summary import summary_of
from loganalyze.show.page.html_page import report_html
from loganalyze.show.pdf.pdf_report import Paper, report_pdf
from loganalyze.show.report.report_blocks import Picture
from loganalyze.show.report.report_building import flight_report
from loganalyze.text.facts import FlightFacts, Summary
from loganalyze.text.flight_account import Judged, analysis_of
from loganalyze.text.presentation import Presentation

FORMATS = ("html", "pdf")


@dataclass(frozen=True, slots=True)
class Wish:
    """Which reports are wanted, how they put things, and the size of their paper.

    Raises ValueError for an unknown format.
    """

    formats: tuple[str, ...] = FORMATS
    presentation: Presentation = field(default_factory=Presentation)
    paper: Paper = "A4"

    def __post_init__(self) -> None:
        if not set(self.formats) <= set(FORMATS):
            raise ValueError(f"report formats are {', '.join(FORMATS)}")


def write_reports(
    folder: str | Path,
    judged: Judged,
    summary: Summary,
    wish: Wish | None = None,
) -> tuple[Path, ...]:
    """Write the reports of one flight into a folder that exists.

    Parameters
    ----------
    folder : path-like
        Gets ``report.html`` and ``report.pdf``, or ``report-2.html`` and so on for a second
        flight of the log and further ones.
    judged : Analysis or Assessment
        The flight; without an assessment the report says what can't be told.
    summary : Summary
        Of the log that holds the flight.
    wish : Wish, optional
        Which of the two, for whom, and how.

    Returns
    -------
    tuple of Path
        The files written.
    """
    wish = wish or Wish()
    analysis = analysis_of(judged)
    assessment = judged if isinstance(judged, Assessment) else None
    report = flight_report(analysis, summary, assessment=assessment,
                           presentation=wish.presentation)

    @cache
    def drawn(picture: Picture) -> bytes:
        return png_bytes(picture.draw())

    number = f"-{analysis.flight}" if analysis.flight > 1 else ""
    written = []
    for kind in wish.formats:
        path = Path(folder) / f"report{number}.{kind}"
        if kind == "html":
            path.write_text(report_html(report, drawn), encoding="utf-8", newline="")
        else:
            path.write_bytes(report_pdf(report, wish.paper, drawn))
        written.append(path)
    return tuple(written)


def reporter(
    wish: Wish,
    *,
    limits: Path | None = None,
    columns: Path | None = None,
    declared: Mapping[str, float] | None = None,
) -> Callable[[Path, Judged, FlightFacts], None]:
    """Return what `write_results` calls for each flight, to write its reports too.

    `limits`, `columns` and `declared` are those that `write_results` is given.
    """
    def write(folder: Path, judged: Judged, facts: FlightFacts) -> None:
        summary = summary_of(judged, facts, limits=limits, columns=columns, declared=declared)
        write_reports(folder, judged, summary, wish)

    return write
