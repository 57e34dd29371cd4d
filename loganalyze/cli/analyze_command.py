"""``loganalyze analyze``: judge logs against a limits sheet."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from loganalyze.cli import (
    EXCEEDED,
    NO_VERDICT,
    UNEXPECTED,
    WRONG_INPUT,
    complain,
    unexpected,
)
from loganalyze.cli.shared_options import (
    FILE,
    columns_option,
    declare_option,
    json_option,
    limits_option,
    print_json,
    said_states,
    states_in_si,
)
from loganalyze.cli.threshold_options import threshold_options
from loganalyze.problems import Problem
from loganalyze.screening.evaluation_settings import Settings

if TYPE_CHECKING:
    from loganalyze.results.assessment_results import Assessment
    from loganalyze.sheets.limits_sheet import LimitsSheet
    from loganalyze.show.files.report_files import Wish
    from loganalyze.show.pdf.pdf_report import Paper
    from loganalyze.show.terminal.terminal_lines import Level
    from loganalyze.text.facts import Summary
    from loganalyze.text.presentation import Clock, Presentation, Reader
    from loganalyze.uncertainty.prior_models import Prior

@dataclass(frozen=True)
class _Job:
    """What is the same for every log of a run."""

    sheet: LimitsSheet
    limits: Path
    columns: Path | None
    priors: Mapping[str, Prior]
    out: Path | None
    overwrite: bool
    plot_format: str
    wish: Wish | None
    how: Presentation
    level: Level
    colour: bool
    said: Mapping[str, float]
    states: Mapping[str, float]
    settings: Settings
    parts: tuple[Path, ...] = ()
    """The files of one recording, where the logs are judged together."""


@click.command("analyze")
@click.argument("logs", nargs=-1, required=True, type=FILE, metavar="LOG...")
@limits_option(required=True)
@columns_option
@click.option("--together", is_flag=True,
              help="The LOGs are the files of one recording: judge them as one, in the order of "
              "time. The results go to the name of the first.")
@click.option("--priors", type=FILE, metavar="FILE",
              help="A priors file (TOML): how often margins occur in the fleet, by limit; without "
              "it probabilities assume a flat prior.")
@click.option("--out", type=FILE, metavar="DIR",
              help="Write the results of each log to a folder of its name in DIR.")
@click.option("--overwrite", is_flag=True,
              help="Replace folders of earlier results, each whole.")
@click.option("--plot-format", type=click.Choice(["png", "svg", "pdf"]), default="png",
              show_default=True, help="Format of the figure.")
@click.option("--report", type=click.Choice(["html", "pdf", "both"]),
              help="Also write a report of each flight, as a page, a PDF, or both.")
@click.option("--for", "reader", type=click.Choice(["crew", "safety", "maintenance"]),
              default="safety", show_default=True,
              help="Whom the verdict and the report are for.")
@click.option("--units", type=click.Choice(["kt-ft", "kmh-m"]), default="kt-ft",
              show_default=True, help="Units of what is printed and reported: knots and feet, or "
              "km/h and metres.")
@click.option("--clock", type=click.Choice(["elapsed", "utc"]), default="elapsed",
              show_default=True, help="Clock of what is printed and reported; UTC where the log "
              "has a date.")
@click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True,
              help="Paper of the PDF.")
@click.option("--deidentify", is_flag=True,
              help="Leave crew, flight number, registration, date and file names out of the "
              "report (not out of the other results).")
@declare_option
@click.option("--fail-on-exceedance", is_flag=True,
              help="Exit with 1 when any exceedance was found; a flight that was not judged, or in "
              "which only samples in doubt are over a limit, exits with 3 in any case.")
@click.option("--quiet", "-q", is_flag=True, help="Print one line a flight.")
@click.option("--verbose", "-v", is_flag=True,
              help="Print phases, measures, cross-checks and tolerances, too.")
@click.option("--color", type=click.Choice(["auto", "always", "never"]), default="auto",
              show_default=True, help="Colour what is printed; auto: on a terminal, unless "
              "NO_COLOR is set.")
@json_option
@threshold_options
def command(
    logs: tuple[Path, ...],
    limits: Path,
    columns: Path | None,
    together: bool,
    priors: Path | None,
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
    quiet: bool,
    verbose: bool,
    color: str,
    as_json: bool,
    **thresholds: float,
) -> None:
    """Judge each LOG (CSV, .csv.gz, .csv.zst, Parquet, or a folder of the files of one recording)
    against a limits sheet.

    Prints a plain verdict per log. With --out, writes samples.parquet, exceedances.csv and
    .parquet, summary.json and margin.png to DIR/<name of the log>/, and with --report a
    report.html, a report.pdf or both. A log that can't be read is reported, and the others go on.
    Exits with 3 where a flight could not be judged.
    """
    from loganalyze.sheets.limits_sheet import read_limits

    said = said_states(declared)
    sheet = read_limits(limits)
    if quiet and verbose:
        raise click.UsageError("--quiet and --verbose exclude each other.")
    wish, how = None, _presentation(reader, units, clock, deidentify)
    if report is not None:
        if out is None:
            raise click.UsageError("--report needs --out, the folder to write to.")
        wish = _wish(report, how, paper)
    level: Level = "quiet" if quiet else "verbose" if verbose else "normal"
    job = _Job(sheet, limits, columns, _priors(priors), out, overwrite, plot_format, wish, how,
               level, _coloured(color), said, states_in_si(said, sheet), Settings(**thresholds),
               logs if together else ())
    logs = logs[:1] if together else logs
    summaries: list[Summary] = []
    failed: set[int] = set()
    for log in _with_progress(logs):
        try:
            _check_place(log, logs, out)
            summary = _judge(log, job)
        except (click.Abort, click.ClickException, OSError):
            raise
        except Exception as error:
            known = isinstance(error, Problem)
            failed.add(WRONG_INPUT if known else UNEXPECTED)
            _clear_bar(logs)
            complain(error if isinstance(error, Problem) else unexpected(error, str(log)))
            continue
        summaries.append(summary)
        if not as_json:
            _clear_bar(logs)
            click.echo(_report(log, summary, job), color=job.colour)
    if as_json and (summaries or len(logs) > 1):
        found = [summary.plain() for summary in summaries]
        print_json(found[0] if len(logs) == 1 else found)
    elif summaries and not quiet:
        from loganalyze.text.verdict_sentences import CAUTIONS

        click.echo("\n".join(CAUTIONS))
    sys.exit(_exit_code(summaries, failed, fail_on_exceedance))


def _exit_code(summaries: Sequence[Summary], failed: set[int], fail_on_exceedance: bool) -> int:
    """Return the exit code of a run; the worst of what happened counts."""
    if failed:
        return max(failed)
    if fail_on_exceedance and any(summary.exceeded for summary in summaries):
        return EXCEEDED
    return NO_VERDICT if any(one.unjudged or one.undetermined for one in summaries) else 0


def _presentation(reader: Reader, units: str, clock: Clock, deidentify: bool) -> Presentation:
    from loganalyze.text.presentation import UNITS, Presentation

    if deidentify and clock == "utc":
        raise click.UsageError("--deidentify and --clock utc exclude each other: the time of day "
                               "tells the flight.")
    return Presentation(reader, UNITS[units], clock, deidentify)


def _priors(path: Path | None) -> Mapping[str, Prior]:
    if path is None:
        return {}
    from loganalyze.sheets.priors_file import read_priors
    from loganalyze.uncertainty.prior_models import priors_of

    return priors_of(read_priors(path))


def _wish(report: str, how: Presentation, paper: Paper) -> Wish:
    from loganalyze.show.files.report_files import FORMATS, Wish

    return Wish(FORMATS if report == "both" else (report,), how, paper)


def _coloured(color: str) -> bool:
    """Whether to print in colour (https://no-color.org: set and not empty means no)."""
    if color == "auto":
        return sys.stdout.isatty() and not os.environ.get("NO_COLOR")
    return color == "always"


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
    from loganalyze.show.files.results_folder import folder_for

    place = folder_for(log, out)
    first = next(other for other in logs if folder_for(other, out) == place)
    if first is not log:
        raise Problem(f"its results would go to {place}, as those of {first} do", str(log),
                      "give the logs different names, or analyse them one by one")


def _judge(log: Path, job: _Job) -> Summary:
    facts: dict[str, Any] = {
        "limits": job.limits, "columns": job.columns, "declared": job.said}
    if job.out is None:
        from loganalyze.show.files.log_summary import summarise

        return summarise(_assessments(log, job), **facts)
    from loganalyze.show.files.results_folder import check_folder, folder_for, write_results

    folder = folder_for(log, job.out)
    check_folder(folder, job.overwrite)
    also = None
    if job.wish is not None:
        from loganalyze.show.files.report_files import reporter

        also = reporter(job.wish, **facts)
    return write_results(_assessments(log, job), folder, overwrite=job.overwrite,
                         plot_format=job.plot_format, also=also, **facts)


def _assessments(log: Path, job: _Job) -> Iterator[Assessment]:
    from loganalyze.events.analysis import analyze
    from loganalyze.explain.assessment import assess_flight
    from loganalyze.read import read_flights

    number = 0
    # enumerate would keep the flight that it gave last.
    for flight in read_flights(job.parts or log, job.columns):
        number += 1  # noqa: SIM113
        yield assess_flight(
            analyze(flight, job.sheet, settings=job.settings, declared=job.states, flight=number),
            priors=job.priors)
        del flight


_TONES: dict[str, dict[str, Any]] = {
    "": {}, "strong": {"bold": True}, "over": {"bold": True, "fg": "red"}, "faint": {"dim": True}}


def _report(log: Path, summary: Summary, job: _Job) -> str:
    """Return what is printed about one log."""
    from loganalyze.show.files.results_folder import folder_for
    from loganalyze.show.terminal.terminal_lines import WIDTH, Line, log_lines

    lines = log_lines(str(log), str(job.limits), summary, job.how, job.level)
    if job.out is not None:
        lines.append(Line(f"Results in {folder_for(log, job.out)}"))
    if job.level == "quiet" and not sys.stdout.isatty():
        return "\n".join(line.text for line in lines[: len(summary.flights)])
    width = min(max(shutil.get_terminal_size((WIDTH, 24)).columns, 60), 100)
    said = [click.style(line.wrapped(width), **_TONES[line.tone]) if line.tone and job.colour
            else line.wrapped(width) for line in lines]
    return "\n".join(said) + ("" if job.level == "quiet" else "\n")
