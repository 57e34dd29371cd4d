"""``loganalyze sensors``: each aircraft's own instrument errors, from ordinary flights."""

from __future__ import annotations

import math
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from loganalyze.cli.shared_options import FILE, json_option, print_json


@click.command("sensors")
@click.option("--store", type=FILE, required=True, metavar="DIR", help="The folder of the store.")
@click.option("--least", type=click.IntRange(min=2), default=8, show_default=True, metavar="N",
              help="Say nothing of an aircraft with fewer flights than this.")
@json_option
def command(store: Path, least: int, as_json: bool) -> None:
    """Print by how much each aircraft's airspeed, temperature and other channels read too high,
    as its ordinary flights show it, with interval and drift.

    By turns where the ground speed is recorded, by a second source, by recorded against computed
    values, and by the air's temperature against that of the other aircraft. Nothing of it is
    applied to any flight.
    """
    from loganalyze.fleet.statistics.aircraft_errors import aircraft_errors
    from loganalyze.text.language import fleet_sentences, verdict_sentences

    found = [asdict(error) for error in aircraft_errors(store, least=least)]
    if as_json:
        print_json({"errors": [{name: _known(value) for name, value in error.items()}
                               for error in found]})
        return
    click.echo("\n".join([*fleet_sentences.instrument_lines(found),
                          *verdict_sentences.CAUTIONS]))


def _known(value: Any) -> Any:
    """Return a value, null for a number that isn't known."""
    return None if isinstance(value, float) and not math.isfinite(value) else value
