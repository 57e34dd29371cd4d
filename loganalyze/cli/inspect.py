"""``loganalyze inspect``: what a log holds."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from loganalyze.cli.options import FILE, columns_option, json_option, print_json
from loganalyze.problems import Problem


@click.command("inspect")
@click.argument("log", type=FILE)
@columns_option
@click.option("--write-columns", "target", type=FILE, metavar="FILE",
              help="Write the columns file that was used to FILE, to correct and use again.")
@click.option("--overwrite", is_flag=True, help="Replace FILE where it exists.")
@json_option
def command(log: Path, columns: Path | None, target: Path | None, overwrite: bool,
            as_json: bool) -> None:
    """Show what LOG holds, before judging it: columns, units and how each is known, the clock,
    sampling, gaps, flights, what screening finds, and each channel's shape in a line of text.
    """
    from dataclasses import asdict

    from loganalyze.read import read_flights
    from loganalyze.show import inspection
    from loganalyze.show.sparklines import BLOCKS, PLAIN

    if target is not None:
        _check(target, overwrite)
    found = inspection.inspection(read_flights(log, columns),
                                  BLOCKS if _can_print(BLOCKS) else PLAIN)
    if target is not None:
        _write_columns(target, log, columns)
    if as_json:
        print_json(asdict(found))
    else:
        click.echo(inspection.text(found))


def _check(target: Path, overwrite: bool) -> None:
    """Refuse a place for the columns file that is taken; before any work."""
    if target.is_dir():
        raise Problem("this is a folder", str(target), "name the columns file to write in it")
    if target.exists() and not overwrite:
        raise Problem("the file exists already", str(target),
                      "name another file, or give --overwrite to replace it")


def _write_columns(target: Path, log: Path, columns: Path | None) -> None:
    """Write the columns file that was used, whole or not at all."""
    from loganalyze.read.used import used_columns
    from loganalyze.sheets.columns_text import columns_text

    text = columns_text(*used_columns(log, columns))
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
