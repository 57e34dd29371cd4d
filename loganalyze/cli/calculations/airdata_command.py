"""``loganalyze airdata``: all speeds from any one of them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from loganalyze.cli.shared_options import (
    Number,
    declare_option,
    json_option,
    limits_option,
    outside_the_model,
    parsed_states,
    print_json,
    states_in_si,
    units_option,
)
from loganalyze.problems import Problem

if TYPE_CHECKING:
    from loganalyze.record.flight_log import FlightLog
    from loganalyze.sheets.limits_sheet import LimitsSheet

SPEEDS = ("cas", "eas", "tas", "mach", "ias")
TEMPERATURES = ("sat", "tat", "isa_deviation")
ALTITUDES = ("pressure_altitude", "indicated_altitude")

NOT_OF_A_POINT = ("column_says_calibrated",)
"""Findings about a recorder's column, which a point given by hand doesn't have."""

_SPEED = Number(min=0)


@click.command("airdata")
@click.option("--cas", type=_SPEED, metavar="KT", help="Calibrated airspeed [kt].")
@click.option("--eas", type=_SPEED, metavar="KT", help="Equivalent airspeed [kt].")
@click.option("--tas", type=_SPEED, metavar="KT", help="True airspeed [kt].")
@click.option("--mach", type=_SPEED, metavar="MACH", help="Mach number.")
@click.option("--ias", type=_SPEED, metavar="KT",
              help="Indicated airspeed [kt]; corrected as the --limits sheet says.")
@click.option("--pressure-altitude", type=Number(), metavar="FT", help="Pressure altitude [ft].")
@click.option("--indicated-altitude", type=Number(), metavar="FT",
              help="Or indicated altitude [ft], with --altimeter-setting.")
@click.option("--altimeter-setting", type=Number(600, 1200), metavar="HPA",
              help="Altimeter setting (QNH) [hPa].")
@click.option("--sat", type=Number(), metavar="DEGC", help="Static air temperature [degC].")
@click.option("--tat", type=Number(), metavar="DEGC",
              help="Total air temperature [degC], with --recovery-factor.")
@click.option("--recovery-factor", type=Number(0, 1), metavar="K",
              help="Part of the temperature rise that the probe recovers, 0 to 1.")
@click.option("--isa-deviation", type=Number(), metavar="DEGC",
              help="Deviation from the standard atmosphere [degC].")
@limits_option(required=False)
@units_option("what is printed; numbers given and JSON stay in knots and feet")
@declare_option
@json_option
def command(limits: Path | None, units: str, declared: tuple[str, ...], as_json: bool,
            **given: float | None) -> None:
    """Compute all speeds from one of them, a pressure altitude and, for true airspeed, a
    temperature.

    With --limits, also the margins to the sheet's limits at this one point.
    """
    _check(given, limits, declared)
    stated = parsed_states(declared)
    with outside_the_model("airdata"):
        margins = None
        if limits is not None:
            from loganalyze.sheets.limits_sheet import read_limits

            sheet = read_limits(limits)
            states = states_in_si(stated, sheet)
            if given["ias"] is not None:
                from loganalyze.airdata.air_data import recover
                from loganalyze.record.units import FOOT, KNOT

                log = _log(limits, _altitude(given), ias=given["ias"] * KNOT)
                air = recover(log, sheet, states)
                given = {**given, "ias": None, "indicated_altitude": None,
                         "cas": float(air.calibrated_airspeed[0]) / KNOT,
                         "pressure_altitude": float(air.pressure_altitude[0]) / FOOT}
                _check_corrected(given, limits)
            else:
                log = None
            point = _computed_speeds(given)
            margins = _margins(log or _log_of(point, limits), sheet, states)
        else:
            point = _computed_speeds(given)
    if as_json:
        print_json(point | ({"margins": margins} if margins is not None else {}))
        return
    from loganalyze.text.language import air_data_text
    from loganalyze.text.presentation import UNITS

    click.echo("\n".join(air_data_text.point_lines(point, UNITS[units])))
    for margin in margins["limits"] if margins else ():
        click.echo(air_data_text.margin_line(margin, UNITS[units]))
    for sentence in margins["taken"] if margins else ():
        click.echo(sentence)


def _check(given: dict[str, float | None], limits: Path | None, declared: tuple[str, ...]) -> None:
    def named(names: tuple[str, ...]) -> list[str]:
        return [name for name in names if given[name] is not None]

    def listed(names: tuple[str, ...]) -> str:
        return ", ".join(f"--{name.replace('_', '-')}" for name in names)

    if len(named(SPEEDS)) != 1:
        raise click.UsageError(f"Give exactly one speed: {listed(SPEEDS)}.")
    if len(named(ALTITUDES)) != 1:
        raise click.UsageError(f"Give exactly one altitude: {listed(ALTITUDES)}.")
    if (given["indicated_altitude"] is None) != (given["altimeter_setting"] is None):
        raise click.UsageError("--indicated-altitude and --altimeter-setting go together.")
    if len(named(TEMPERATURES)) > 1:
        raise click.UsageError(f"Give at most one temperature: {listed(TEMPERATURES)}.")
    if (given["tat"] is None) != (given["recovery_factor"] is None):
        raise click.UsageError("--tat and --recovery-factor go together; it is 1 for a probe "
                               "that reads true total temperature.")
    if given["tas"] is not None and not named(TEMPERATURES):
        raise click.UsageError(f"--tas needs a temperature: {listed(TEMPERATURES)}.")
    if limits is None and (given["ias"] is not None or declared):
        raise click.UsageError("--ias and --declare need --limits.")


def _check_corrected(given: dict[str, float | None], limits: Path) -> None:
    if given["cas"] != given["cas"] or given["pressure_altitude"] != given["pressure_altitude"]:
        raise Problem("the indicated airspeed lies outside the correction tables, or which of "
                      "them applies isn't known", str(limits),
                      "give --cas, or --declare the flap angle, such as flap_deg=0")


def _altitude(given: dict[str, float | None]) -> float:
    from loganalyze.air.atmosphere import pressure_altitude_from_setting
    from loganalyze.record.units import FOOT

    if given["pressure_altitude"] is not None:
        return given["pressure_altitude"] * FOOT
    indicated, setting = given["indicated_altitude"], given["altimeter_setting"]
    assert indicated is not None
    assert setting is not None
    return float(pressure_altitude_from_setting(indicated * FOOT, setting * 100.0))


def _static_temperature(given: dict[str, float | None], altitude: float) -> float | None:
    """Static air temperature [K] where it doesn't need the Mach number."""
    from loganalyze.air import atmosphere
    from loganalyze.record.units import KNOT, ZERO_CELSIUS

    if given["sat"] is not None:
        return given["sat"] + ZERO_CELSIUS
    if given["isa_deviation"] is not None:
        return float(atmosphere.temperature(altitude)) + given["isa_deviation"]
    if given["tat"] is not None and given["tas"] is not None:
        # T_t = T_s (1 + 0.2 K M^2) with M^2 = V^2 / (gamma R T_s), solved for T_s.
        rise = 0.2 * (given["recovery_factor"] or 0.0) * (given["tas"] * KNOT) ** 2
        return given["tat"] + ZERO_CELSIUS - rise / (atmosphere.GAMMA * atmosphere.R_AIR)
    return None


def _computed_speeds(given: dict[str, float | None]) -> dict[str, Any]:
    from loganalyze.air import airspeed, atmosphere, probes
    from loganalyze.record.units import FOOT, KNOT, ZERO_CELSIUS

    altitude = _altitude(given)
    temperature = _static_temperature(given, altitude)
    if given["cas"] is not None:
        mach = float(airspeed.mach_from_cas(given["cas"] * KNOT, altitude))
    elif given["eas"] is not None:
        mach = float(airspeed.mach_from_eas(given["eas"] * KNOT, altitude))
    elif given["tas"] is not None:
        assert temperature is not None
        mach = float(airspeed.mach_from_tas(given["tas"] * KNOT, temperature))
    else:
        assert given["mach"] is not None
        mach = given["mach"]
    if given["tat"] is not None and temperature is None:
        temperature = float(probes.static_temperature(
            given["tat"] + ZERO_CELSIUS, mach, given["recovery_factor"] or 0.0))
    pressure = atmosphere.P0 * float(atmosphere.pressure_ratio(altitude))
    point: dict[str, Any] = {
        "pressure_altitude_ft": altitude / FOOT,
        "calibrated_airspeed_kt": float(airspeed.cas_from_mach(mach, altitude)) / KNOT,
        "equivalent_airspeed_kt": float(airspeed.eas_from_mach(mach, altitude)) / KNOT,
        "true_airspeed_kt": None,
        "mach": mach,
        "static_air_temperature_degc": None,
        "total_air_temperature_degc": None,
        "isa_deviation_degc": None,
        "density_altitude_ft": None,
        "speed_of_sound_kt": None,
        "static_pressure_hpa": pressure / 100,
        "impact_pressure_hpa": pressure * float(airspeed.impact_ratio_from_mach(mach)) / 100,
    }
    if temperature is not None:
        point |= {
            "true_airspeed_kt": float(airspeed.tas_from_mach(mach, temperature)) / KNOT,
            "static_air_temperature_degc": temperature - ZERO_CELSIUS,
            "total_air_temperature_degc":
                float(probes.total_temperature(temperature, mach, 1.0)) - ZERO_CELSIUS,
            "isa_deviation_degc": float(atmosphere.isa_deviation(altitude, temperature)),
            "density_altitude_ft":
                float(atmosphere.density_altitude(altitude, temperature)) / FOOT,
            "speed_of_sound_kt": float(atmosphere.speed_of_sound(temperature)) / KNOT,
        }
    return {key: value if value is None else round(value, 9) for key, value in point.items()}


def _log(path: Path, altitude: float, *, ias: float | None = None, cas: float | None = None,
         temperature: float | None = None) -> FlightLog:
    """Return a log of this one instant."""
    import numpy as np

    from loganalyze.record.flight_log import Channel, FlightLog, Source

    values = {"pressure_altitude": altitude, "indicated_airspeed": ias,
              "calibrated_airspeed": cas, "static_air_temperature": temperature}
    channels = {name: Channel(np.array([value]), interval_s=1.0, column=name,
                              known_by="command line")
                for name, value in values.items() if value is not None}
    return FlightLog(np.zeros(1), channels, Source(path), interval_s=1.0)


def _log_of(point: dict[str, Any], path: Path) -> FlightLog:
    from loganalyze.record.units import FOOT, KNOT, ZERO_CELSIUS

    sat = point["static_air_temperature_degc"]
    return _log(path, point["pressure_altitude_ft"] * FOOT,
                cas=point["calibrated_airspeed_kt"] * KNOT,
                temperature=None if sat is None else sat + ZERO_CELSIUS)


def _margins(log: FlightLog, sheet: LimitsSheet, states: dict[str, float]) -> dict[str, Any]:
    from loganalyze.events.analysis import analyze
    from loganalyze.limits.evaluation import STATES
    from loganalyze.text.flight_account import flight_facts

    analysis = analyze(log, sheet, declared=states)
    facts = flight_facts(analysis)
    rows = []
    for smallest in facts.smallest_margins:
        name = smallest.limit
        column = "state" if name is None else f"state_{analysis.limit_names.index(name)}"
        rows.append({
            "limit": name,
            "state": STATES[int(analysis.columns[column][0])],
            "limit_airspeed_kt": smallest.limit_airspeed_kt,
            "margin_kt": smallest.margin_kt,
            "margin_mach": smallest.margin_mach,
            **({} if smallest.unit is None else {"margin": smallest.margin,
                                                 "unit": smallest.unit}),
        })
    taken = [finding.sentence for finding in facts.taken if finding.code not in NOT_OF_A_POINT]
    return {"limits": rows, "taken": taken}
