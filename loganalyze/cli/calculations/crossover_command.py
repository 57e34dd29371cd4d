"""``loganalyze crossover``: where an airspeed limit and a Mach limit meet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from loganalyze.cli.shared_options import (
    FILE,
    Number,
    air_options,
    air_row,
    air_temperature,
    crossing_rows,
    declare_option,
    json_option,
    limits_option,
    outside_the_model,
    paper_option,
    parsed_states,
    print_json,
    say,
    states_in_si,
    units_option,
)
from loganalyze.problems import Problem

if TYPE_CHECKING:
    from loganalyze.air.crossover import CrossoverSteps


@click.command("crossover")
@click.option("--cas", type=Number(0, min_open=True), metavar="KT",
              help="Calibrated airspeed [kt].")
@click.option("--mach", type=Number(0, min_open=True), metavar="MACH",
              help="Mach number.")
@limits_option(required=False)
@air_options
@units_option("what is printed; numbers given and JSON stay in knots and feet")
@declare_option
@json_option
@click.option("--steps", is_flag=True, help="Work it out step by step, with formulas and sources.")
@click.option("--handout", type=FILE, metavar="FILE",
              help="Write the steps as a PDF to print, a page a crossover; with --limits.")
@paper_option("the handout")
def command(
    cas: float | None,
    mach: float | None,
    limits: Path | None,
    temperature: float | None,
    isa_deviation: float | None,
    units: str,
    declared: tuple[str, ...],
    as_json: bool,
    steps: bool,
    handout: Path | None,
    paper: Literal["A4", "Letter"],
) -> None:
    """Give the pressure altitude at which a CAS and a Mach number are the same speed.

    Either --cas and --mach (closed form), or --limits: every altitude at which the sheet's
    governing limit changes, none or several. The air's temperature gives the true airspeed there,
    and moves the crossings of limits that are true airspeeds.
    """
    air = air_temperature(temperature, isa_deviation)
    if as_json and (steps or handout is not None):
        raise click.UsageError("--steps and --handout are text; leave out --json.")
    if limits is not None and cas is None and mach is None:
        _of_sheet(limits, declared, air, units, as_json, steps, handout, paper)
    elif limits is None and cas is not None and mach is not None and not declared:
        if handout is not None:
            raise click.UsageError("--handout needs --limits: it names the limits of a sheet.")
        _of_speeds(cas, mach, air, units, as_json, steps)
    else:
        raise click.UsageError("Give --cas and --mach, or --limits alone.")


def _of_speeds(cas: float, mach: float, air: dict[str, float], units: str, as_json: bool,
               steps: bool) -> None:
    from loganalyze.air import airspeed, atmosphere
    from loganalyze.air.crossover import crossover_steps
    from loganalyze.record.units import KNOT
    from loganalyze.text.language import air_data_text, crossover_words
    from loganalyze.text.presentation import UNITS

    try:
        worked = crossover_steps(cas * KNOT, mach)
        altitude = worked.pressure_altitude
    except ValueError as error:
        raise Problem(f"{cas:g} kt and Mach {mach:g} meet nowhere in the standard atmosphere",
                      "--cas, --mach", f"check the two speeds ({error})") from None
    with outside_the_model("crossover"):
        temperature = (air["temperature"] if "temperature" in air
                       else float(atmosphere.temperature(altitude)) + air["isa_deviation"])
        found = air_row(altitude, float(airspeed.tas_from_mach(mach, temperature)), temperature)
    if as_json:
        print_json({"calibrated_airspeed_kt": cas, "mach": mach, **found})
    else:
        click.echo(air_data_text.crossover(cas, mach, found, UNITS[units]))
        if steps:
            _print_steps(worked, *crossover_words.BARE, altitude, units)


def _of_sheet(limits: Path, declared: tuple[str, ...], air: dict[str, float], units: str,
              as_json: bool, steps: bool, handout: Path | None,
              paper: Literal["A4", "Letter"]) -> None:
    from loganalyze.limits.limit_envelope import closed_form, crossovers
    from loganalyze.sheets.limits_sheet import read_limits
    from loganalyze.text.language import air_data_text
    from loganalyze.text.presentation import UNITS

    sheet = read_limits(limits)
    states = states_in_si(parsed_states(declared), sheet)
    with outside_the_model("crossover"):
        crossings = crossovers(sheet, declared=states, **air)
        found = crossing_rows(crossings)
    if as_json:
        print_json({"aircraft": sheet.aircraft, "crossovers": found})
        return
    say(air_data_text.crossovers(sheet.aircraft, found, UNITS[units]))
    if steps:
        for crossing in crossings:
            _print_steps(
                closed_form(sheet, crossing),
                crossing.below,
                crossing.above,
                crossing.pressure_altitude,
                units,
            )
    if handout is not None:
        from loganalyze.show.pdf.pdf_report import report_pdf
        from loganalyze.show.report.crossover_handout import crossover_handout
        from loganalyze.text.presentation import Presentation

        handout.write_bytes(report_pdf(
            crossover_handout(sheet, crossings, Presentation(units=UNITS[units])), paper))


def _print_steps(worked: CrossoverSteps | None, below: str, above: str, altitude: float,
                 units: str) -> None:
    """Print the steps to the altitude [m] of a crossover, or that it has no closed form."""
    from loganalyze.text.language import crossover_words
    from loganalyze.text.presentation import UNITS, Presentation

    how = Presentation(units=UNITS[units])
    lines = ([crossover_words.no_steps(below, above, altitude, how)] if worked is None
             else crossover_words.step_lines(worked, below, above, how))
    click.echo("\n" + "\n".join(lines))
