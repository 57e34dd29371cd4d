"""``loganalyze inspect``: what a log holds."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loganalyze.cli import complain
from loganalyze.cli.shared_options import (
    FILE,
    clock_option,
    columns_option,
    json_option,
    print_json,
    say,
    units_option,
)
from loganalyze.problems import Problem

if TYPE_CHECKING:
    from loganalyze.show.terminal.log_inspection import Inspection
    from loganalyze.text.presentation import Clock, Presentation


@click.command("inspect")
@click.argument("logs", nargs=-1, required=True, type=FILE, metavar="LOG...")
@columns_option
@click.option("--together", is_flag=True,
              help="The LOGs are the files of one recording, in their order.")
@click.option("--write-columns", "target", type=FILE, metavar="FILE",
              help="Write the columns file that was used, or one to start from, to FILE.")
@click.option("--overwrite", is_flag=True, help="Replace FILE where it exists.")
@units_option("what is printed; JSON stays in the units of the channels")
@clock_option("what is printed; JSON stays in seconds from the first sample")
@json_option
def command(logs: tuple[Path, ...], columns: Path | None, together: bool, target: Path | None,
            overwrite: bool, units: str, clock: Clock, as_json: bool) -> None:
    """Show what a LOG holds, before judging it: columns, units and how each is known, the clock,
    sampling, gaps, flights, what screening finds, and each channel's shape in a line of text.

    A folder is one recording in several files; - is the standard input.
    """
    from dataclasses import asdict

    from loganalyze.show.terminal.log_inspection import text
    from loganalyze.text.language import terminal_labels
    from loganalyze.text.presentation import UNITS, Presentation

    named: list[Path | tuple[Path, ...]] = [logs] if together else [*logs]
    if target is not None:
        if len(named) > 1:
            raise click.UsageError("--write-columns goes with one log; for the files of one "
                                   "recording add --together.")
        _check(target, overwrite)
    how = Presentation() if as_json else Presentation(units=UNITS[units], clock=clock)
    found, failed = [], 0
    for log in named:
        try:
            inspection = _inspected(log, columns, how)
            if target is not None:
                _write_columns(target, log, columns)
        except Problem as problem:
            failed += 1
            complain(problem)
            if target is not None and problem.starter:
                _write_text(target, problem.starter + "\n")
                click.echo(terminal_labels.STARTER_WRITTEN.format(target), err=True)
            continue
        found.append(inspection)
        if not as_json:
            say(text(inspection, how) + ("\n" if len(named) > 1 else ""))
    if as_json and found:
        facts = [asdict(inspection) for inspection in found]
        print_json(facts if len(named) > 1 else facts[0])
    if failed:
        sys.exit(2)


def _inspected(log: Path | tuple[Path, ...], columns: Path | None, how: Presentation
               ) -> Inspection:
    from loganalyze.read import read_flights
    from loganalyze.show.terminal.log_inspection import inspection
    from loganalyze.show.terminal.sparklines import BLOCKS, PLAIN

    return inspection(read_flights(log, columns), BLOCKS if _can_print(BLOCKS) else PLAIN, how)


def _check(target: Path, overwrite: bool) -> None:
    """Refuse a place for the columns file that is taken; before any work."""
    if target.is_dir():
        raise Problem("this is a folder", str(target), "name the columns file to write in it")
    if target.exists() and not overwrite:
        raise Problem("the file exists already", str(target),
                      "name another file, or give --overwrite to replace it")


def _write_columns(target: Path, log: Path | tuple[Path, ...], columns: Path | None) -> None:
    """Write the columns file that was used, whole or not at all."""
    from loganalyze.read.plan.columns_file_export import used_columns
    from loganalyze.read.plan.columns_file_text import columns_text
    from loganalyze.text.language import reading_text

    sheet, known = used_columns(log, columns)
    words = {channel: reading_text.known_by(column) for channel, column in known.items()}
    _write_text(target, columns_text(sheet, words))


def _write_text(target: Path, text: str) -> None:
    """Write a text, whole or not at all."""
    partial = target.with_name(f".{target.name}.partial")
    try:
        partial.write_text(text, encoding="utf-8", newline="\n")
        partial.replace(target)
    except OSError as error:
        partial.unlink(missing_ok=True)
        raise Problem(f"the file can't be written ({error.strerror})", str(target),
                      "check the folder, its permissions and the space left") from None


def _can_print(characters: str) -> bool:
    """Whether the output's encoding has these characters."""
    try:
        characters.encode(sys.stdout.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True
