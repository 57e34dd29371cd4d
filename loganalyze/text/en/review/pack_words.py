"""What a follow-up pack says of one case."""

from __future__ import annotations

from collections.abc import Mapping

PACK_TITLE = "Follow-up of an exceedance"
SECTIONS: Mapping[str, str] = {
    "what": "What was recorded", "asked": "What is asked", "picture": "How it went",
    "causes": "Why", "quality": "How sure it is", "decision": "What was decided",
    "identity": "Whose flight it was", "cautions": "To be kept in mind",
}
READERS: Mapping[str, str] = {
    "safety": "for the safety office", "crew": "for the crew", "maintenance": "for maintenance"}
FOOTER = "loganalyze {version} · case {case} · trail {head}"
NO_SAMPLES = "The store keeps no samples of this flight."
NO_CAUSES = "No unbroken recording leads up to it, so that its causes can't be parted."
NOTHING_ASKED = "No follow-up is open."
NO_DECISION = "No decision has been made."
MOVED = "It was judged again since the decision, with another result."
PICTURE_WORDS = ("Calibrated airspeed against the lowest limit, the margin to it and the pressure "
                 "altitude, by seconds from the start of the exceedance.")
MACH_PICTURE_WORDS = ("Mach number against the limit, the margin to it and the pressure "
                      "altitude, by seconds from the start of the exceedance.")
PICTURE_CAPTION = "Shaded: the exceedance. Below the line at a margin of 0 the limit is exceeded."
TIME_AXIS = "Time from the start of the exceedance [s]"
SPEED_AXIS, MARGIN_AXIS, ALTITUDE_AXIS = "CAS [kt]", "Margin [kt]", "Altitude [ft]"
MACH_AXIS, MACH_MARGIN_AXIS = "Mach number", "Margin [Mach]"
SPEED, MACH, LIMIT = "calibrated airspeed", "Mach number", "lowest limit"
EXCEEDED_BY = "{excess} over {limit} for {duration:.1f} s, {phase}"
PHASE_UNKNOWN = "phase of flight not known"

FACTS: Mapping[str, str] = {
    "limit": "Limit", "limit_value": "The limit there", "worst_value": "Greatest value",
    "excess": "Greatest excess",
    "duration_s": "From start to end [s]", "time_over_s": "Time over [s]",
    "worst_pressure_altitude_ft": "Pressure altitude there [ft]",
    "phase": "Phase of flight",
    "severity": "Severity", "severity_rule": "By the rule", "month": "Month",
    "aircraft": "Aircraft (pseudonym)", "began_by": "Began", "ended_by": "Ended",
}
SURENESS: Mapping[str, str] = {
    "assessment": "Decision rule, as flown", "probability": "Probability that it was exceeded",
    "interval": "Interval of the excess", "assessment_displayed": "As the crew saw it",
    "confirmed_by": "Other channels that show it", "contradicted_by": "That contradict it",
    "unproven_because": "Not proven because", "unjudged_limits": "Limits judged too little",
    "lacking_limits": "Limits without a channel", "unknown_s": "Time not judged [s]",
}
CAUSES: Mapping[str, str] = {
    "lost_kt": "Margin lost", "limit_moved_kt": "the limit moved with altitude",
    "configuration_kt": "a change of configuration", "height_trade_kt": "height into speed",
    "energy_kt": "energy gained", "wind_kt": "of it, wind",
    "air_temperature_kt": "the air's temperature", "speed_change_kt": "change of speed",
    "remainder_kt": "unexplained",
}
STRETCH = "Stretch"
STRETCHES: Mapping[str, str] = {
    "to the limit": "to the limit", "to the worst": "to the worst"}
IDENTITY: Mapping[str, str] = {
    "aircraft": "Aircraft", "registration": "Registration", "log": "Log", "start_utc": "Start, UTC"}
FOLLOW_UP_COLUMNS = ("What", "Task", "Owner", "Due", "State", "Outcome")
FOLLOW_UPS, NOTES, CAUSES_CAPTION = "Follow-ups", "Notes", "Margin lost, by cause [kt]"
DECIDED = "{decision}, by {person} on {day}: {reason}"
UNKNOWN = "not known"


def case_name(key: str, limit: str, reader: str) -> str:
    """Return the subtitle of a pack."""
    return f"Case {key[:8]}, {limit}, {READERS[reader]}"


def note_line(author: str, day: str, note: str) -> str:
    """Return a note as a line."""
    return f"{day}, {author}: {note}"
