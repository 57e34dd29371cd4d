"""``loganalyze priors``: how often margins occur in a fleet, as a priors file."""

from __future__ import annotations

from pathlib import Path

import click

from loganalyze.cli.shared_options import FILE, json_option, print_json


@click.command("priors")
@click.option("--store", type=FILE, required=True, metavar="DIR", help="The folder of the store.")
@click.option("--sheet", metavar="NAME", default="",
              help="The limits sheet, by its file name, of the flights that count; needed where "
              "the store's flights were judged by several.")
@click.option("--output", "-o", "output", type=FILE, required=True, metavar="FILE",
              help="The priors file to write; one that is there is never replaced.")
@json_option
def command(store: Path, sheet: str, output: Path, as_json: bool) -> None:
    """Write how often margins occur in the fleet of a store, limit by limit, so that
    probabilities fit it: for analyze --priors.

    From the smallest margins of its flights, freed of what recorder and display differ by. A limit
    needs the margins of 30 flights.
    """
    from loganalyze.fleet.statistics.fleet_priors import fleet_priors
    from loganalyze.problems import Problem
    from loganalyze.sheets.priors_file import priors_toml
    from loganalyze.text.language import fleet_sentences

    if output.exists():
        raise Problem("the file is there already", str(output), "give another --output")
    found = fleet_priors(store, sheet)
    try:
        output.write_text(priors_toml(found.file), encoding="utf-8", newline="\n")
    except OSError as error:
        raise Problem(f"it can't be written ({error.strerror or error})", str(output),
                      "check the folder and the permissions") from error
    if as_json:
        print_json({"priors": str(output), "flights": found.flights, "left_out": found.left_out})
        return
    click.echo("\n".join(fleet_sentences.prior_lines(
        found.flights, found.left_out, str(output))))
