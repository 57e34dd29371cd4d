"""The bar that shows on the terminal how far a run over several logs has come."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import click


def with_progress(logs: tuple[Path, ...]) -> Iterator[Path]:
    """Give the logs one by one, with a bar on the terminal when there are several."""
    if len(logs) == 1 or not sys.stderr.isatty():
        yield from logs
        return
    with click.progressbar(logs, file=sys.stderr, label="logs",
                           item_show_func=lambda log: log.name if log else "") as bar:
        yield from bar


def clear_bar(logs: tuple[Path, ...]) -> None:
    """Take the bar off the terminal's line, so that what is printed next has it to itself."""
    if len(logs) > 1 and sys.stderr.isatty():
        click.echo("\r\x1b[K", nl=False, err=True)
