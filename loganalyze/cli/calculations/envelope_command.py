"""``loganalyze envelope``: the limit airspeed against pressure altitude."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from loganalyze.cli.shared_options import (
    FILE,
    Number,
    air_options,
    air_temperature,
    declare_option,
    json_option,
    limits_option,
    outside_the_model,
    parsed_states,
    print_json,
    say,
    states_in_si,
    units_option,
)
from loganalyze.problems import Problem

if TYPE_CHECKING:
    from loganalyze.limits.limit_envelope import Envelope

MOST_ROWS = 10_000


@click.command("envelope")
@limits_option(required=True)
@click.option("--from", "lowest", type=Number(), default=0.0, show_default=True, metavar="FT",
              help="Lowest pressure altitude [ft].")
@click.option("--to", "highest", type=Number(), default=40000.0, show_default=True, metavar="FT",
              help="Highest pressure altitude [ft].")
@click.option("--step", type=Number(0, min_open=True), default=2000.0,
              show_default=True, metavar="FT", help="Step of the table [ft].")
@air_options
@units_option("what is printed and drawn; numbers given and JSON stay in knots and feet")
@click.option("--plot", type=FILE, metavar="FILE", help="Write the plot (.png, .svg or .pdf).")
@click.option("--overwrite", is_flag=True, help="Replace the plot if it exists.")
@declare_option
@json_option
def command(
    limits: Path,
    lowest: float,
    highest: float,
    step: float,
    temperature: float | None,
    isa_deviation: float | None,
    units: str,
    plot: Path | None,
    overwrite: bool,
    declared: tuple[str, ...],
    as_json: bool,
) -> None:
    """Print the limit airspeed against pressure altitude, and plot it with --plot.

    Limits with conditions count where --declare says that they hold.
    """
    air: dict[str, Any] = {**air_temperature(temperature, isa_deviation)}
    if not lowest < highest:
        raise click.UsageError("--from must be lower than --to.")
    if (highest - lowest) / step > MOST_ROWS:
        raise click.UsageError(f"That makes over {MOST_ROWS:,} rows: give a greater --step.")
    if plot is not None:
        _check_plot(plot, overwrite)
    import numpy as np

    from loganalyze.limits.limit_envelope import limit_envelope
    from loganalyze.record.units import FOOT
    from loganalyze.sheets.limits_sheet import read_limits
    from loganalyze.text.presentation import UNITS, Presentation

    how = Presentation(units=UNITS[units])
    sheet = read_limits(limits)
    air["declared"] = states_in_si(parsed_states(declared), sheet)
    names = [limit.name for limit in sheet.limit]
    with outside_the_model("envelope"):
        heights = np.append(np.arange(lowest, highest, step), highest)
        envelope = limit_envelope(sheet, heights * FOOT, **air)
        if plot is not None:
            from loganalyze.show.figures.envelope_figure import envelope_figure
            from loganalyze.show.figures.figure_style import save_figure

            fine = limit_envelope(sheet, np.linspace(lowest, highest, 801) * FOOT, **air)
            save_figure(envelope_figure(fine, sheet, how), plot)
    rows = _rows(envelope, names)
    if as_json:
        print_json({"aircraft": sheet.aircraft, "envelope": rows})
        return
    from loganalyze.show.terminal import log_inspection
    from loganalyze.text.language import air_data_text, command_labels

    say(sheet.aircraft)
    say("\n".join(log_inspection.table(air_data_text.envelope_rows(rows, how.units))))
    if plot is not None:
        click.echo(command_labels.PLOT_IN.format(plot=plot))


def _check_plot(plot: Path, overwrite: bool) -> None:
    if plot.suffix not in (".png", ".svg", ".pdf"):
        raise Problem("no plot can be written in this format", str(plot),
                      "end the name in .png, .svg or .pdf")
    if plot.exists() and not overwrite:
        raise Problem("the file exists already", str(plot),
                      "give another name, or --overwrite to replace it")


def _rows(envelope: Envelope, names: list[str]) -> list[dict[str, Any]]:
    from loganalyze.record.units import FOOT, KNOT, ZERO_CELSIUS
    from loganalyze.text.plain_values import rounded

    return [
        {
            "pressure_altitude_ft": rounded(float(height) / FOOT),
            "governing_limit": names[code] if code < len(names) else None,
            "limit_airspeed_kt": rounded(float(speed) / KNOT),
            "limit_mach": rounded(float(mach)),
            "true_airspeed_kt": rounded(float(true) / KNOT),
            "static_air_temperature_degc": rounded(float(air) - ZERO_CELSIUS),
        }
        for height, code, speed, mach, true, air in zip(
            envelope.pressure_altitude, envelope.governing, envelope.limit_airspeed,
            envelope.limit_mach, envelope.true_airspeed, envelope.temperature, strict=True)
    ]
