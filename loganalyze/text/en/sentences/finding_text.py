"""How the inputs were interpreted: a sentence for each of the judgement's codes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, Protocol

from loganalyze.record.channels import CHANNELS
from loganalyze.text.en.labels.report_labels import HIDDEN_COLUMN
from loganalyze.text.en.number_format import clock, count, duration
from loganalyze.text.en.quantity_words import recorded
from loganalyze.text.facts import UNJUDGED

NAMED = 3
"""How many limits that nothing could judge are named in a headline."""
GEAR_MOVES: Mapping[str, str] = {
    "lever": "after the recorded lever moves.",
    "locked": "before it is recorded as locked down, and after it is unlocked.",
}
"""When the landing gear is taken to move, by what the recorded channel shows."""


class Coded(Protocol):
    """A finding, or its plain facts."""

    @property
    def code(self) -> str:
        """Which finding it is."""
        ...

    @property
    def values(self) -> Mapping[str, Any]:
        """What it is about."""
        ...


def _outside(values: Mapping[str, Any]) -> str:
    number = values["outside_samples"]
    return f"; {count(number, 'sample')} outside the table: unknown there" if number else ""


def _listed(values: Mapping[str, Any]) -> str:
    return "columns " + " and ".join(values["columns"]) if len(values["columns"]) > 1 else (
        f"column {values['columns'][0]}")


def _reduced(values: Mapping[str, Any]) -> str:
    return ("Static air temperature computed from the total air temperature with recovery "
            f"factor {values['recovery_factor']:g}.")


def _at_rest(values: Mapping[str, Any]) -> str:
    """Return what to correct where a limit is in force at the value that its channel rests at."""
    channel = recorded(values["channel"])
    reads = f"{values['reading']:.3g} {values['unit']}".strip()
    said = (f"{values['limit']} was not judged: it would have been exceeded for "
            f"{duration(values['over_s'])} with the {channel} at {reads}, where it stands for most "
            "of the flight, through climb and cruise.")
    if not values["unit"]:
        return (f"{said} Say in a columns file which value of the {channel} means which state "
                "(values = ...), or correct the limit's condition in the limits sheet.")
    edge = "" if values["low"] is None else f" (its lower edge is {values['low']:.3g} now)"
    return (f"{said} If the {channel} reads {reads} at rest, begin the limit's range in the limits "
            f"sheet beyond that{edge}; if it was out, give at_rest_s a longer time in "
            "[screening] of the sheet.")


FINDINGS: dict[str, str | Callable[[Mapping[str, Any]], str]] = {
    "no_pressure_altitude":
        "No column is recognised as the pressure altitude: no Mach number, no phases of flight, "
        "and only limits judged that need none; if the log holds one, name it in a columns file.",
    "altitude_never_recorded": lambda values:
        f"Nothing that can be a pressure altitude stands in {_listed(values)}: taken as not "
        "recorded; no Mach number, no phases of flight, and only limits judged that need none.",
    "indicated_altitude_without_setting":
        "Indicated altitude recorded without its altimeter setting: no pressure altitude, no Mach "
        "number, no phases of flight, and only limits judged that need none.",
    "altitude_from_pressures": lambda values:
        f"Pressure altitude computed from the recorded pressure ({_listed(values)}).",
    "altitude_from_indicated": lambda values:
        "Pressure altitude computed from indicated altitude and altimeter setting "
        f"({_listed(values)}).",
    "airspeed_from_pressures": lambda values:
        f"Airspeed computed from the recorded pressure ({_listed(values)}).",
    "airspeed_from_mach": lambda values:
        "Calibrated airspeed computed from the recorded Mach number and pressure altitude "
        f"({_listed(values)}), as the limits sheet allows; no correction applied to it.",
    "instrument_correction_not_for_pressures":
        "Instrument correction of the limits sheet not applied: it is an indicator's, and the "
        "airspeed comes from pressures.",
    "instrument_correction_not_for_calibrated":
        "Instrument correction of the limits sheet not applied: it is for indicated airspeed, and "
        "calibrated is recorded.",
    "altimeter_correction_not_for_calibrated":
        "Altimeter correction of the limits sheet not applied: it goes by indicated airspeed, and "
        "calibrated is recorded.",
    "pressures_taken_as_corrected":
        "Recorded pressures taken as free of position error: no correction table given.",
    "flap_lever_and_surface":
        "Flap limits judged by lever and surface: while they disagree, a limit counts if either "
        "is in its range, so that the lower one holds.",
    "flap_from_lever": lambda values:
        "Flap angle taken from the flap lever, the surface not being recorded; after a "
        f"retraction the position it left counts for another {duration(values['transit_s'])}.",
    "gear_in_transit": lambda values:
        f"Landing gear taken to move for {duration(values['transit_s'])} "
        + GEAR_MOVES[values["recorded"]],
    "configuration_outliers": lambda values:
        f"The recorded {recorded(values['channel'])} is out and at once back in "
        f"{count(values['samples'], 'sample')} (first at {clock(values['first_s'])}), faster than "
        "flaps or gear move: limits go by the values beside it, and one that only such a sample "
        "would bring into force is unknown there.",
    "sheet_says_calibrated":
        "The column {column} names indicated airspeed; taken as calibrated, as the limits sheet "
        "says.",
    "column_says_calibrated":
        "The limits sheet says indicated, but the column {column} names calibrated airspeed; "
        "taken as calibrated, no correction applied to it.",
    "indicated_from_tables":
        "Indicated airspeed computed back from calibrated with the position correction tables.",
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
        "Static air temperature computed from the probe's reading with recovery factor "
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
    "limit_in_force_at_rest": _at_rest,
    "limit_needs_altitude": lambda values:
        f"{values['limit']} could not be judged: it needs the pressure altitude" + (
            " and the air temperature, and neither is recorded."
            if "temperature" in values["channels"] else ", and none is recorded."),
    "limit_needs_temperature":
        "{limit} could not be judged: a true airspeed limit needs the air temperature.",
    "limit_needs_channel": lambda values:
        f"{values['limit']} could not be judged: "
        f"{', '.join(CHANNELS[name].words for name in values['channels'])} not recorded.",
}


def not_judged(findings: Iterable[Coded]) -> list[str]:
    """Return the names of the limits that nothing could judge, each once."""
    return list(dict.fromkeys(
        str(coded.values["limit"]) for coded in findings if coded.code in UNJUDGED))


def but_not_judged(limits: Sequence[str]) -> str:
    """Return which limits a headline holds not for, as it follows on it; empty for none."""
    if not limits:
        return ""
    names = f"{len(limits)} limits" if len(limits) > NAMED else (
        ", ".join(limits[:-1]) + " and " + limits[-1] if len(limits) > 1 else limits[0])
    return f"; {names} could not be judged"


def finding(
    code: str, values: Mapping[str, Any], hidden: bool = False, origin_s: float = 0.0
) -> str:
    """Return how an input was interpreted, as a sentence.

    `hidden` : without columns' names; `origin_s` : time 0 of its clock.

    Raises KeyError for a code that has no sentence: a test holds that each code has one.
    """
    said = FINDINGS[code]
    values = {**values, **{
        key: values[key] - origin_s for key in ("first_s", "last_s") if key in values}}
    if hidden:
        values = {**values, **{
            key: HIDDEN_COLUMN if key == "column" else [HIDDEN_COLUMN] * len(values[key])
            for key in ("column", "columns") if key in values}}
    return said.format_map(values) if isinstance(said, str) else said(values)
