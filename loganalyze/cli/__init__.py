"""The command line: arguments, exit codes and printing, a file a command."""

from __future__ import annotations

import difflib
import io
import os
import sys
from importlib import import_module

import click

from loganalyze import __version__
from loganalyze.problems import Problem

EXIT_CODES = """
\b
Exit codes:
  0  done; analyze: every flight was judged
  1  an exceedance was found (only with --fail-on-exceedance)
  2  wrong input: one sentence on the error stream says what and how to correct it
  3  no verdict: a limit was judged for too little of the flight, or only samples in doubt were
     over one; with --require-every-limit also where the log holds no channel for a limit
  4  an unexpected error: a fault of the program
  5  mixed: some logs were judged, others could not be (wrong input)
  130, 141  interrupted, or the reader of the output went away
Where several apply: 4 before 5 and 2, these before 1, before 3.
"""
EXCEEDED, WRONG_INPUT, NO_VERDICT, UNEXPECTED, MIXED, INTERRUPTED = 1, 2, 3, 4, 5, 130
DEBUG = "LOGANALYZE_DEBUG"
"""Environment variable: where it is set, an unexpected error ends in its traceback."""

COMMANDS = {
    "analyze": "Judge logs against a limits sheet.",
    "compare": "Lay two flights side by side.",
    "training": "Measure a training flight against what was briefed.",
    "correct": "Correct the exercises that were found in a flight.",
    "progress": "A trainee's exercises from flight to flight.",
    "fleet": "Judge a fleet's logs into a store.",
    "trends": "How often a fleet exceeds its limits, and whether that changes.",
    "sensors": "Each aircraft's own instrument errors, from its flights.",
    "priors": "How often margins occur in a fleet, for its probabilities.",
    "retain": "Delete from a store what is older than it may be kept.",
    "deidentify": "Write a store's tables without what tells whose the flights are.",
    "review": "Work through a fleet's exceedances, in the browser.",
    "inspect": "Show what a log holds: columns, units, clock, gaps, screening.",
    "airdata": "Compute all speeds from one of them.",
    "crossover": "Where an airspeed limit and a Mach limit meet.",
    "envelope": "The limit airspeed against pressure altitude.",
    "sheet": "Write a first limits sheet, or check one.",
}
_FOLDERS = {
    **dict.fromkeys(("analyze", "compare", "inspect", "training", "correct", "progress"),
                    "logs"),
    **dict.fromkeys(
        ("fleet", "trends", "sensors", "priors", "retain", "deidentify", "review"), "fleets"),
    **dict.fromkeys(("airdata", "crossover", "envelope", "sheet"), "calculations"),
}
"""Where each command's module is."""


class _Commands(click.Group):
    """Commands that load when they are asked for, so that --help is there at once."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        module = import_module(f"loganalyze.cli.{_FOLDERS[name]}.{name}_command")
        command: click.Command = module.command
        command.short_help = COMMANDS[name]  # what a shell's completion shows beside it
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        near = difflib.get_close_matches(args[0], COMMANDS, 1) if args else []
        if near and args[0] not in COMMANDS:
            raise click.UsageError(f'No such command "{args[0]}"; did you mean {near[0]}?', ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def invoke(self, ctx: click.Context) -> object:
        try:
            result = super().invoke(ctx)
            sys.stdout.flush()
        except BrokenPipeError:
            # What is left in the buffer must not fail a second time at exit.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            ctx.exit(141)
        return result


@click.group(cls=_Commands, epilog=EXIT_CODES, context_settings={
    "max_content_width": 100, "help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="loganalyze")
def group() -> None:
    """Check recorded flights against their airspeed and Mach limits, after the flight.

    Not for use in flight. The flight manual, the maintenance manual, the operator and the
    authority prevail.
    """


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and exit with its code."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # A terminal may not know the degree sign.
    try:
        code = group.main(arguments, prog_name="loganalyze", standalone_mode=False)
    except Problem as problem:
        complain(problem)
        code = WRONG_INPUT
    except click.ClickException as error:
        error.show()
        code = WRONG_INPUT
    except OSError as error:
        complain(Problem(error.strerror or str(error), str(error.filename or "loganalyze"),
                         "check the path, the permissions and the space left"))
        code = WRONG_INPUT
    except (click.Abort, KeyboardInterrupt):
        code = INTERRUPTED
    except Exception as error:
        complain(unexpected(error))
        code = UNEXPECTED
    sys.exit(code or 0)


def unexpected(error: Exception, where: str = "") -> Problem:
    """Return a fault of the program as one sentence; raise it where `DEBUG` is set."""
    if os.environ.get(DEBUG):
        raise error
    kind = type(error).__name__
    return Problem(f"an unexpected error, a fault of this program ({kind}: {error})", where,
                   f"set {DEBUG}=1 for the traceback, and report it with the log if you can")


def complain(problem: Problem) -> None:
    """Print a problem as one sentence, and its details below."""
    from loganalyze.text.visible_text import visible

    click.echo(visible(f"loganalyze: {problem.sentence}"), err=True)
    if problem.details:
        click.echo(visible(problem.details), err=True)
