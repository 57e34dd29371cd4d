"""``loganalyze crossover``: where an airspeed limit and a Mach limit meet."""

from __future__ import annotations

from pathlib import Path

import click

from loganalyze.cli.shared_options import (
    Number,
    crossing_rows,
    declare_option,
    json_option,
    limits_option,
    parsed_states,
    print_json,
    states_in_si,
)
from loganalyze.problems import Problem


@click.command("crossover")
@click.option("--cas", type=Number(0, min_open=True), metavar="KT",
              help="Calibrated airspeed [kt].")
@click.option("--mach", type=Number(0, min_open=True), metavar="MACH",
              help="Mach number.")
@limits_option(required=False)
@declare_option
@json_option
def command(
    cas: float | None,
    mach: float | None,
    limits: Path | None,
    declared: tuple[str, ...],
    as_json: bool,
) -> None:
    """Give the pressure altitude at which a CAS and a Mach number are the same speed.

    Either --cas and --mach (closed form), or --limits: every altitude at which the sheet's
    governing limit changes, none or several.
    """
    if limits is not None and cas is None and mach is None:
        _of_sheet(limits, declared, as_json)
    elif limits is None and cas is not None and mach is not None and not declared:
        _of_speeds(cas, mach, as_json)
    else:
        raise click.UsageError("Give --cas and --mach, or --limits alone.")


def _of_speeds(cas: float, mach: float, as_json: bool) -> None:
    from loganalyze.air.airspeed import crossover_pressure_altitude
    from loganalyze.record.units import FOOT, KNOT
    from loganalyze.text.language import verdict_sentences

    try:
        altitude = float(crossover_pressure_altitude(cas * KNOT, mach)) / FOOT
    except ValueError as error:
        raise Problem(f"{cas:g} kt and Mach {mach:g} meet nowhere in the standard atmosphere",
                      "--cas, --mach", f"check the two speeds ({error})") from None
    if as_json:
        print_json({"calibrated_airspeed_kt": cas, "mach": mach,
                    "pressure_altitude_ft": round(altitude, 6)})
    else:
        click.echo(verdict_sentences.crossover(cas, mach, altitude))


def _of_sheet(limits: Path, declared: tuple[str, ...], as_json: bool) -> None:
    from loganalyze.limits.limit_envelope import crossovers
    from loganalyze.sheets.limits_sheet import read_limits
    from loganalyze.text.language import verdict_sentences

    sheet = read_limits(limits)
    states = states_in_si(parsed_states(declared), sheet)
    found = crossing_rows(crossovers(sheet, declared=states))
    if as_json:
        print_json({"aircraft": sheet.aircraft, "crossovers": found})
    else:
        click.echo(verdict_sentences.crossovers(sheet.aircraft, found))
