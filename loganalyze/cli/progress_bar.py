"""How far a run has come, on the terminal: a bar over several logs, the flights of a single one."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from loganalyze.record.flight_log import FlightLog

_CLEAR = "\r\x1b[K"


def with_progress(logs: tuple[Path, ...]) -> Iterator[Path]:
    """Give the logs one by one, with a bar on the terminal when there are several."""
    if len(logs) == 1 or not sys.stderr.isatty():
        yield from logs
        return
    with click.progressbar(logs, file=sys.stderr, label="logs",
                           item_show_func=lambda log: log.name if log else "") as bar:
        yield from bar


def counted_flights(flights: Iterable[FlightLog], alone: bool) -> Iterator[FlightLog]:
    """Give a log's flights one by one, and count them on the terminal where it is the only log.

    Whoever takes a flight has judged it when he asks for the next: the count is of flights
    judged, beside the rows read so far. The line is taken off at the end, also by an error.
    """
    if not alone or not sys.stderr.isatty():
        yield from flights
        return
    from loganalyze.text.language import command_labels

    rows = judged = 0
    try:
        _show(command_labels.READING)
        for flight in flights:
            rows += len(flight)
            _show(command_labels.PROGRESS.format(rows=rows, judged=judged))
            yield flight
            judged += 1
    finally:
        click.echo(_CLEAR, nl=False, err=True)


def _show(text: str) -> None:
    click.echo(f"{_CLEAR}{text}", nl=False, err=True)


def clear_bar(logs: tuple[Path, ...]) -> None:
    """Take the bar off the terminal's line, so that what is printed next has it to itself."""
    if len(logs) > 1 and sys.stderr.isatty():
        click.echo(_CLEAR, nl=False, err=True)
