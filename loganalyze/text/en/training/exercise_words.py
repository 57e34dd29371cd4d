"""What is said of exercises, of how sure they are, and of an instructor's corrections."""

from __future__ import annotations

from loganalyze.text.en.number_format import count, duration

KINDS: dict[str, str] = {
    "level acceleration": "level acceleration", "speed change": "speed change",
    "climb at constant CAS": "climb at constant CAS",
    "climb at constant Mach": "climb at constant Mach",
    "descent at constant CAS": "descent at constant CAS",
    "descent at constant Mach": "descent at constant Mach",
    "steep turn": "steep turn", "stall": "stall", "circuit": "circuit",
    "limit approach": "demonstration of the limit pointer",
}
PLURALS = {
    **{kind: f"{words}s" for kind, words in KINDS.items()},
    "climb at constant CAS": "climbs at constant CAS",
    "climb at constant Mach": "climbs at constant Mach",
    "descent at constant CAS": "descents at constant CAS",
    "descent at constant Mach": "descents at constant Mach",
    "limit approach": "demonstrations of the limit pointer",
}
ORIGINS = {"found": "found in the log", "corrected": "corrected by the instructor",
           "added": "added by the instructor"}
MEASURES: dict[str, str] = {
    "bank_deg": "Bank", "bank_sd_deg": "Bank, scatter", "turned_deg": "Turned through",
    "altitude_error_ft": "Largest departure from the altitude at entry",
    "speed_error_kt": "Largest departure from the airspeed at entry",
    "duration_s": "Duration", "lowest_airspeed_kt": "Lowest airspeed",
    "deceleration_kt_s": "Deceleration at entry", "altitude_lost_ft": "Altitude lost",
    "entry_altitude_range_ft": "Range of altitude during the entry",
    "recovery_s": "Time to recover", "pattern_height_ft": "Height of the pattern",
    "pattern_height_sd_ft": "Height of the pattern, scatter", "change_kt": "Change of airspeed",
    "rate_kt_s": "Rate of change", "overshoot_kt": "Overshoot",
    "altitude_range_ft": "Range of altitude", "held_cas_kt": "CAS held",
    "held_mach": "Mach number held", "speed_sd_kt": "Airspeed, scatter",
    "drift_kt": "Drift of the airspeed", "largest_error_kt": "Largest departure from it",
    "altitude_change_ft": "Change of altitude", "smallest_margin_kt": "Smallest margin",
    "time_near_s": "Time with less than 5 kt of margin",
    "closing_rate_kt_s": "Rate at which the margin closed",
    "recovery_rate_kt_s": "Rate at which it opened again",
    "recovered_by_energy_kt": "Opened by less thrust or more drag",
    "recovered_by_height_kt": "Opened by height, pitch up",
    "rms_error_kt": "RMS error of the airspeed", "rms_error_mach": "RMS error of the Mach number",
    "mean_error_kt": "Mean error of the airspeed", "mean_error_mach": "Mean error of the Mach "
    "number", "settling_s": "Time to settle", "overshoot_mach": "Overshoot",
    "unsteadiness_kt": "Unsteadiness", "unsteadiness_mach": "Unsteadiness",
    "recovered_by_speed_kt": "Opened by the airspeed, by whichever means",
    "recovered_by_limit_kt": "Opened as the limit itself moved",
    "changed_at_start_s": "Began where the held CAS and Mach number are one speed",
    "changed_at_end_s": "Ended where the held CAS and Mach number are one speed",
}
"""Each measure of an exercise, by its name."""
UNSEARCHED: dict[str, str] = {
    "no roll or heading": "neither roll nor heading was recorded",
    "no ground recorded": "the pressure altitude of no ground was recorded",
    "no altitude or airspeed": "the log holds too little altitude and airspeed",
}
REWRITTEN = ("The recording's bytes have changed since it was corrected; it covers the same time, "
             "and the corrections were applied.")
APPLIED = "{corrections} of the exercises, from {file}."
KEPT = "Corrections in {file}"
LIST_HEADS = ("Number", "Exercise", "From", "To")
DELETED = "Taken out: {kind} at {start:.0f} to {end:.0f} s ({who})."
UNAPPLIED = ("A correction was not applied: no {kind} is found any more at {start:.0f} to "
             "{end:.0f} s.")


def unsearched(pairs: tuple[tuple[str, str], ...]) -> list[str]:
    """Return which kinds could not be looked for, a sentence for each reason."""
    by_reason: dict[str, list[str]] = {}
    for kind, reason in pairs:
        by_reason.setdefault(reason, []).append(KINDS[kind])
    return [f"Not looked for, since {UNSEARCHED[reason]}: {', '.join(kinds)}."
            for reason, kinds in by_reason.items()]


def applied(log: str, unapplied: list[tuple[str, float, float]]) -> list[str]:
    """Return what is to be known of corrections that were applied, a sentence each."""
    return [*([REWRITTEN] if log == "rewritten" else []),
            *(UNAPPLIED.format(kind=KINDS[kind], start=start, end=end)
              for kind, start, end in unapplied)]


def named(kind: str, confidence: float, origin: str, by: str = "", at: str = "") -> str:
    """Return what an exercise is, how sure that is, or who said so: "steep turn (98 %)"."""
    if origin != "found":
        who = ", ".join(part for part in (f"{ORIGINS[origin]} {by}".strip(), at[:10]) if part)
        return f"{KINDS[kind]} ({who})"
    percent = min(round(100 * confidence), 99)
    return f"{KINDS[kind]} ({percent} %)"


def deleted(some: list[tuple[str, float, float, str, str]]) -> list[str]:
    """Return what an instructor said is none, a sentence each."""
    return [DELETED.format(kind=KINDS[kind], start=start, end=end,
                           who=", ".join(part for part in (f"the instructor {by}".strip(), at[:10])
                                         if part))
            for kind, start, end, by, at in some]


def applied_from(file: str, number: int) -> str:
    """Return that corrections beside the log were applied."""
    return APPLIED.format(corrections=count(number, "correction"), file=file)


def summary(kinds: list[str]) -> str:
    """Return how many exercises of each kind there are, as a sentence."""
    if not kinds:
        return "No exercise was found."
    parts = [count(kinds.count(kind), KINDS[kind], PLURALS[kind]) for kind in KINDS
             if kind in kinds]
    return f"Exercises: {', '.join(parts)}."


def took(seconds: float) -> str:
    """Return how long an exercise took."""
    return duration(seconds)
