"""``loganalyze analyze``: judge logs against a limits sheet."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from loganalyze.cli import complain
from loganalyze.cli.options import (
    FILE,
    Command,
    Number,
    declare_option,
    json_option,
    limits_option,
    print_json,
    said_states,
    states_in_si,
)
from loganalyze.judge.settings import Settings
from loganalyze.problems import Problem

if TYPE_CHECKING:
    from loganalyze.assess.results import Assessment
    from loganalyze.sheets.limits import LimitsSheet
    from loganalyze.show.paper import Paper
    from loganalyze.show.reports import Wish
    from loganalyze.show.summary import Summary
    from loganalyze.show.wording.presentation import Clock, Reader

THRESHOLDS: dict[str, str] = {
    "tolerance_kt": "Over an airspeed limit means by more than this [kt].",
    "tolerance_mach": "Over a Mach limit means by more than this.",
    "join_gap_s": "Stretches over one limit are one exceedance when less than this apart [s], if",
    "join_margin_kt": "the margin between them stayed below this [kt] (airspeed limits), or",
    "join_margin_mach": "below this (Mach limits).",
    "minimum_duration_s": "Mark exceedances with less time over than this [s] as brief.",
    "plausible_rate_kt_s": "Greatest plausible rate of the airspeed [kt/s].",
    "plausible_rate_ft_s": "Greatest plausible rate of the pressure altitude [ft/s].",
    "gust_load_g": "A change of load factor that bears out a faster airspeed [g], or",
    "gust_pitch_deg": "of pitch attitude [deg].",
    "frozen_s": "Standstill of a channel that may be frozen [s], where others say it moved by",
    "frozen_moved_kt": "more than this [kt] (airspeed), or",
    "frozen_moved_ft": "this [ft] (altitude), or where its own noise stops, with a chance below",
    "frozen_chance": "this.",
    "stale_s": "A value held for this long [s] was stale if it then steps by more than",
    "stale_kt": "this [kt] (airspeed), or",
    "stale_ft": "this [ft] (altitude); set aside where that happens",
    "stale_least": "this often in a flight, and in",
    "stale_least_pct": "this share of it [%].",
    "sources_apart_kt": "Two sources disagree by more than this [kt] (airspeed), or",
    "sources_apart_pct": "this share of the airspeed [%] if that is more,",
    "sources_apart_ft": "this [ft] (altitude),",
    "sources_apart_degc": "this [degC] (temperature), for longer than",
    "sources_apart_s": "this [s].",
    "lost_frame_s": "Length of a frame [s], set aside where the synchronisation was lost:",
    "lost_channels": "this many channels impossible at once, twice in a frame.",
    "floor_kt": "An airspeed that rests at its lowest value below this [kt] for",
    "floor_s": "this long [s] is clamped: at most that.",
    "ground_kt": "On the ground is slower than this [kt], and",
    "ground_fpm": "climbing or sinking less than this [ft/min]; weight on wheels wins.",
}
"""The words for each field of Settings; every field is an option."""


def _threshold_options(command: Command) -> Command:
    for field in reversed(fields(Settings)):
        command = click.option(
            f"--{field.name.replace('_', '-')}", field.name, type=Number(min=0),
            default=field.default, show_default=True, metavar="NUMBER",
            help=THRESHOLDS[field.name],
        )(command)
    return command


@dataclass(frozen=True)
class _Job:
    """What is the same for every log of a run."""

    sheet: LimitsSheet
    limits: Path
    columns: Path | None
    out: Path | None
    overwrite: bool
    plot_format: str
    wish: Wish | None
    said: Mapping[str, float]
    states: Mapping[str, float]
    settings: Settings


@click.command("analyze")
@click.argument("logs", nargs=-1, required=True, type=FILE, metavar="LOG...")
@limits_option(required=True)
@click.option("--columns", type=FILE, metavar="FILE",
              help="A columns file (TOML): which column is which channel, in which unit.")
@click.option("--out", type=FILE, metavar="DIR",
              help="Write the results of each log to a folder of its name in DIR.")
@click.option("--overwrite", is_flag=True,
              help="Replace folders of earlier results, each whole.")
@click.option("--plot-format", type=click.Choice(["png", "svg", "pdf"]), default="png",
              show_default=True, help="Format of the figure.")
@click.option("--report", type=click.Choice(["html", "pdf", "both"]),
              help="Also write a report of each flight, as a page, a PDF, or both.")
@click.option("--for", "reader", type=click.Choice(["crew", "safety", "maintenance"]),
              default="safety", show_default=True, help="Whom the report is for.")
@click.option("--units", type=click.Choice(["kt-ft", "kmh-m"]), default="kt-ft",
              show_default=True, help="Units of the report: knots and feet, or km/h and metres.")
@click.option("--clock", type=click.Choice(["elapsed", "utc"]), default="elapsed",
              show_default=True, help="Clock of the report; UTC where the log has a date.")
@click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True,
              help="Paper of the PDF.")
@click.option("--deidentify", is_flag=True,
              help="Leave crew, flight number, registration, date and file names out of the "
              "report (not out of the other results).")
@declare_option
@click.option("--fail-on-exceedance", is_flag=True,
              help="Exit with 1 when any exceedance was found.")
@json_option
@_threshold_options
def command(
    logs: tuple[Path, ...],
    limits: Path,
    columns: Path | None,
    out: Path | None,
    overwrite: bool,
    plot_format: str,
    report: str | None,
    reader: Reader,
    units: str,
    clock: Clock,
    paper: Paper,
    deidentify: bool,
    declared: tuple[str, ...],
    fail_on_exceedance: bool,
    as_json: bool,
    **thresholds: float,
) -> None:
    """Judge each LOG (CSV, .csv.gz, .csv.zst or Parquet) against a limits sheet.

    Prints a short verdict per log. With --out, writes samples.parquet, exceedances.csv and
    .parquet, summary.json and margin.png to DIR/<name of the log>/, and with --report a
    report.html, a report.pdf or both. A log that can't be read is reported, and the others go on.
    """
    from loganalyze.sheets.limits import read_limits

    said = said_states(declared)
    sheet = read_limits(limits)
    wish = None
    if report is not None:
        if out is None:
            raise click.UsageError("--report needs --out, the folder to write to.")
        if deidentify and clock == "utc":
            raise click.UsageError("--deidentify and --clock utc exclude each other: the time of "
                                   "day tells the flight.")
        wish = _wish(report, reader, units, clock, paper, deidentify)
    job = _Job(sheet, limits, columns, out, overwrite, plot_format, wish, said,
               states_in_si(said, sheet), Settings(**thresholds))
    summaries, failed = [], 0
    for log in _with_progress(logs):
        try:
            _check_place(log, logs, out)
            summary = _judge(log, job)
        except Problem as problem:
            failed += 1
            _clear_bar(logs)
            complain(problem)
            continue
        summaries.append(summary)
        if not as_json:
            _clear_bar(logs)
            click.echo(_report(log, summary, job))
    if as_json and (summaries or len(logs) > 1):
        found = [summary.plain() for summary in summaries]
        print_json(found[0] if len(logs) == 1 else found)
    elif summaries:
        from loganalyze.show.wording import CAUTIONS

        click.echo("\n".join(CAUTIONS))
    if failed:
        sys.exit(2)
    if fail_on_exceedance and any(summary.exceeded for summary in summaries):
        sys.exit(1)


def _wish(report: str, reader: Reader, units: str, clock: Clock, paper: Paper, deidentify: bool
          ) -> Wish:
    from loganalyze.show.reports import FORMATS, Wish
    from loganalyze.show.wording.presentation import UNITS, Presentation

    return Wish(FORMATS if report == "both" else (report,),
                Presentation(reader, UNITS[units], clock, deidentify), paper)


def _with_progress(logs: tuple[Path, ...]) -> Iterator[Path]:
    """Give the logs one by one, with a bar on the terminal when there are several."""
    if len(logs) == 1 or not sys.stderr.isatty():
        yield from logs
        return
    with click.progressbar(logs, file=sys.stderr, label="logs",
                           item_show_func=lambda log: log.name if log else "") as bar:
        yield from bar


def _clear_bar(logs: tuple[Path, ...]) -> None:
    """Take the bar off the terminal's line, so that what is printed next has it to itself."""
    if len(logs) > 1 and sys.stderr.isatty():
        click.echo("\r\x1b[K", nl=False, err=True)


def _check_place(log: Path, logs: tuple[Path, ...], out: Path | None) -> None:
    """Refuse a log whose results would go where another log's go; before any work."""
    if out is None:
        return
    from loganalyze.show.results import folder_for

    place = folder_for(log, out)
    first = next(other for other in logs if folder_for(other, out) == place)
    if first is not log:
        raise Problem(f"its results would go to {place}, as those of {first} do", str(log),
                      "give the logs different names, or analyse them one by one")


def _judge(log: Path, job: _Job) -> Summary:
    facts: dict[str, Any] = {
        "limits": job.limits, "columns": job.columns, "declared": job.said}
    if job.out is None:
        from loganalyze.show.summary import summarise

        return summarise(_assessments(log, job), **facts)
    from loganalyze.show.results import check_folder, folder_for, write_results

    folder = folder_for(log, job.out)
    check_folder(folder, job.overwrite)
    also = None
    if job.wish is not None:
        from loganalyze.show.reports import reporter

        also = reporter(job.wish, **facts)
    return write_results(_assessments(log, job), folder, overwrite=job.overwrite,
                         plot_format=job.plot_format, also=also, **facts)


def _assessments(log: Path, job: _Job) -> Iterator[Assessment]:
    from loganalyze.assess.flight import assess_flight
    from loganalyze.judge.flight import analyze
    from loganalyze.read import read_flights

    for number, flight in enumerate(read_flights(log, job.columns), 1):
        yield assess_flight(analyze(flight, job.sheet, settings=job.settings, declared=job.states,
                             flight=number))
        del flight


def _report(log: Path, summary: Summary, job: _Job) -> str:
    """Return what is printed about one log."""
    from loganalyze.show import wording
    from loganalyze.show.results import folder_for

    lines = [f"{log} against {job.limits} ({summary.aircraft})"]
    for flight in summary.flights:
        number = f"Flight {flight.flight}: " if len(summary.flights) > 1 else ""
        lines += ["  " + line for line in f"{number}{flight.verdict}".split("\n")]
    lines += ["Taken as:", *("  " + line for line in wording.recognised(summary))]
    lines += [f"Thresholds: {wording.thresholds(summary.settings)}"]
    if job.out is not None:
        lines.append(f"Results in {folder_for(log, job.out)}")
    return "\n".join(lines) + "\n"
