"""``loganalyze deidentify``: a store's tables without what tells whose the flights are."""

from __future__ import annotations

import json
from pathlib import Path

import click

from loganalyze.cli.shared_options import FILE, json_option, print_json


@click.command("deidentify")
@click.option("--store", type=FILE, required=True, metavar="DIR", help="The folder of the store.")
@click.option("--out", type=FILE, required=True, metavar="DIR", help="The folder to make.")
@click.option("--least", type=click.IntRange(min=1), default=5, show_default=True, metavar="N",
              help="The smallest group: where fewer flights share aircraft and month, these are "
              "left out, with as many others as are needed so that nothing follows.")
@click.option("--key", "key_file", type=FILE, metavar="KEYFILE",
              help="A file with a secret key, made where there is none, so that the pseudonyms of "
              "several exports agree; otherwise they can't be connected.")
@json_option
def command(store: Path, out: Path, least: int, key_file: Path | None, as_json: bool) -> None:
    """Write a store's tables, as Parquet and CSV, without what tells whose the flights are.

    Names, tags, hashes, dates, times of day, free text and samples stay behind. What others know
    of a flight, such as its exact duration or speeds, may still tell them which one it is.
    """
    from loganalyze.fleet.store.deidentified_export import export_deidentified
    from loganalyze.text.language import fleet_sentences

    about, *_ = export_deidentified(store, out, key_file=key_file, least=least)
    said = json.loads(about.read_text(encoding="utf-8"))
    if as_json:
        print_json(said)
    else:
        click.echo(fleet_sentences.exported_line(
            said["flights"], said["flights_without_aircraft"], said["flights_without_month"],
            str(out)))
