"""``loganalyze crossover``: where an airspeed limit and a Mach limit meet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from loganalyze.cli.shared_options import (
    FILE,
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

if TYPE_CHECKING:
    from loganalyze.air.crossover import CrossoverSteps


@click.command("crossover")
@click.option("--cas", type=Number(0, min_open=True), metavar="KT",
              help="Calibrated airspeed [kt].")
@click.option("--mach", type=Number(0, min_open=True), metavar="MACH",
              help="Mach number.")
@limits_option(required=False)
@declare_option
@json_option
@click.option("--steps", is_flag=True, help="Work it out step by step, with formulas and sources.")
@click.option("--handout", type=FILE, metavar="FILE",
              help="Write the steps as a PDF to print, a page a crossover; with --limits.")
@click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True,
              help="Paper of the handout.")
def command(
    cas: float | None,
    mach: float | None,
    limits: Path | None,
    declared: tuple[str, ...],
    as_json: bool,
    steps: bool,
    handout: Path | None,
    paper: Literal["A4", "Letter"],
) -> None:
    """Give the pressure altitude at which a CAS and a Mach number are the same speed.

    Either --cas and --mach (closed form), or --limits: every altitude at which the sheet's
    governing limit changes, none or several.
    """
    if as_json and (steps or handout is not None):
        raise click.UsageError("--steps and --handout are text; leave out --json.")
    if limits is not None and cas is None and mach is None:
        _of_sheet(limits, declared, as_json, steps, handout, paper)
    elif limits is None and cas is not None and mach is not None and not declared:
        if handout is not None:
            raise click.UsageError("--handout needs --limits: it names the limits of a sheet.")
        _of_speeds(cas, mach, as_json, steps)
    else:
        raise click.UsageError("Give --cas and --mach, or --limits alone.")


def _of_speeds(cas: float, mach: float, as_json: bool, steps: bool) -> None:
    from loganalyze.air.crossover import crossover_steps
    from loganalyze.record.units import FOOT, KNOT
    from loganalyze.text.language import verdict_sentences

    try:
        worked = crossover_steps(cas * KNOT, mach)
        altitude = worked.pressure_altitude / FOOT
    except ValueError as error:
        raise Problem(f"{cas:g} kt and Mach {mach:g} meet nowhere in the standard atmosphere",
                      "--cas, --mach", f"check the two speeds ({error})") from None
    if as_json:
        print_json({"calibrated_airspeed_kt": cas, "mach": mach,
                    "pressure_altitude_ft": round(altitude, 6)})
    else:
        click.echo(verdict_sentences.crossover(cas, mach, altitude))
        if steps:
            _print_steps(worked, "VMO", "MMO", worked.pressure_altitude)


def _of_sheet(limits: Path, declared: tuple[str, ...], as_json: bool, steps: bool,
              handout: Path | None, paper: Literal["A4", "Letter"]) -> None:
    from loganalyze.limits.limit_envelope import closed_form, crossovers
    from loganalyze.sheets.limits_sheet import read_limits
    from loganalyze.text.language import verdict_sentences

    sheet = read_limits(limits)
    states = states_in_si(parsed_states(declared), sheet)
    crossings = crossovers(sheet, declared=states)
    found = crossing_rows(crossings)
    if as_json:
        print_json({"aircraft": sheet.aircraft, "crossovers": found})
        return
    click.echo(verdict_sentences.crossovers(sheet.aircraft, found))
    if steps:
        for one in crossings:
            _print_steps(closed_form(sheet, one), one.below, one.above, one.pressure_altitude)
    if handout is not None:
        from loganalyze.show.pdf.pdf_report import report_pdf
        from loganalyze.show.report.crossover_handout import crossover_handout
        from loganalyze.text.presentation import Presentation

        handout.write_bytes(report_pdf(
            crossover_handout(sheet, crossings, Presentation()), paper))


def _print_steps(worked: CrossoverSteps | None, below: str, above: str, altitude: float) -> None:
    """Print the steps to the altitude [m] of a crossover, or that it has no closed form."""
    from loganalyze.text.language import crossover_words
    from loganalyze.text.presentation import Presentation

    lines = ([crossover_words.no_steps(below, above, altitude, Presentation())] if worked is None
             else crossover_words.step_lines(worked, below, above, Presentation()))
    click.echo("\n" + "\n".join(lines))
