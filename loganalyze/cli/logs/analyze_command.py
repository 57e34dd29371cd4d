"""``loganalyze analyze``: judge logs against a limits sheet."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from loganalyze.cli import (
    EXCEEDED,
    MIXED,
    NO_VERDICT,
    UNEXPECTED,
    WRONG_INPUT,
    complain,
    unexpected,
)
from loganalyze.cli.progress_bar import clear_bar, counted_flights, with_progress
from loganalyze.cli.shared_options import (
    FILE,
    clock_option,
    columns_option,
    declare_option,
    deidentify_option,
    json_option,
    limits_option,
    paper_option,
    parsed_states,
    print_json,
    report_formats_of,
    report_option,
    say,
    states_in_si,
    units_option,
)
from loganalyze.cli.threshold_options import threshold_options
from loganalyze.problems import Problem
from loganalyze.sheets.evaluation_settings import Settings

if TYPE_CHECKING:
    from loganalyze.sheets.limits_sheet import LimitsSheet
    from loganalyze.show.files.report_files import ReportOptions
    from loganalyze.show.pdf.pdf_sheet import Paper
    from loganalyze.show.terminal.printed_line import Level
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
    name: str | None
    overwrite: bool
    skip_existing: bool
    plot_format: str
    report: ReportOptions | None
    how: Presentation
    level: Level
    colour: bool
    declared: Mapping[str, float]
    """States as the user wrote them."""
    states: Mapping[str, float]
    """The same in SI."""
    settings: Settings
    alone: bool = True
    """Whether there is one log only."""
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
@click.option("--out", "-o", type=FILE, metavar="DIR",
              help="Write the results of each log to a folder of its name in DIR; logs of one name "
              "to folders that begin with the name of the folder that they are in.")
@click.option("--name", metavar="NAME",
              help="Write the results of the one LOG to DIR/NAME.")
@click.option("--overwrite", is_flag=True,
              help="Replace folders of earlier results, each whole.")
@click.option("--skip-existing", is_flag=True,
              help="Leave out logs whose folder holds results of the same files, settings and "
              "version.")
@click.option("--plot-format", type=click.Choice(["png", "svg", "pdf"]), default="png",
              show_default=True, help="Format of the figure.")
@report_option("Also write a report of each flight, as a page, a PDF, or both.", registered=True)
@click.option("--for", "reader", type=click.Choice(["crew", "training", "safety", "maintenance"]),
              default="safety", show_default=True,
              help="Whom the verdict and the report are for.")
@units_option("what is printed and reported")
@clock_option("what is printed and reported")
@paper_option("the PDF")
@deidentify_option("Leave crew, flight number, registration, date, file names and hashes out of "
                   "all that is written; the folder is named debrief, or as --name says.")
@declare_option
@click.option("--fail-on-exceedance", is_flag=True,
              help="Exit with 1 when any exceedance was found; a flight that was not judged, or in "
              "which only samples in doubt are over a limit, exits with 3 in any case.")
@click.option("--require-every-limit", is_flag=True,
              help="Exit with 3 also where a limit could not be judged because the log holds no "
              "channel for it (flaps, gear, weight, ...) and --declare doesn't state it.")
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
    name: str | None,
    overwrite: bool,
    skip_existing: bool,
    plot_format: str,
    report: str | None,
    reader: Reader,
    units: str,
    clock: Clock,
    paper: Paper,
    deidentify: bool,
    declared: tuple[str, ...],
    fail_on_exceedance: bool,
    require_every_limit: bool,
    quiet: bool,
    verbose: bool,
    color: str,
    as_json: bool,
    **thresholds: float,
) -> None:
    """Judge each LOG (CSV, .csv.gz, .csv.zst, Parquet, a folder of the files of one recording, or
    - for the standard input) against a limits sheet.

    Prints a plain verdict per log. With --out, writes samples.parquet, exceedances.csv and
    .parquet, summary.json and margin.png to DIR/<name of the log>/, and with --report a
    report.html, a report.pdf or both. A log that can't be read is reported, and the others go on.
    Exits with 3 where a flight could not be judged.
    """
    from loganalyze.sheets.limits_sheet import read_limits
    from loganalyze.text.language import command_labels

    declared_states = parsed_states(declared)
    sheet = read_limits(limits)
    if quiet and verbose:
        raise click.UsageError("--quiet and --verbose exclude each other.")
    for option, given in (("--report", report is not None), ("--name", name is not None),
                          ("--skip-existing", skip_existing)):
        if given and out is None:
            raise click.UsageError(f"{option} needs --out, the folder to write to.")
    if name is not None and len(logs) > 1 and not together:
        raise click.UsageError("--name goes with one log; for the files of one recording add "
                               "--together.")
    if out is not None and name is None and Path("-") in logs and not Path("-").exists():
        raise click.UsageError("The standard input has no name to call its results by: add --name.")
    if deidentify and skip_existing:
        raise click.UsageError("--deidentify and --skip-existing exclude each other: de-identified "
                               "results keep nothing by which to find their log.")
    how = _presentation(reader, units, clock, deidentify)
    known_priors = _priors(priors)
    if deidentify:
        from loganalyze.text.anonymous_facts import anonymous_priors, anonymous_sheet

        sheet, known_priors = anonymous_sheet(sheet), anonymous_priors(known_priors)
    options = None if report is None else _report_options(report, how, paper)
    level: Level = "quiet" if quiet else "verbose" if verbose else "normal"
    job = _Job(sheet, limits, columns, known_priors, out, name, overwrite, skip_existing,
               plot_format, options, how, level, _coloured(color), declared_states,
               states_in_si(declared_states, sheet), Settings(**{**sheet.screening, **thresholds}),
               together or len(logs) == 1, logs if together else ())
    logs = logs[:1] if together else logs
    summaries: list[Summary] = []
    rows: list[dict[str, Any]] = []
    failed: set[int] = set()
    indexed: list[tuple[Path, Path | None, Summary | None, str]] = []
    for log in with_progress(logs):
        try:
            folder = _folder(log, logs, job)
            if _is_done(log, folder, job):
                rows.append({"log": str(log), "status": "skipped"})
                indexed.append((log, folder, None, ""))
                if not as_json:
                    clear_bar(logs)
                    say(command_labels.SKIPPED.format(log=log, folder=folder))
                continue
            summary = _judge(log, folder, job)
        except (click.Abort, click.ClickException, OSError):
            raise
        except Exception as error:
            problem = error if isinstance(error, Problem) else unexpected(error, str(log))
            failed.add(WRONG_INPUT if isinstance(error, Problem) else UNEXPECTED)
            rows.append({"log": str(log), "status": "failed", "error": problem.sentence})
            indexed.append((log, None, None, problem.sentence))
            clear_bar(logs)
            complain(problem)
            continue
        summaries.append(summary)
        indexed.append((log, folder, summary, ""))
        rows.append({"log": str(log), "status": summary.status, **summary.plain()})
        if not as_json:
            clear_bar(logs)
            click.echo(_report(log, summary, folder, job), color=job.colour)
    _write_index(job, indexed)
    if as_json:
        print_json(rows[0] if len(logs) == 1 else rows)
    elif summaries and not quiet:
        from loganalyze.text.language import verdict_sentences

        click.echo("\n".join(verdict_sentences.CAUTIONS if verbose
                             else verdict_sentences.CAUTIONS_IN_SHORT))
    sys.exit(_exit_code(summaries, failed, fail_on_exceedance, require_every_limit))


def _exit_code(summaries: Sequence[Summary], failed: set[int], fail_on_exceedance: bool,
               require_every_limit: bool) -> int:
    """Return the exit code of a run; the worst of what happened counts."""
    if UNEXPECTED in failed:
        return UNEXPECTED
    if failed:
        return MIXED if summaries else WRONG_INPUT
    if fail_on_exceedance and any(summary.exceeded for summary in summaries):
        return EXCEEDED
    without = any(summary.unjudged or summary.undetermined
                  or (require_every_limit and summary.lacking) for summary in summaries)
    return NO_VERDICT if without else 0


def _presentation(reader: Reader, units: str, clock: Clock, deidentify: bool) -> Presentation:
    from loganalyze.text.presentation import UNITS, Presentation

    if deidentify and clock == "utc":
        raise click.UsageError("--deidentify and --clock utc exclude each other: the time of day "
                               "identifies the flight.")
    return Presentation(reader, UNITS[units], clock, deidentify)


def _priors(path: Path | None) -> Mapping[str, Prior]:
    if path is None:
        return {}
    from loganalyze.sheets.priors_file import read_priors
    from loganalyze.uncertainty.prior_models import priors_of

    return priors_of(read_priors(path))


def _report_options(report: str, how: Presentation, paper: Paper) -> ReportOptions:
    from loganalyze.show.files.report_files import ReportOptions

    return ReportOptions(report_formats_of(report), how, paper)


def _coloured(color: str) -> bool:
    """Whether to print in colour (https://no-color.org: set and not empty means no)."""
    if color == "auto":
        return sys.stdout.isatty() and not os.environ.get("NO_COLOR")
    return color == "always"


def _folder(log: Path, logs: tuple[Path, ...], job: _Job) -> Path | None:
    """Return the folder of a log's results, None without --out; before any work.

    Raises Problem for a log whose results would go where another log's go.
    """
    if job.out is None:
        return None
    from loganalyze.show.files.results_folder import RESULTS, anonymous_folders, folders_for

    folders = [job.out / job.name] if job.name is not None else (
        anonymous_folders(len(logs), job.out) if job.how.deidentified
        else folders_for(logs, job.out))
    place = folders[logs.index(log)]
    first = logs[folders.index(place)]
    if first is not log:
        raise Problem(f"its results would go to {place}, as those of {first} do", str(log),
                      "give the logs different names, or analyse them one by one with --name")
    if not job.skip_existing:
        RESULTS.check(place, job.overwrite)
    return place


def _is_done(log: Path, folder: Path | None, job: _Job) -> bool:
    """Whether the log's results are there already, and such are to be skipped."""
    if folder is None or not job.skip_existing:
        return False
    from loganalyze.show.files.results_folder import RESULTS, holds_results

    if holds_results(folder, job.parts or (log,), limits=job.limits, columns=job.columns,
                     declared=job.declared, settings=job.settings,
                     reports=job.report.formats if job.report else ()):
        return True
    RESULTS.check(folder, job.overwrite)
    return False


def _judge(log: Path, folder: Path | None, job: _Job) -> Summary:
    """Read, judge and write a log flight by flight; one flight at a time is in memory."""
    from loganalyze.events.analysis import analyze
    from loganalyze.explain.assessment import assess_flight
    from loganalyze.read import read_flights
    from loganalyze.show.files.log_summary import LogSummary
    from loganalyze.show.files.results_folder import ResultsFolder

    summary = LogSummary(limits=job.limits, columns=job.columns, declared=job.declared,
                         deidentified=job.how.deidentified and folder is not None,
                         presentation=job.how)
    with ExitStack() as stack:
        results = None if folder is None else stack.enter_context(ResultsFolder(
            folder, summary, overwrite=job.overwrite, plot_format=job.plot_format,
            presentation=job.how))
        number = 0
        for flight in counted_flights(read_flights(job.parts or log, job.columns), job.alone):
            number += 1
            judged = assess_flight(
                analyze(flight, job.sheet, settings=job.settings, declared=job.states,
                        flight=number), priors=job.priors)
            if results is None:
                summary.add(judged)
            else:
                facts = results.add(judged)
                if job.report is not None:
                    # What makes the PDF takes a tenth of the command's time to load.
                    from loganalyze.show.files.report_files import write_reports

                    write_reports(results.path, judged, summary.of_flight(judged, facts),
                                  job.report)
            del flight, judged
        if results is not None and number > 1 and job.report and "html" in job.report.formats:
            from loganalyze.show.files.index_file import write_index
            from loganalyze.show.report.flight_index import IndexedLog

            write_index(results.path, [IndexedLog(log.name, "", summary.result())], job.how)
        return summary.result() if results is None else results.finish()


def _write_index(
    job: _Job, logs: Sequence[tuple[Path, Path | None, Summary | None, str]]
) -> None:
    """Write the index of a run over several logs, where there are pages to lead to."""
    if job.out is None or job.report is None or "html" not in job.report.formats or len(logs) < 2:
        return
    from loganalyze.show.files.index_file import write_index_of_run

    write_index_of_run(job.out, logs, job.how)


_TONES: dict[str, dict[str, Any]] = {
    "": {}, "strong": {"bold": True}, "over": {"bold": True, "fg": "red"}, "faint": {"dim": True}}


def _report(log: Path, summary: Summary, folder: Path | None, job: _Job) -> str:
    """Return what is printed about one log."""
    from loganalyze.show.terminal.printed_line import WIDTH, Line
    from loganalyze.show.terminal.terminal_lines import log_lines
    from loganalyze.text.language import command_labels

    lines = log_lines(str(log), str(job.limits), summary, job.how, job.level)
    if folder is not None:
        lines.append(Line(command_labels.RESULTS_IN.format(folder=folder)))
    if job.level == "quiet" and not sys.stdout.isatty():
        return "\n".join(line.whole() for line in lines[: len(summary.flights)])
    width = min(max(shutil.get_terminal_size((WIDTH, 24)).columns, 60), 100)
    printed = [click.style(line.wrapped(width), **_TONES[line.tone]) if line.tone and job.colour
               else line.wrapped(width) for line in lines]
    return "\n".join(printed) + ("" if job.level == "quiet" else "\n")
