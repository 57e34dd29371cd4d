"""``loganalyze sheet``: write a first limits sheet, and check one."""

from __future__ import annotations

import sys
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from loganalyze.cli.shared_options import (
    FILE,
    Number,
    crossing_rows,
    json_option,
    print_json,
    say,
)
from loganalyze.problems import Problem

if TYPE_CHECKING:
    from loganalyze.sheets.limits_sheet import LimitsSheet
    from loganalyze.text.language import first_sheet

    Kind = click.ParamType[Any]
else:
    Kind = click.ParamType

KINDS = click.Choice(["indicated", "calibrated"])
OUTSIDE_AIR = click.Choice(["static", "total", "probe"])


class Pairs(Kind):
    """Rows of two numbers, such as 0:250,8000:260; with `single` one number, too."""

    name = "pairs"

    def __init__(self, single: bool = False) -> None:
        self.single = single

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return a float where one number was given, else the rows, the first numbers rising."""
        if not isinstance(value, str):
            return value
        number = Number(min=0)
        if self.single and ":" not in value:
            return number.convert(value, param, ctx)
        rows = []
        for text in value.split(","):
            first, colon, second = text.partition(":")
            if not colon:
                self.fail(f"{text.strip()!r} is no pair such as 8000:260.", param, ctx)
            rows.append((number.convert(first, param, ctx), number.convert(second, param, ctx)))
        if any(after[0] <= here[0] for here, after in pairwise(rows)):
            self.fail("the numbers before the colons must rise.", param, ctx)
        return tuple(rows)


@click.group("sheet")
def command() -> None:
    """Write a first limits sheet, or check one."""


@command.command("new", short_help="Write a first limits sheet.")
@click.argument("sheet", type=FILE, metavar="SHEET")
@click.option("--aircraft", metavar="NAME", help="What to call the aircraft.")
@click.option("--vmo", type=Pairs(single=True), metavar="KT",
              help="Greatest operating airspeed [kt]; or rows of pressure altitude [ft] and "
              "airspeed, such as 0:250,8000:260.")
@click.option("--mmo", type=Number(min=0), metavar="MACH",
              help="Greatest operating Mach number.")
@click.option("--vfe", type=Pairs(), metavar="DEG:KT,...",
              help="Greatest airspeed for each flap position, such as 15:180,35:150.")
@click.option("--vle", type=Number(min=0), metavar="KT",
              help="Greatest airspeed with the landing gear down [kt].")
@click.option("--published", type=KINDS,
              help="What kind of airspeed the flight manual's limits are; indicated where "
              "it isn't given.")
@click.option("--recorded", type=KINDS,
              help="What kind of airspeed the log holds; indicated where it isn't given.")
@click.option("--outside-air", type=OUTSIDE_AIR,
              help="What the log's outside air temperature is.")
@click.option("--recovery-factor", type=Number(0, 1, min_open=True), metavar="K",
              help="Part of the temperature rise that the probe recovers, with "
              "--outside-air probe.")
def new(sheet: Path, **given: Any) -> None:
    """Write a first limits sheet to SHEET (- for the standard output).

    From the limits given as options; without any, from questions at the terminal. The
    further keys of a sheet are in it as comments. An existing file is never replaced.

    \b
    loganalyze sheet new limits.toml --vmo 250 --mmo 0.50
    """
    written_out = str(sheet) == "-"
    if not written_out:
        _check_free(sheet)
    first = _first(given)
    from loganalyze.text.language import command_labels, first_sheet

    text = first_sheet.limits_sheet_text(first)
    checked = _checked(text, sheet)
    if written_out:
        click.echo(text, nl=False)
        return
    try:
        with sheet.open("x", encoding="utf-8") as stream:
            stream.write(text)
    except FileExistsError:
        _check_free(sheet)
        raise
    click.echo(command_labels.SHEET_WRITTEN.format(sheet=sheet))
    _print(checked)
    click.echo(command_labels.NEXT.format(sheet=sheet))


@command.command("check", short_help="Look a limits sheet over.")
@click.argument("sheet", type=FILE, metavar="SHEET")
@json_option
def check(sheet: Path, as_json: bool) -> None:
    """Read a limits SHEET, and print what it holds, where its limits cross, and what in it is
    unlikely to be meant.

    Ends with exit code 2 where the sheet can't be used. What is unlikely is no mistake: such a
    sheet is judged by as it stands.
    """
    from loganalyze.sheets.limits_sheet import read_limits

    checked = read_limits(sheet)
    if as_json:
        print_json(_plain(checked))
    else:
        _print(checked)


@command.command("schema", short_help="Print every key of a sheet, for an editor.")
@click.argument("which", type=click.Choice(["limits", "columns", "priors", "schedule"]),
                default="limits")
def schema(which: str) -> None:
    """Print the JSON Schema of a limits sheet, or of a columns, priors or schedule file.

    An editor that knows it offers the keys and marks mistakes as they are typed.

    \b
    loganalyze sheet schema limits > limits-sheet.schema.json
    """
    from loganalyze.show.files.sheet_schemas import FILES, written_schema

    model = next(model for name, model in FILES.items() if name.startswith(which))
    click.echo(written_schema(model), nl=False)


def _check_free(sheet: Path) -> None:
    if sheet.exists() or sheet.is_symlink():
        raise Problem("there is such a file already", str(sheet),
                      "give another name: a sheet is never replaced")


def _checked(text: str, sheet: Path) -> LimitsSheet:
    """Return the sheet that a text holds; what was answered may lie outside what a sheet takes."""
    from loganalyze.sheets.limits_sheet import LimitsSheet
    from loganalyze.sheets.toml_models import parse_toml

    return parse_toml(text.encode("utf-8"), LimitsSheet, sheet)


def _first(given: dict[str, Any]) -> first_sheet.FirstLimits:
    from loganalyze.text.language import first_sheet

    stated = {key: value for key, value in given.items() if value is not None}
    first = first_sheet.FirstLimits(**stated)
    if not first.any_limit:
        if not sys.stdin.isatty():
            raise click.UsageError("Give at least one of --vmo, --mmo, --vfe and --vle, or answer "
                                   "the questions at a terminal.")
        first = first_sheet.FirstLimits(**{**stated, **_answers(stated)})
    if not first.any_limit:
        raise click.UsageError("No limit was given, so there is nothing to write.")
    if (first.outside_air == "probe") != (first.recovery_factor is not None):
        raise click.UsageError("--outside-air probe and --recovery-factor go together.")
    return first


def _answers(stated: dict[str, Any]) -> dict[str, Any]:
    """Ask for what the options didn't state."""
    from loganalyze.limits.sheet_plausibility import UNNAMED
    from loganalyze.text.language import command_labels

    questions = command_labels.QUESTIONS
    click.echo(command_labels.FIRST_SHEET, err=True)
    asked: dict[str, Any] = {}
    if "aircraft" not in stated:
        asked["aircraft"] = _ask(questions["aircraft"], click.STRING, UNNAMED)
    asked["vmo"] = _ask(questions["vmo"], Pairs(single=True))
    asked["mmo"] = _ask(questions["mmo"], Number(min=0))
    asked["vfe"] = _ask(questions["vfe"], Pairs()) or ()
    asked["vle"] = _ask(questions["vle"], Number(min=0))
    if "published" not in stated:
        asked["published"] = _ask(questions["published"], KINDS, "indicated")
    if "recorded" not in stated:
        asked["recorded"] = _ask(questions["recorded"], KINDS, "indicated")
    if "outside_air" not in stated:
        asked["outside_air"] = _ask(questions["outside_air"], OUTSIDE_AIR)
        if asked["outside_air"] == "probe" and "recovery_factor" not in stated:
            asked["recovery_factor"] = _ask(questions["recovery_factor"],
                                            Number(0, 1, min_open=True))
    return asked


def _ask(question: str, kind: Kind, default: str = "") -> Any:
    """Ask until the answer fits; an empty answer is None where there is no default."""
    def fitting(answer: str) -> Any:
        return kind.convert(answer, None, None) if answer.strip() else None

    return click.prompt(question, default=default, value_proc=fitting, err=True,
                        show_default=bool(default))


def _plain(sheet: LimitsSheet) -> dict[str, Any]:
    from loganalyze.limits.sheet_plausibility import governing_changes, sheet_remarks
    from loganalyze.text.language import sheet_labels

    return {
        "aircraft": sheet.aircraft,
        "limits": [limit.name for limit in sheet.limit],
        "crossovers": crossing_rows(governing_changes(sheet)),
        "remarks": [{"code": remark.code, "limit": remark.limit or None,
                     "sentence": sheet_labels.sheet_remark(remark)}
                    for remark in sheet_remarks(sheet)],
    }


def _print(sheet: LimitsSheet) -> None:
    from loganalyze.text.language import air_data_text, command_labels, sheet_labels
    from loganalyze.text.presentation import KNOTS_FEET

    plain = _plain(sheet)
    say("\n".join(sheet_labels.sheet_contents(sheet)))
    click.echo(air_data_text.crossovers(
        command_labels.WITHOUT_CONDITIONS, plain["crossovers"], KNOTS_FEET))
    for remark in plain["remarks"]:
        say(command_labels.REMARK.format(sentence=remark["sentence"]))
