"""What was taken for what: a sentence for each of the judgement's codes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from loganalyze.show.wording.numbers import clock, count, duration


def _outside(values: Mapping[str, Any]) -> str:
    number = values["outside_samples"]
    return f"; {count(number, 'sample')} outside the table: unknown there" if number else ""


def _reduced(values: Mapping[str, Any]) -> str:
    return ("Static air temperature reckoned from the total air temperature with recovery "
            f"factor {values['recovery_factor']:g}.")


FINDINGS: dict[str, str | Callable[[Mapping[str, Any]], str]] = {
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
    said = FINDINGS[code]
    return said.format_map(values) if isinstance(said, str) else said(values)
