"""``loganalyze inspect``: what a log holds."""

from __future__ import annotations

from pathlib import Path

import click

from loganalyze.cli.options import FILE, json_option, print_json


@click.command("inspect")
@click.argument("log", type=FILE)
@click.option("--columns", type=FILE, metavar="FILE",
              help="A columns file (TOML): which column is which channel, in which unit.")
@json_option
def command(log: Path, columns: Path | None, as_json: bool) -> None:
    """Show what LOG holds: columns, units and how they were known, sampling and gaps."""
    from dataclasses import asdict

    from loganalyze.read import read_log
    from loganalyze.show import inspection

    found = inspection.inspection(read_log(log, columns))
    if as_json:
        print_json(asdict(found))
    else:
        click.echo(inspection.text(found))
