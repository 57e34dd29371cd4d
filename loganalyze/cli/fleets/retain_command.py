"""``loganalyze retain``: delete from a store what is older than it may be kept."""

from __future__ import annotations

import re
from dataclasses import asdict
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from loganalyze.cli.shared_options import FILE, json_option, print_json

if TYPE_CHECKING:
    _Age = click.ParamType[timedelta]
else:
    _Age = click.ParamType

DAYS = {"d": 1, "w": 7, "y": 365}


class Age(_Age):
    """A number of days, weeks or years, as 90d, 12w or 2y."""

    name = "age"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None
                ) -> timedelta:
        """Return `value` as a timedelta, or fail with the usage."""
        if isinstance(value, timedelta):
            return value
        found = re.fullmatch(r"(\d{1,6})([dwy])", str(value), re.ASCII)
        if not found:
            self.fail(f"{value} is no age; write 90d, 12w or 2y.", param, ctx)
        return timedelta(days=int(found[1]) * DAYS[found[2]])


@click.command("retain")
@click.option("--store", type=FILE, required=True, metavar="DIR", help="The folder of the store.")
@click.option("--keep-identities", type=Age(), metavar="AGE",
              help="Delete who a flight was of when it is older than this: 90d, 12w or 2y (days, "
              "weeks, years of 365 days). Of a store made with --protect.")
@click.option("--keep-flights", type=Age(), metavar="AGE",
              help="Delete flights older than this, and all that was found in them.")
@click.option("--as-of", type=click.DateTime(["%Y-%m-%d"]), metavar="DAY",
              help="The day (UTC) that ages count to; otherwise today.")
@json_option
def command(store: Path, keep_identities: timedelta | None, keep_flights: timedelta | None,
            as_of: datetime | None, as_json: bool) -> None:
    """Delete from a store what is older than it may be kept: first who it was, then the flight.

    Ages count from the day of the flight, or from that of its judging where that is earlier or
    the flight has no date. What is deleted is written out of the files; backups and copies are
    yours to delete. A log whose flights were deleted isn't judged again. Run it after each
    loganalyze fleet.
    """
    from loganalyze.fleet.store.retention import retain
    from loganalyze.text.language import fleet_sentences

    if keep_identities is None and keep_flights is None:
        raise click.UsageError("Give --keep-identities, --keep-flights or both.")
    found = retain(store, keep_identities=keep_identities, keep_flights=keep_flights,
                   today=as_of.date() if as_of else None)
    if as_json:
        print_json(asdict(found))
    else:
        click.echo(fleet_sentences.retained_line(found.identities, found.flights, str(store)))
