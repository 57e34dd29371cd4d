"""The thresholds of the evaluation that are options of a command."""

from __future__ import annotations

import click

from loganalyze.cli.shared_options import Command, Number
from loganalyze.sheets.evaluation_settings import DEFAULTS, DESCRIPTIONS, OPTIONS


def threshold_options(command: Command) -> Command:
    """Add an option for each threshold that a user has a reason to change."""
    for name in reversed(OPTIONS):
        command = click.option(
            f"--{name.replace('_', '-')}", name, type=Number(min=0), default=DEFAULTS[name],
            show_default=True, metavar="NUMBER", help=DESCRIPTIONS[name])(command)
    return command
