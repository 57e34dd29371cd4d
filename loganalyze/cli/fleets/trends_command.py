"""``loganalyze trends``: how often a fleet exceeds its limits, and whether that changes."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from loganalyze.cli.shared_options import FILE, json_option, print_json, units_option

if TYPE_CHECKING:
    from loganalyze.fleet.statistics.margin_tails import PhaseTail
    from loganalyze.fleet.statistics.trend_tables import TrendRow
    from loganalyze.fleet.trend_report.trend_answers import TrendAnswers

DEFAULT_BY = ("month", "aircraft", "limit", "phase", "severity", "cause")


@click.command("trends")
@click.option("--store", type=FILE, required=True, metavar="DIR", help="The folder of the store.")
@click.option("--by", multiple=True, metavar="WHAT",
              help="Group by month, aircraft, limit, phase, severity, cause or tag:NAME; give it "
              "several times. Otherwise by all but tags.")
@click.option("--proven", is_flag=True,
              help="Count only exceedances that are proven over, as flown.")
@click.option("--action", type=click.DateTime(["%Y-%m-%d"]), metavar="DAY",
              help="A day (UTC, 2031-05-01) on which something was done: compare the flights from "
              "then on with those before, aircraft by aircraft.")
@click.option("--least", type=click.IntRange(min=1), default=5, show_default=True, metavar="N",
              help="Leave out groups of fewer flights than this.")
@click.option("--expected", type=FILE, metavar="FILE",
              help="A fleet file that tells how many flights each aircraft flies in a month: what "
              "was captured is then counted of these, otherwise of the flights read.")
@click.option("--csv", "csv_file", type=FILE, metavar="FILE", help="Also write the table as CSV.")
@click.option("--page", type=FILE, metavar="FILE",
              help="Also write a page: one HTML file that needs nothing else, with answers, "
              "pictures, tables, and the flights behind each number.")
@click.option("--pdf", type=FILE, metavar="FILE", help="Also write the same as a PDF.")
@click.option("--pictures", type=FILE, metavar="DIR",
              help="Also write the pictures, as PNG files in this folder.")
@click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True,
              help="Paper of the PDF.")
@units_option("page, PDF and pictures")
@json_option
def command(store: Path, by: tuple[str, ...], proven: bool, action: datetime | None, least: int,
            expected: Path | None, csv_file: Path | None, page: Path | None, pdf: Path | None,
            pictures: Path | None, paper: Literal["A4", "Letter"], units: str,
            as_json: bool) -> None:
    """Print the rates of exceedances of the fleet in a store, with intervals that hold where
    aircraft differ.

    Episodes (overlapping exceedances counted once) per 1,000 judged hours and per 100 flights.
    """
    from loganalyze.fleet.statistics.margin_tails import fleet_margin_tails
    from loganalyze.fleet.statistics.trend_tables import fleet_trends
    from loganalyze.fleet.trend_report.margin_course import fleet_margins
    from loganalyze.fleet.trend_report.trend_answers import trend_answers
    from loganalyze.sheets.fleet_file import read_fleet
    from loganalyze.text.language import fleet_sentences, verdict_sentences

    found = fleet_trends(store, by=by or DEFAULT_BY, proven=proven,
                         action=action.date() if action else None, least=least,
                         expected=None if expected is None else read_fleet(expected))
    written: tuple[Path, ...] = ()
    if page or pdf or pictures:
        from loganalyze.fleet.trend_report.trend_files import TrendFiles, write_trends
        from loganalyze.text.presentation import UNITS, Presentation

        written = write_trends(
            store, TrendFiles(page, pdf, pictures, paper), by=by or DEFAULT_BY, proven=proven,
            action=action.date() if action else None, least=least,
            how=Presentation(units=UNITS[units]), trends=found)
    rows = [_plain(row) for row in (found.whole, *found.rows)]
    if csv_file is not None:
        csv_file.write_text(_csv(rows), encoding="utf-8", newline="")
    tails = fleet_margin_tails(store)
    # Adjusted together with the page's other tests, so that both give one probability.
    answers = trend_answers(found, fleet_margins(str(store)), tails, (), by=by or DEFAULT_BY,
                            action=action.date() if action else None, proven=proven, least=least)
    if as_json:
        print_json(_finite({
            "margin_tails": [asdict(tail) for tail in tails],
            "rows": rows, "per_year": found.per_year,
            "adjusted": {"per_year": answers.rate_adjusted, "change": answers.change_adjusted,
                         "tests": answers.tests},
            "change": asdict(found.change) if found.change else None,
            "undated": found.undated, "problems": found.problems}))
        return
    lines = fleet_sentences.trend_lines(
        rows, logs=found.logs, problems=found.problems, undated=found.undated, proven=proven,
        per_year=answers.rate_adjusted, change=_change(answers),
        day=action.date().isoformat() if action else "")
    lines += fleet_sentences.tail_lines([_plain_tail(tail) for tail in tails])
    lines += ["", *map(str, written)] if written else []
    click.echo("\n".join([*lines, *verdict_sentences.CAUTIONS]))


def _plain(row: TrendRow) -> dict[str, Any]:
    """Return a row as it is written: rates per 1,000 hours and per 100 flights."""
    rate = row.rate
    return {
        "dimension": row.dimension, "group": row.group, "flights": row.flights,
        "hours": rate.hours, "judged_share": row.judged_share, "captured": row.captured,
        "episodes": rate.events,
        "per_1000_h": 1000 * rate.rate, "per_1000_h_low": 1000 * rate.low,
        "per_1000_h_high": 1000 * rate.high, "per_1000_h_own_low": 1000 * rate.own_low,
        "per_1000_h_own_high": 1000 * rate.own_high,
        "per_100_flights": 100 * rate.events / row.flights if row.flights else math.nan,
        "aircraft": rate.aircraft, "dispersion": rate.dispersion,
        "flights_with_episodes": list(row.with_events)}


def _plain_tail(found: PhaseTail) -> dict[str, Any]:
    """Return what is said of a tail."""
    tail, flown = found.tail, found.tail.flown
    return {"limits_sheet": found.limits_sheet, "phase": found.phase, "limit": found.limit,
            "flights": tail.flights,
            "peaks": tail.peaks, "refused": flown.refused, "hours": flown.hours, "low": flown.low,
            "high": flown.high}


def _change(found: TrendAnswers) -> tuple[float, float] | None:
    """Return the ratio of after to before, and its adjusted probability."""
    change = found.trends.change
    return (change.ratio, found.change_adjusted) if change else None


def _csv(rows: list[dict[str, Any]]) -> str:
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(rows[0])
    for row in rows:
        writer.writerow([
            "; ".join(value) if isinstance(value, list)
            else "" if isinstance(value, float) and math.isnan(value) else value
            for value in row.values()])
    return stream.getvalue()


def _finite(value: Any) -> Any:
    """Return a value in which null stands for what isn't known."""
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
