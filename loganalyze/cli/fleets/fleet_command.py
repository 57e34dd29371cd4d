"""``loganalyze fleet``: judge a fleet's logs into a store."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from loganalyze.cli import EXCEEDED, MIXED, NO_VERDICT, UNEXPECTED, WRONG_INPUT
from loganalyze.cli.shared_options import (
    FILE,
    columns_option,
    json_option,
    limits_option,
    print_json,
)
from loganalyze.cli.threshold_options import threshold_options

if TYPE_CHECKING:
    from loganalyze.fleet.running.fleet_run import FleetReport

EVERY_S = 0.5
"""How often the line of progress is written anew [s]."""


@click.command("fleet")
@click.argument("logs", nargs=-1, required=True, metavar="LOGS...")
@limits_option(required=False)
@columns_option
@click.option("--fleet", "fleet_file", type=FILE, metavar="FILE",
              help="A fleet file (TOML) in place of --limits: which aircraft there are, and which "
              "limits sheet each of them had from when on.")
@click.option("--store", type=FILE, required=True, metavar="DIR",
              help="The folder of the store; it is made where there is none. What it holds already "
              "isn't judged again.")
@click.option("--each", type=click.Choice(["file", "folder"]), default="file", show_default=True,
              help="What is one recording: each file, or all files of a folder together.")
@click.option("--samples", type=click.Choice(["none", "around", "all"]), default="around",
              show_default=True,
              help="Which samples the store keeps: none, those from a minute before to a minute "
              "after each exceedance, or all.")
@click.option("--workers", type=click.IntRange(min=0), metavar="N",
              help="Worker processes; otherwise one for each processor. With 0 the command itself "
              "judges.")
@click.option("--scheduler", metavar="ADDRESS",
              help="Judge on the workers of the Dask scheduler at this address; they must see the "
              "logs under the same paths.")
@click.option("--protect", type=FILE, metavar="KEYFILE",
              help="Keep pseudonyms instead of names, and months instead of dates; made with the "
              "secret key in this file, which a first run makes. Keep it apart from the store.")
@click.option("--identities", type=FILE, metavar="DIR",
              help="With --protect, at the first run: the folder in which names and dates are "
              "kept; otherwise in the store's own identities.")
@click.option("--fail-on-exceedance", is_flag=True,
              help="Exit with 1 when any exceedance was found in this run.")
@click.option("--quiet", "-q", is_flag=True, help="Print nothing but problems of the run itself.")
@json_option
@threshold_options
def command(
    logs: tuple[str, ...],
    limits: Path | None,
    columns: Path | None,
    fleet_file: Path | None,
    store: Path,
    each: str,
    samples: Literal["none", "around", "all"],
    workers: int | None,
    scheduler: str | None,
    protect: Path | None,
    identities: Path | None,
    fail_on_exceedance: bool,
    quiet: bool,
    as_json: bool,
    **thresholds: float,
) -> None:
    """Judge all LOGS (files, folders to search through, patterns, addresses of object stores) into
    a store of Parquet files.

    Each log is judged once: a second run judges what is new, or what a changed limits sheet
    touches. A log that can't be judged is a row in the store's problems, and the others go on. A
    run that was interrupted goes on where it was. Exits as analyze does.
    """
    from loganalyze.fleet.running.fleet_run import run_fleet

    if workers is not None and scheduler is not None:
        raise click.UsageError("--workers and --scheduler exclude each other.")
    if (limits is None) == (fleet_file is None):
        raise click.UsageError("Give either --limits, one sheet for all logs, or --fleet.")
    if columns is not None and fleet_file is not None:
        raise click.UsageError("--columns goes with --limits; a fleet file names its columns files "
                               "itself.")
    report = run_fleet(
        logs, store, limits=limits, columns=columns, fleet=fleet_file, thresholds=thresholds,
        samples=samples, folders=each == "folder", workers=workers, scheduler=scheduler,
        protect=protect, identities=identities, progress=_progress(quiet))
    if as_json:
        print_json(asdict(report))
    elif not quiet:
        _print(report, store)
    sys.exit(_exit_code(report, fail_on_exceedance))


def _progress(quiet: bool) -> Callable[[FleetReport], None] | None:
    """Return what writes the line of progress to a terminal; None where there is none."""
    if quiet or not sys.stderr.isatty():
        return None
    from loganalyze.text.language import fleet_sentences

    last = 0.0

    def show(report: FleetReport) -> None:
        nonlocal last
        now = time.monotonic()
        if now - last < EVERY_S and report.done < report.logs:
            return
        last = now
        line = fleet_sentences.progress_line(
            report.done, report.logs, report.flights, report.seconds)
        click.echo(f"\r\x1b[K{line}" + ("\n" if report.done == report.logs else ""), nl=False,
                   err=True)

    return show


def _print(report: FleetReport, store: Path) -> None:
    from loganalyze.text.language import fleet_sentences, verdict_sentences

    lines = fleet_sentences.run_lines(
        logs=report.logs, same=report.same, known=report.known, judged=report.judged,
        expired=report.expired, flights=report.flights, hours=report.hours,
        problems=report.problems, outcomes=report.outcomes, unjudged_limits=report.unjudged_limits,
        seconds=report.seconds, store=str(store))
    click.echo("\n".join([*lines, *verdict_sentences.CAUTIONS]))


def _exit_code(report: FleetReport, fail_on_exceedance: bool) -> int:
    """Return the exit code of a run; the worst of what happened counts."""
    if report.unexpected:
        return UNEXPECTED
    if report.problems:
        return MIXED if report.judged or report.known else WRONG_INPUT
    if fail_on_exceedance and report.outcomes.get("exceeded"):
        return EXCEEDED
    unknown = report.outcomes.get("not judged") or report.outcomes.get("not determined")
    return NO_VERDICT if unknown or report.unjudged_limits else 0
