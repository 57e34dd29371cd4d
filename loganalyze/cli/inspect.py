"""``loganalyze inspect``: what a log holds."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from loganalyze.cli.options import FILE, json_option, print_json


@click.command("inspect")
@click.argument("log", type=FILE)
@click.option("--columns", type=FILE, metavar="FILE",
              help="A columns file (TOML): which column is which channel, in which unit.")
@json_option
def command(log: Path, columns: Path | None, as_json: bool) -> None:
    """Show what LOG holds, before judging it: columns, units and how each is known, the clock,
    sampling, gaps, flights, what screening finds, and each channel's shape in a line of text.
    """
    from dataclasses import asdict

    from loganalyze.read import read_flights
    from loganalyze.show import inspection
    from loganalyze.show.sparklines import BLOCKS, PLAIN

    found = inspection.inspection(read_flights(log, columns),
                                  BLOCKS if _can_print(BLOCKS) else PLAIN)
    if as_json:
        print_json(asdict(found))
    else:
        click.echo(inspection.text(found))


def _can_print(characters: str) -> bool:
    """Whether the output's encoding has these characters."""
    try:
        characters.encode(sys.stdout.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True
