"""The crossover worked step by step, in words, formulas and numbers.

Formulas are written as `loganalyze.text.formulas` says.
"""

from __future__ import annotations

import textwrap

from loganalyze.air.atmosphere import A0, G0, P0, R_AIR, T0
from loganalyze.air.crossover import CrossoverSteps
from loganalyze.record.units import FOOT, KNOT
from loganalyze.text.formulas import WorkedStep, plain_formula
from loganalyze.text.presentation import Presentation

HANDOUT_TITLE = "Where an airspeed limit and a Mach limit meet"
HANDOUT_FOOTER = "loganalyze {version} · for instruction, not for use in flight"
TITLE = "The crossover of {below} and {above}, worked step by step"
INTRODUCTION = (
    "{below} is an airspeed, {above} a Mach number. At one pressure altitude, the crossover, they "
    "are the same speed: below it {below} is reached first, above it {above}. At the crossover "
    "both give the airspeed indicator the same impact pressure, and that fixes the static "
    "pressure, hence the altitude.")
GIVEN = "Given: {below} {cas} CAS and {above} Mach {mach}."
BARE = ("the airspeed", "the Mach number")
"""What the two are called where they are numbers given, and no limits of a sheet."""
NOT_IN_IT = (
    "No air temperature of the day appears in any step. (Sea-level values and the layers' "
    "temperatures are constants that define the standard atmosphere, by which every altimeter "
    "is made.) On a warm day and on a cold one the crossover is at the same pressure altitude.")
CHECK = "Check, with the full formulas: Mach {mach} at {altitude} is {cas} CAS, the {below} given."
ROUNDING = "Numbers are rounded where they are printed; each step carries more digits."
NOT_CLOSED = (
    "{below} and {above} meet at {altitude}. Their crossover has no closed form here: only a "
    "constant calibrated airspeed and a constant Mach number have one; others are searched for.")
NONE = "No two limits of the sheet cross: there is no crossover to work out."
SOURCES = {
    "isentropic": "NACA Report 1135 (1953), eq. 44",
    "rayleigh": "NACA Report 1135 (1953), eq. 100",
    "sea_level": "NACA Report 1135 (1953), eq. {number}, at sea level of ISO 2533:1975",
    "quotient": "definition of the two quantities of steps 1 and 2",
    "sloping": "ISO 2533:1975; US Standard Atmosphere 1976, eq. 33a solved for altitude",
    "level": "ISO 2533:1975; US Standard Atmosphere 1976, eq. 33b solved for altitude",
}


WIDE = 96
"""Letters a line of the terminal."""


def _pitot(mach: float, symbol: str) -> tuple[str, str, str]:
    """Return the right side of the pitot formula for a Mach number, and its source."""
    if mach <= 1:
        return (f"(1 + 0.2 {symbol}^{{2}})^{{3.5}} \N{MINUS SIGN} 1",
                f"(1 + 0.2 \N{MULTIPLICATION SIGN} {mach:.6f}^{{2}})^{{3.5}} \N{MINUS SIGN} 1",
                "isentropic")
    formula, numbers = (
        f"1.2^{{3.5}} 6^{{2.5}} {form}^{{7}} / (7 {form}^{{2}} \N{MINUS SIGN} 1)^{{2.5}} "
        "\N{MINUS SIGN} 1" for form in (symbol, f"{mach:.6f}"))
    return formula, numbers, "rayleigh"


def worked_steps(
    steps: CrossoverSteps, below: str, above: str, how: Presentation
) -> tuple[WorkedStep, ...]:
    """Return the four steps from an airspeed limit and a Mach limit to their crossover.

    Parameters
    ----------
    steps : CrossoverSteps
        As `crossover_steps` worked them out.
    below, above : str
        The names of the airspeed limit and of the Mach limit.
    how : Presentation
        In which units speeds and altitudes are put.
    """
    units = how.units
    per_speed = units.per_knot / KNOT
    by_mach, mach_numbers, mach_source = _pitot(steps.mach, "M")
    by_cas, cas_numbers, cas_source = _pitot(steps.sea_level_mach, "(CAS / a_{0})")
    sonic = {"isentropic": "44", "rayleigh": "100"}[cas_source]
    return (
        WorkedStep(
            f"From {above} to a ratio of pressures",
            f"At Mach {steps.mach:g} the impact pressure q_{{c}}, which the pitot tube adds to the "
            "static pressure p, is a fixed multiple of p, whatever the altitude.",
            f"q_{{c}} / p = {by_mach}",
            f"q_{{c}} / p = {mach_numbers} = {steps.impact_over_static:.6f}",
            SOURCES[mach_source]),
        WorkedStep(
            f"From {below} to an impact pressure",
            "The airspeed indicator knows only q_{c}. Calibrated airspeed is the speed that gives "
            "this q_{c} at sea level in the standard atmosphere, where "
            f"p_{{0}} = {P0:,.0f} Pa and the speed of sound a_{{0}} = "
            f"{A0 * per_speed:.3f} {units.speed}: "
            f"CAS / a_{{0}} = {steps.cas * per_speed:.3f} / {A0 * per_speed:.3f} = "
            f"{steps.sea_level_mach:.6f}.",
            f"q_{{c}} = p_{{0}} [{by_cas}]",
            f"q_{{c}} = {P0:,.0f} [{cas_numbers}] = {_pascals(steps.impact_pressure)} Pa",
            SOURCES["sea_level"].format(number=sonic)),
        WorkedStep(
            "From both to the static pressure",
            "At the crossover the two are one speed of one aircraft: q_{c} of step 2 is "
            "the q_{c} of step 1.",
            "p = q_{c} / (q_{c} / p)",
            f"p = {_pascals(steps.impact_pressure)} / {steps.impact_over_static:.6f} = "
            f"{_pascals(steps.pressure)} Pa, so p / p_{{0}} = {steps.pressure_ratio:.6f}",
            SOURCES["quotient"]),
        _altitude(steps, how),
    )


def _pascals(pressure: float) -> str:
    """Return a pressure [Pa] with five digits or more, so that what follows can be worked out."""
    return f"{pressure:,.1f}" if pressure >= 10_000 else f"{pressure:.3f}"


def step_lines(steps: CrossoverSteps, below: str, above: str, how: Presentation) -> list[str]:
    """Return the steps as lines for a terminal."""
    lines = []
    for number, step in enumerate(worked_steps(steps, below, above, how), start=1):
        lines += [f"{number}. {step.title}", f"   {step.why}", f"      {step.formula}",
                  f"      {step.numbers}", f"   [{step.source}]"]
    return [wrapped for line in [*lines, NOT_IN_IT, ROUNDING]
            for wrapped in _wrapped(plain_formula(line))]


def _wrapped(line: str) -> list[str]:
    indent = " " * (len(line) - len(line.lstrip()))
    return textwrap.wrap(line.strip(), WIDE, initial_indent=indent, subsequent_indent=indent)


def no_steps(below: str, above: str, altitude: float, how: Presentation) -> str:
    """Return that two limits that meet at an altitude [m] do so in no closed form."""
    return NOT_CLOSED.format(below=below, above=above, altitude=how.altitude(altitude / FOOT))


def _altitude(steps: CrossoverSteps, how: Presentation) -> WorkedStep:
    layer, minus = steps.layer, "\N{MINUS SIGN}"
    metres = steps.pressure_altitude
    result = f"{metres:,.1f} m"
    if how.units.altitude != "m":
        result += f" = {metres / FOOT * how.units.per_foot:,.0f} {how.units.altitude}"
    title = "From the static pressure to the altitude"
    why = ("Pressure altitude is by definition the altitude in the standard atmosphere at which "
           "this pressure is found.")
    base_pressure = layer.pressure_ratio
    ratio = "p / p_{0}" if layer.base == 0 else "p / p_{b}"
    value = steps.pressure_ratio / base_pressure
    if layer.base:
        why += (f" It lies in the layer from {layer.base:,.0f} m up, where p_{{b}} / p_{{0}} = "
                f"{base_pressure:.6f} and T_{{b}} = {layer.temperature:.2f} K; "
                f"p / p_{{b}} = {value:.6f}.")
    temperature = "T_{0}" if layer.base == 0 else "T_{b}"
    base = "" if layer.base == 0 else "h_{b} + "
    base_number = "" if layer.base == 0 else f"{layer.base:,.0f} + "
    if layer.lapse == 0:
        return WorkedStep(
            title, why, f"h = {base}(R {temperature} / g) ln(1 / ({ratio}))",
            f"h = {base_number}({R_AIR} \N{MULTIPLICATION SIGN} {layer.temperature:.2f} / {G0}) "
            f"ln(1 / {value:.6f}) = {result}", SOURCES["level"])
    lapse = abs(layer.lapse)
    sign = "" if layer.lapse < 0 else minus
    inside = f"1 {minus} ({ratio})^{{{sign}R L / g}}"
    exponent = R_AIR * lapse / G0
    inside_number = f"1 {minus} {value:.6f}^{{{sign}{exponent:.6f}}}"
    if layer.lapse > 0:
        inside = f"({ratio})^{{{minus}R L / g}} {minus} 1"
        inside_number = f"{value:.6f}^{{{minus}{exponent:.6f}}} {minus} 1"
    constants = (f"R = {R_AIR} J/(kg K), g = {G0} m/s^{{2}}, R L / g = {exponent:.6f}.")
    why += (f" Up to 11,000 m the standard temperature falls from T_{{0}} = {T0} K by L = {lapse} "
            f"K a metre; {constants}" if layer.base == 0 else
            f" There the standard temperature rises by L = {lapse} K a metre; {constants}")
    return WorkedStep(
        title, why, f"h = {base}({temperature} / L) [{inside}]",
        f"h = {base_number}({layer.temperature:.2f} / {lapse}) [{inside_number}] = {result}",
        SOURCES["sloping"])
