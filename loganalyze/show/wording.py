"""Every sentence that this program says about a flight, in one place."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from loganalyze.show.facts import ExceedanceFacts, FlightFacts, SmallestFacts
    from loganalyze.show.summary import Summary

CAUTIONS: tuple[str, ...] = (
    "Not for use in flight, and not for the release of an aircraft to service.",
    "The flight manual, the maintenance manual, the operator and the authority prevail.",
    "A flag is not proof of an exceedance, and the absence of one is no clearance.",
    "Not for punitive use.",
)

STATES: tuple[str, ...] = ("under", "over", "unknown", "not applicable")
"""The words for the state codes 0 to 3."""

_UNJUDGED = ("condition_not_recorded", "limit_needs_temperature")
"""Findings that belong to the verdict: limits that nothing could judge."""

LISTED = 10
"""How many exceedances a verdict lists before it only counts the rest."""


def clock(seconds: float | None) -> str:
    """Return a time from the log's first sample as h:mm:ss.s, or "unknown"."""
    if seconds is None:
        return "unknown"
    tenths = round(abs(seconds) * 10)
    sign = "-" if seconds < 0 and tenths else ""
    hours, rest = divmod(tenths, 36000)
    minutes, rest = divmod(rest, 600)
    return f"{sign}{hours}:{minutes:02d}:{rest / 10:04.1f}"


def duration(seconds: float) -> str:
    """Return a length of time in the words of a debrief: 0.4 s, 12.3 s, 3 min 05 s, 1 h 52 min."""
    if seconds < 0.05:
        return f"{seconds:.3f} s"
    if round(seconds, 1) < 60:
        return f"{seconds:.1f} s"
    if round(seconds) < 3600:
        minutes, rest = divmod(round(seconds), 60)
        return f"{minutes} min {rest:02d} s"
    hours, minutes = divmod(round(seconds / 60), 60)
    return f"{hours} h {minutes:02d} min"


def knots(value: float | None) -> str:
    """Return a speed to a tenth of a knot; three digits after the point where that is nothing."""
    if value is None:
        return "an unknown speed"
    return f"{value:.1f} kt" if abs(value) >= 0.05 or value == 0 else f"{value:.2g} kt"


def mach(value: float | None) -> str:
    """Return a Mach number as the trade writes it: .482, 1.05."""
    if value is None:
        return "unknown"
    digits = f"{abs(value):.3f}" if abs(value) >= 0.0005 or value == 0 else f"{abs(value):.2g}"
    return ("-" if value < 0 else "") + (digits[1:] if digits.startswith("0.") else digits)


def feet(value: float | None) -> str:
    """Return a pressure altitude in whole feet."""
    return "an unknown altitude" if value is None else f"{value:,.0f} ft"


def count(number: int, one: str, many: str = "") -> str:
    """Return "1 exceedance" or "3 exceedances"."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


QUANTITIES: Mapping[str, str] = {
    "indicated_airspeed": "KIAS",
    "calibrated_airspeed": "KCAS",
    "equivalent_airspeed": "KEAS",
    "true_airspeed": "KTAS",
    "mach": "Mach",
    "indicated_mach": "indicated Mach",
}


def in_quantity(value: float | None, quantity: str) -> str:
    """Return a limit's or an aircraft's speed in the quantity in which the limit is published."""
    if value is None:
        return "unknown"
    if quantity in ("mach", "indicated_mach"):
        return f"{QUANTITIES[quantity]} {mach(value)}"
    return f"{value:.1f} {QUANTITIES[quantity]}"


def excess(kt: float | None, mach_number: float | None) -> str:
    """Return by how much a limit was exceeded."""
    parts = [knots(kt)] if kt is not None else []
    parts += [f"Mach {mach(mach_number)}"] if mach_number is not None else []
    return " and ".join(parts) or "an unknown amount"


def exceedance(one: ExceedanceFacts) -> str:
    """Return one exceedance as a sentence."""
    pointer = ""
    if one.worst_limit_pointer_kt is not None:
        pointer = f"; the limit pointer stood at {one.worst_limit_pointer_kt:.1f} KIAS"
    ends = []
    if one.began_by != "crossed":
        ends.append(f"began by {one.began_by}")
    if one.ended_by != "recovered":
        ends.append(f"ended by {one.ended_by}")
    if one.brief:
        ends.append("brief")
    return (
        f"{one.limit} exceeded at {clock(one.start_s)} for {duration(one.duration_s)}"
        f"{' (' + ', '.join(ends) + ')' if ends else ''}, at worst by "
        f"{excess(one.worst_excess_kt, one.worst_excess_mach)}: "
        f"{in_quantity(one.worst_value, one.quantity)} against "
        f"{in_quantity(one.limit_value, one.quantity)} at "
        f"{feet(one.worst_pressure_altitude_ft)}, {clock(one.worst_time_s)}{pointer}."
    )


def closest(one: SmallestFacts) -> str:
    """Return how close it came, as a sentence."""
    name = f" to {one.limit}" if one.limit else ""
    if one.margin_kt is None:
        return f"Closest{name}: unknown."
    side = "under" if one.margin_kt >= 0 else "over"
    by_mach = f" (Mach {mach(abs(one.margin_mach))})" if one.margin_mach is not None else ""
    return (f"Closest{name}: {knots(abs(one.margin_kt))}{by_mach} {side} the limit of "
            f"{knots(one.limit_airspeed_kt)} CAS at {clock(one.time_s)}, "
            f"{feet(one.pressure_altitude_ft)}.")


def headline(found: Sequence[Any], recorded_s: float, judged_s: float) -> str:
    """Return the verdict in one sentence; `found` are exceedances with their `episode`."""
    if judged_s <= 0 and not found:
        return f"Nothing of the {duration(recorded_s)} recorded could be judged."
    within = f"in the {duration(judged_s)} that could be judged."
    if not found:
        return f"No limit was exceeded {within}"
    episodes = len({one.episode for one in found})
    said = count(len(found), "exceedance")
    if episodes != len(found):
        said += f" in {count(episodes, 'episode')}"
    return f"{said} {within}"


def verdict(flight: FlightFacts) -> str:
    """Return the short plain verdict on one flight, a sentence a line."""
    found = flight.exceedances
    lines = [headline(found, flight.recorded_s, flight.judged_s)]
    worst = sorted(range(len(found)), key=lambda i: -(found[i].worst_excess_kt or 0.0))[:LISTED]
    lines += [exceedance(found[i]) for i in sorted(worst)]
    if len(found) > LISTED:
        lines.append(f"The other {len(found) - LISTED:,} are smaller.")
    combined = [one for one in flight.smallest_margins if one.limit is None]
    if not flight.exceedances:
        lines += [closest(one) for one in combined if one.margin_kt is not None]
    if flight.unknown_s > 0 and flight.judged_s > 0:
        lines.append(f"{sentence_case(duration(flight.unknown_s))} could not be judged "
                     f"({count(flight.unknown_stretches, 'stretch', 'stretches')}).")
    lines += [one.sentence for one in flight.taken if one.code in _UNJUDGED]
    return "\n".join(lines)


def sentence_case(text: str) -> str:
    """Return `text` with its first letter in upper case, the rest as it is."""
    return text[:1].upper() + text[1:]


def _outside(values: Mapping[str, Any]) -> str:
    number = values["outside_samples"]
    return f"; {count(number, 'sample')} outside the table: unknown there" if number else ""


def _reduced(values: Mapping[str, Any]) -> str:
    return ("Static air temperature reckoned from the total air temperature with recovery "
            f"factor {values['recovery_factor']:g}.")


_FINDINGS: dict[str, str | Callable[[Mapping[str, Any]], str]] = {
    "no_pressure_altitude":
        "No pressure altitude recorded: no Mach number, and no Mach limit judged.",
    "sheet_says_calibrated":
        "The column {column} names indicated airspeed; taken as calibrated, as the limits sheet "
        "says.",
    "column_says_calibrated":
        "The limits sheet says indicated, but the column {column} names calibrated airspeed; "
        "taken as calibrated, no correction applied to it.",
    "indicated_from_tables":
        "Indicated airspeed reckoned back from calibrated with the position correction tables.",
    "calibrated_taken_as_indicated":
        "Calibrated airspeed taken as indicated for the limits published as indicated: no "
        "correction table given.",
    "indicated_taken_as_calibrated":
        "Indicated airspeed taken as calibrated: no correction table given.",
    "instrument_correction_applied":
        "Instrument correction of the limits sheet applied to the recorded airspeed.",
    "position_correction_applied":
        lambda values: "Position correction of the limits sheet applied to the recorded airspeed"
        f"{_outside(values)}.",
    "altimeter_correction_applied":
        "Pressure altitude corrected with the altimeter correction table.",
    "static_source_coupling_applied":
        "Pressure altitude corrected for the static-source error that the position correction "
        "states.",
    "total_temperature_reduced": _reduced,
    "probe_temperature_reduced": lambda values:
        "Static air temperature reckoned from the probe's reading with recovery factor "
        f"{values['recovery_factor']:g}.",
    "temperature_lost": lambda values:
        f"No usable air temperature for {duration(values['lost_s'])}, between "
        f"{clock(values['first_s'])} and {clock(values['last_s'])}: none is needed for calibrated "
        "airspeed, equivalent airspeed and Mach limits; true airspeed and density altitude are "
        "absent there.",
    "no_temperature":
        "No air temperature recorded: none is needed for calibrated airspeed, equivalent "
        "airspeed and Mach limits; true airspeed and density altitude are absent.",
    "temperature_kind_unknown":
        "The limits sheet doesn't say what the recorded outside air temperature is (static, "
        "total or probe): not used; none is needed for calibrated airspeed, equivalent airspeed "
        "and Mach limits; true airspeed and density altitude are absent.",
    "condition_not_recorded": lambda values:
        f"{values['limit']} could not be judged: {', '.join(values['channels'])} not recorded "
        "and not declared.",
    "limit_needs_temperature":
        "{limit} could not be judged: a true airspeed limit needs the air temperature.",
}


def finding(code: str, values: Mapping[str, Any]) -> str:
    """Return what was taken for what, as a sentence.

    Raises KeyError for a code that has no sentence: a test holds that each code has one.
    """
    said = _FINDINGS[code]
    return said.format_map(values) if isinstance(said, str) else said(values)


def recognised(summary: Summary) -> list[str]:
    """Return what was taken for what in a log, a line each."""
    lines = []
    for one in summary.channels:
        unit = f", in {one.unit}" if one.unit and one.unit != "discrete" else ""
        lines.append(f"{one.channel}: column \"{one.column}\"{unit}"
                     + (f" ({one.known_by})" if one.known_by else ""))
    lines += summary.inferred
    lines += [f"{key}: declared as {value:g}" for key, value in summary.declared.items()]
    for flight in summary.flights:
        lines += [one.sentence for one in flight.taken
                  if one.sentence not in lines and one.code not in _UNJUDGED]
    return lines


def thresholds(settings: Mapping[str, Any]) -> str:
    """Return the thresholds in one line: "join gap 5 s, join margin Mach 0.004"."""
    said = []
    for name, value in settings.items():
        what, _, unit = name.replace("_", " ").rpartition(" ")
        said.append(f"{what} Mach {value:g}" if unit == "mach" else f"{what} {value:g} {unit}")
    return ", ".join(said)


def crossover(cas_kt: float, mach_number: float, altitude_ft: float) -> str:
    """Return where a CAS and a Mach number meet, as sentences."""
    return (f"{cas_kt:g} KCAS and Mach {mach_number:g} meet at {altitude_ft:,.0f} ft pressure "
            "altitude. Below it the airspeed is the lower of the two, above it the Mach number.")


def crossovers(aircraft: str, found: Sequence[Mapping[str, Any]]) -> str:
    """Return where a sheet's governing limit changes, a sentence a line."""
    if not found:
        return f"{aircraft}: no two limits cross."
    several = (f"{aircraft}: the governing limit changes at {len(found)} altitudes.\n"
               if len(found) > 1 else f"{aircraft}:\n")
    return several + "\n".join(
        f"{one['pressure_altitude_ft']:,.0f} ft pressure altitude, {one['limit_airspeed_kt']:.1f} "
        f"KCAS: {one['below']} below, {one['above']} above." for one in found
    )


def envelope_rows(rows: Sequence[Mapping[str, Any]]) -> list[tuple[str, ...]]:
    """Return an envelope as rows of words, the heading first."""
    def cell(value: float | None, pattern: str) -> str:
        return "unknown" if value is None else pattern.format(value)

    return [
        ("altitude", "limit", "KCAS", "Mach", "KTAS", "at"),
        *(
            (f"{row['pressure_altitude_ft']:,.0f} ft", row["governing_limit"] or "-",
             cell(row["limit_airspeed_kt"], "{:.1f}"), cell(row["limit_mach"], "{:.4f}"),
             cell(row["true_airspeed_kt"], "{:.1f}"),
             cell(row["static_air_temperature_degc"], "{:.1f} degC"))
            for row in rows
        ),
    ]
