"""Options and conversions that several commands share."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from loganalyze.problems import Problem

if TYPE_CHECKING:
    from loganalyze.limits.limit_envelope import Crossing
    from loganalyze.sheets.limits_sheet import LimitsSheet

Command = TypeVar("Command", bound=Callable[..., Any])

FILE = click.Path(path_type=Path)

if TYPE_CHECKING:
    _Choice = click.Choice[str]
else:
    _Choice = click.Choice


class Number(click.FloatRange):
    """A finite number; FloatRange alone lets NaN and infinity through."""

    def _describe_range(self) -> str:
        # Without bounds click would print "x<=None" in the help.
        return "" if self.min is None and self.max is None else super()._describe_range()

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None
                ) -> float:
        """Return `value` as a float, or fail with the usage."""
        number = float(super().convert(value, param, ctx))
        if not math.isfinite(number):
            self.fail(f"{value} is not a finite number.", param, ctx)
        return number


class ReportChoice(_Choice):
    """The formats of a report; those that were registered besides are looked up when asked for."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the name of a format, or fail with the usage."""
        if value not in self.choices:
            from loganalyze.show.files import report_formats

            if value in report_formats.names():
                return str(value)
        return str(super().convert(value, param, ctx))


def limits_option(required: bool) -> Callable[[Command], Command]:
    """Return the --limits option."""
    return click.option("--limits", type=FILE, required=required, metavar="SHEET",
                        help="The limits sheet, a TOML file.")


def columns_option(command: Command) -> Command:
    """Add the --columns option."""
    return click.option(
        "--columns", type=FILE, metavar="FILE",
        help="A columns file (TOML): which column is which channel, in which unit; or a folder of "
             "them, of which the one is taken whose [signature] fits the log.",
    )(command)


def declare_option(command: Command) -> Command:
    """Add the --declare option."""
    return click.option(
        "--declare", "declared", multiple=True, metavar="CHANNEL=VALUE",
        help="State what the recorder doesn't hold, such as flap_deg=0 or gear_down=true.",
    )(command)


def json_option(command: Command) -> Command:
    """Add the --json option."""
    return click.option("--json", "as_json", is_flag=True,
                        help="Print JSON instead of text.")(command)


@contextmanager
def outside_the_model(command: str) -> Iterator[None]:
    """Turn the physics' refusal of a value outside its range into the user's problem."""
    try:
        yield
    except ValueError as error:
        raise Problem(str(error).rstrip("."), command, "check the values given") from None


def units_option(said: str) -> Callable[[Command], Command]:
    """Return the --units option of a command that says `said` in them."""
    return click.option(
        "--units", type=click.Choice(["kt-ft", "kmh-m"]), default="kt-ft", show_default=True,
        help=f"Units of {said}: knots and feet, or km/h and metres.")


def clock_option(said: str) -> Callable[[Command], Command]:
    """Return the --clock option of a command that says `said` on it."""
    return click.option(
        "--clock", type=click.Choice(["elapsed", "utc"]), default="elapsed", show_default=True,
        help=f"Clock of {said}; UTC where the log has a date.")


def report_option(said: str, default: str | None = None, *, registered: bool = False
                  ) -> Callable[[Command], Command]:
    """Return the --report option: as a page, a PDF, or both; or in a format `registered`."""
    kind = ReportChoice if registered else click.Choice
    return click.option("--report", type=kind(["html", "pdf", "both"]), default=default,
                        show_default=default is not None, help=said)


def report_formats_of(report: str) -> tuple[str, ...]:
    """Return the formats that --report asks for."""
    return ("html", "pdf") if report == "both" else (report,)


def paper_option(said: str) -> Callable[[Command], Command]:
    """Return the --paper option of a command that writes `said` as a PDF."""
    return click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4",
                        show_default=True, help=f"Paper of {said}.")


def deidentify_option(said: str) -> Callable[[Command], Command]:
    """Return the --deidentify option."""
    return click.option("--deidentify", is_flag=True, help=said)


def air_options(command: Command) -> Command:
    """Add the options that give the air's temperature at all altitudes."""
    for option in (
        click.option("--isa-deviation", type=Number(), metavar="DEGC",
                     help="Or deviation from the standard atmosphere [degC]; 0 where neither is "
                     "given."),
        click.option("--temperature", type=Number(), metavar="DEGC",
                     help="Static air temperature for the true airspeed [degC], at all altitudes."),
    ):
        command = option(command)
    return command


def air_temperature(temperature: float | None, isa_deviation: float | None) -> dict[str, float]:
    """Return what `air_options` were given as the keywords of `limit_envelope`, in kelvin.

    Raises UsageError where both were given.
    """
    from loganalyze.record.units import ZERO_CELSIUS

    if temperature is None:
        return {"isa_deviation": isa_deviation or 0.0}
    if isa_deviation is not None:
        raise click.UsageError("Give --temperature or --isa-deviation, not both.")
    return {"temperature": temperature + ZERO_CELSIUS}


def say(text: str) -> None:
    """Print text that quotes names of files, columns or aircraft: controls made visible."""
    from loganalyze.text.visible_text import visible

    click.echo(visible(text))


def print_json(value: object) -> None:
    """Print a value as JSON; NaN isn't allowed, and controls are escaped."""
    from loganalyze.text.visible_text import visible

    text = json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False)
    if visible(text) != text:
        text = "".join(
            character if visible(character) == character else json.dumps(character)[1:-1]
            for character in text
        )
    click.echo(text)


def parsed_states(declared: Sequence[str]) -> dict[str, float]:
    """Return declared states as they were written: `flap_deg=20` is {"flap_deg": 20.0}.

    Raises Problem for one that isn't CHANNEL=VALUE.
    """
    from loganalyze.sheets.limit_conditions import DISCRETE_STATES

    words = {str(word).casefold(): code for word, code in DISCRETE_STATES.items()}
    stated: dict[str, float] = {}
    for text in declared:
        key, sign, value = (part.strip() for part in text.partition("="))
        try:
            number = words[value.casefold()] if value.casefold() in words else float(value)
        except ValueError:
            number = math.nan
        if key and sign and math.isfinite(number):
            stated[key] = number
        else:
            raise Problem(f'"{text}" declares no state', "--declare",
                          "write CHANNEL=VALUE, such as flap_deg=0 or gear_down=true")
    return stated


def states_in_si(stated: Mapping[str, float], sheet: LimitsSheet) -> dict[str, float]:
    """Return declared states by channel, in SI: {"flap_deg": 20.0} is {"flap": 0.349...}.

    Raises Problem for a misspelt channel, a missing unit, or a state that nothing in the sheet
    depends on: a misspelt name must not pass for a declaration.
    """
    from pydantic_core import PydanticCustomError

    from loganalyze.sheets.limit_conditions import channel_and_unit

    wanted = [limit.conditions for limit in (*sheet.limit, *sheet.ceiling)]
    wanted += [row.conditions for row in sheet.airspeed.position_tables]
    asked = sorted({condition.channel for conditions in wanted for condition in conditions})
    states = {}
    for key, value in stated.items():
        try:
            channel, unit = channel_and_unit(key)
        except PydanticCustomError as error:
            context = error.context or {}
            raise Problem(str(context["what"]), "--declare", str(context["hint"])) from None
        if channel not in asked:
            raise Problem(f"nothing in the limits sheet depends on {channel}", "--declare",
                          f"it asks for {', '.join(asked)}" if asked else "leave it out")
        states[channel] = value * unit.factor + unit.offset if unit else value
    return states


def crossing_rows(crossings: Iterable[Crossing]) -> list[dict[str, Any]]:
    """Return crossings of limits as rows of JSON, in feet, knots and degrees Celsius."""
    from loganalyze.record.units import KNOT

    return [{"below": crossing.below, "above": crossing.above,
             **air_row(crossing.pressure_altitude, crossing.true_airspeed, crossing.temperature),
             "limit_airspeed_kt": round(crossing.limit_airspeed / KNOT, 6)}
            for crossing in crossings]


def air_row(altitude: float, true_airspeed: float, temperature: float) -> dict[str, float]:
    """Return a pressure altitude [m], a true airspeed [m/s] and a temperature [K] as JSON has them.
    """
    from loganalyze.air import atmosphere
    from loganalyze.record.units import FOOT, KNOT, ZERO_CELSIUS

    return {"pressure_altitude_ft": round(altitude / FOOT, 6),
            "true_airspeed_kt": round(true_airspeed / KNOT, 6),
            "static_air_temperature_degc": round(temperature - ZERO_CELSIUS, 6),
            "isa_deviation_degc": round(float(atmosphere.isa_deviation(altitude, temperature)), 6)}
