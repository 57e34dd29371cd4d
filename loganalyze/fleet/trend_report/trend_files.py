"""A fleet's trends on disk: a page, a PDF, and the pictures as files of their own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path

from loganalyze.fleet.statistics.aircraft_errors import LEAST_FLIGHTS, aircraft_errors
from loganalyze.fleet.statistics.margin_tails import fleet_margin_tails
from loganalyze.fleet.statistics.outlying_flights import outlying_flights
from loganalyze.fleet.statistics.trend_tables import Trends, fleet_trends
from loganalyze.fleet.trend_report.margin_course import fleet_margins
from loganalyze.fleet.trend_report.trend_answers import trend_answers
from loganalyze.fleet.trend_report.trend_page import trend_report
from loganalyze.show.figures.figure_style import png_bytes, save_figure
from loganalyze.show.page.html_page import report_html
from loganalyze.show.pdf.pdf_report import report_pdf
from loganalyze.show.pdf.pdf_sheet import Paper
from loganalyze.show.report.report_blocks import Picture
from loganalyze.text.presentation import Presentation

DIMENSIONS = ("month", "aircraft", "limit", "phase", "severity", "cause")


@dataclass(frozen=True)
class TrendFiles:
    """Where trends are written; None for what isn't wanted.

    ``page`` : one self-contained HTML file; ``pdf`` : the same on paper; ``pictures`` : a folder,
    made where it isn't there.
    """

    page: Path | None = None
    pdf: Path | None = None
    pictures: Path | None = None
    paper: Paper = "A4"


def write_trends(
    store: str | Path,
    files: TrendFiles,
    *,
    by: Sequence[str] = DIMENSIONS,
    proven: bool = False,
    action: date | None = None,
    least: int = 5,
    how: Presentation | None = None,
    trends: Trends | None = None,
) -> tuple[Path, ...]:
    """Write the trends of a fleet for reading: answers, tables, pictures, and the flights behind.

    Parameters
    ----------
    store : path-like
        The folder of the store.
    files : TrendFiles
        What to write, and where.
    by, proven, action, least
        As `fleet_trends` takes them.
    how : Presentation, optional
        In which units.
    trends : Trends, optional
        What `fleet_trends` gave for the same, where it has been asked already.

    Returns
    -------
    tuple of Path
        The files written.

    Raises
    ------
    Problem
        As `fleet_trends`.

    Examples
    --------
    >>> from pathlib import Path
    >>> import loganalyze as la
    >>> report = la.run_fleet(["sample_logs"], "store",
    ...                       limits="sample_logs/ouzelwing_240.toml", workers=0)
    >>> la.write_trends("store", la.TrendFiles(page=Path("trends.html")), least=1)[0].name
    'trends.html'
    """
    trends = trends or fleet_trends(store, by=by, proven=proven, action=action, least=least)
    answers = trend_answers(
        trends, fleet_margins(str(store)), fleet_margin_tails(store),
        aircraft_errors(store, least=max(least, LEAST_FLIGHTS)), by=by, action=action,
        proven=proven, least=least, unusual=outlying_flights(store))
    report = trend_report(answers, how or Presentation())

    @cache
    def drawn(picture: Picture) -> bytes:
        return png_bytes(picture.draw())

    written = []
    if files.page is not None:
        files.page.write_text(report_html(report, drawn), encoding="utf-8", newline="")
        written.append(files.page)
    if files.pdf is not None:
        files.pdf.write_bytes(report_pdf(report, files.paper, drawn))
        written.append(files.pdf)
    if files.pictures is not None:
        files.pictures.mkdir(parents=True, exist_ok=True)
        for picture in report.pictures:
            place = files.pictures / f"{picture.name}.png"
            save_figure(picture.draw(), place)
            written.append(place)
    return tuple(written)
