"""What is printed of speeds at a point, of crossovers and of the envelope, in the units asked for.

Values come in the units of their keys (``_kt``, ``_ft``, ``_degc``), as JSON has them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from loganalyze.text.en.number_format import mach
from loganalyze.text.presentation import Units

LABEL = 24
"""Characters of the label before a value."""

_POINT: tuple[tuple[str, str, str], ...] = (
    ("pressure altitude", "pressure_altitude_ft", "{:,.0f}"),
    ("calibrated airspeed", "calibrated_airspeed_kt", "{:.2f}"),
    ("equivalent airspeed", "equivalent_airspeed_kt", "{:.2f}"),
    ("true airspeed", "true_airspeed_kt", "{:.2f}"),
    ("Mach number", "mach", "{:.5f}"),
    ("static air temperature", "static_air_temperature_degc", "{:.2f} degC"),
    ("total air temperature", "total_air_temperature_degc", "{:.2f} degC"),
    ("ISA deviation", "isa_deviation_degc", "{:+.2f} degC"),
    ("density altitude", "density_altitude_ft", "{:,.0f}"),
    ("speed of sound", "speed_of_sound_kt", "{:.2f}"),
    ("static pressure", "static_pressure_hpa", "{:.3f} hPa"),
    ("impact pressure", "impact_pressure_hpa", "{:.3f} hPa"),
)


def _put(value: float, key: str, pattern: str, units: Units) -> str:
    for suffix, edge in (("_kt", "kt"), ("_ft", "ft")):
        if key.endswith(suffix):
            unit, factor = units.edge(edge)
            return f"{pattern.format(value * factor)} {unit}"
    return pattern.format(value)


def point_lines(point: Mapping[str, float | None], units: Units) -> list[str]:
    """Return all speeds at a point, a line each."""
    lines = []
    for words, key, pattern in _POINT:
        value = point[key]
        said = ("unknown without a temperature" if value is None
                else _put(value, key, pattern, units))
        lines.append(f"{words:{LABEL}}{said}")
    return lines


def margin_line(row: Mapping[str, Any], units: Units) -> str:
    """Return the margin to a limit at a point; without a margin its state alone."""
    said = f"{row['limit'] or 'all limits together':{LABEL}}{row['state']}"
    if row["margin_kt"] is None:
        return said
    by_mach = "" if row["margin_mach"] is None else f", Mach {mach(row['margin_mach'])}"
    return (f"{said}, limit {_calibrated(row['limit_airspeed_kt'], units, 2)}, "
            f"margin {row['margin_kt'] * units.per_knot:.2f} {units.speed}{by_mach}")


def _unit(letters: str, units: Units) -> str:
    """Return the unit of a kind of airspeed: "KCAS", "km/h CAS"."""
    return f"K{letters}" if units.speed == "kt" else f"{units.speed} {letters}"


def _calibrated(knots: float, units: Units, digits: int) -> str:
    return f"{knots * units.per_knot:.{digits}f} {_unit('CAS', units)}"


def _altitude(feet: float, units: Units) -> str:
    return f"{feet * units.per_foot:,.0f} {units.altitude}"


def crossover(cas_kt: float, mach_number: float, found: Mapping[str, float], units: Units) -> str:
    """Return where a CAS and a Mach number meet, as sentences."""
    return (f"{cas_kt * units.per_knot:g} {_unit('CAS', units)} and Mach {mach_number:g} meet at "
            f"{_altitude(found['pressure_altitude_ft'], units)} pressure altitude"
            f"{_true(found, units)}. "
            "Below it the airspeed is the lower of the two, above it the Mach number.")


def _true(found: Mapping[str, float], units: Units) -> str:
    return (f", {found['true_airspeed_kt'] * units.per_knot:.1f} {_unit('TAS', units)} at "
            f"{found['static_air_temperature_degc']:.1f} degC "
            f"(ISA {found['isa_deviation_degc']:+.1f})")


def crossovers(aircraft: str, found: Sequence[Mapping[str, Any]], units: Units) -> str:
    """Return where a sheet's governing limit changes, a sentence a line."""
    if not found:
        return f"{aircraft}: no two limits cross."
    several = (f"{aircraft}: the governing limit changes at {len(found)} altitudes.\n"
               if len(found) > 1 else f"{aircraft}:\n")
    return several + "\n".join(
        f"{_altitude(row['pressure_altitude_ft'], units)} pressure altitude, "
        f"{_calibrated(row['limit_airspeed_kt'], units, 1)}{_true(row, units)}: "
        f"{row['below']} below, {row['above']} above." for row in found
    )


def envelope_rows(rows: Sequence[Mapping[str, Any]], units: Units) -> list[tuple[str, ...]]:
    """Return an envelope as rows of words, the heading first."""
    def cell(value: float | None, pattern: str, factor: float = 1.0) -> str:
        return "unknown" if value is None else pattern.format(value * factor)

    return [
        ("altitude", "limit", _unit("CAS", units), "Mach", _unit("TAS", units), "at"),
        *(
            (_altitude(row["pressure_altitude_ft"], units), row["governing_limit"] or "-",
             cell(row["limit_airspeed_kt"], "{:.1f}", units.per_knot),
             cell(row["limit_mach"], "{:.4f}"),
             cell(row["true_airspeed_kt"], "{:.1f}", units.per_knot),
             cell(row["static_air_temperature_degc"], "{:.1f} degC"))
            for row in rows
        ),
    ]
