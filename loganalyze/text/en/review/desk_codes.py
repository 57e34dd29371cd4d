"""Words for the codes that the review desk shows: roles, kinds, states, actions, columns."""

from __future__ import annotations

from collections.abc import Mapping

from loganalyze.text.en.labels.phase_labels import PHASES
from loganalyze.text.en.sentences.decision_text import OUTCOMES

CODES: Mapping[str, Mapping[str, str]] = {
    "role": {"reviewer": "reviewer", "gatekeeper": "gatekeeper",
             "administrator": "administrator", "owner": "owner of the desk",
             "command": "command"},
    "kind": {"inspection requested": "inspection requested", "crew contact": "crew contact",
             "sheet fault": "sheet fault"},
    "state": {"open": "open", "done": "done"},
    "decision": {"valid": "valid", "nuisance": "nuisance", "false": "false",
                 "undecided": "undecided"},
    "severity": {"high": "high", "medium": "medium", "low": "low"},
    "certainty": OUTCOMES,
    "phase": PHASES,
    "edge": {"crossed": "the limit was crossed", "limit applied": "the limit came into force",
             "gap": "a gap in the recording", "start of log": "with the recording",
             "recovered": "the limit was regained",
             "limit lifted": "the limit was no longer in force",
             "channel lost": "a channel was lost", "end of log": "with the recording"},
    "outcome": {"exceeded": "exceeded", "not determined": "not determined",
                "not exceeded": "not exceeded", "not judged": "not judged"},
    "unproven": {"contradicted by other channels": "other channels contradict it",
                 "edge that no aircraft flies": "it has an edge that no aircraft flies",
                 "no entry recorded": "no entry was recorded",
                 "other channels show less": "other channels show less"},
    "quantity": {"calibrated_airspeed": "calibrated airspeed",
                 "indicated_airspeed": "indicated airspeed",
                 "equivalent_airspeed": "equivalent airspeed",
                 "true_airspeed": "true airspeed", "mach": "Mach number"},
    "rule": {"example": "an example of the program", "operator": "the operator's own"},
    "action": {
        "decided": "decided", "decision withdrawn": "withdrew the decision", "noted": "noted",
        "follow-up opened": "opened a follow-up", "follow-up changed": "changed a follow-up",
        "follow-up done": "closed a follow-up",
        "follow-up opened again": "opened a follow-up again",
        "case touched": "the case's version rose",
        "identity seen": "saw whose flight it was",
        "sheet adoption begun": "began to adopt a corrected sheet",
        "sheet adopted": "adopted a corrected sheet",
        "sheet dropped": "dropped a corrected sheet", "trail exported": "exported the trail",
        "person added": "added somebody", "person changed": "changed somebody",
        "filter kept": "kept a filter", "filter dropped": "dropped a filter",
        "signed in": "signed in", "token made": "made a token"},
}
"""By what a code is of."""

COLUMNS: Mapping[str, str] = {
    "flight": "Flight in the log", "flight_start_s": "The flight begins in the log at [s]",
    "number": "Exceedance of the flight", "episode": "Episode of the flight",
    "limit": "Limit", "quantity": "Published as", "start_s": "Start in the log [s]",
    "end_s": "End in the log [s]", "duration_s": "From start to end [s]",
    "time_over_s": "Time over [s]", "touches": "Stretches over the limit",
    "longest_over_s": "The longest of them [s]",
    "bounded_s": "Of it, holes in which it stayed over [s]", "began_by": "Began by",
    "ended_by": "Ended by", "brief": "Shorter than the least duration",
    "worst_excess_kt": "Greatest excess, as CAS [kt]",
    "worst_excess_mach": "Greatest excess, Mach", "worst_time_s": "Worst moment in the log [s]",
    "worst_pressure_altitude_ft": "Pressure altitude there [ft]",
    "worst_value": "Greatest value", "limit_value": "The limit there",
    "worst_limit_airspeed_kt": "The limit there, as CAS [kt]",
    "worst_limit_pointer_kt": "Limit pointer there, IAS [kt]",
    "worst_calibrated_airspeed_kt": "CAS there [kt]", "worst_mach": "Mach number there",
    "worst_excess": "Greatest excess, in its unit", "unit": "Unit",
    "start_uncertainty_s": "Start, give or take [s]",
    "end_uncertainty_s": "End, give or take [s]", "phase": "Phase of flight",
    "severity": "Severity", "severity_probability": "Probability of that severity",
    "severity_rule": "By the rule", "severity_rule_kind": "The rule is",
    "severity_criteria": "What the rule asks for", "assessment": "Decision rule, as flown",
    "probability": "Probability that it was exceeded",
    "excess_low": "Excess, lower end", "excess_high": "Excess, upper end",
    "assessment_displayed": "Decision rule, as displayed",
    "probability_displayed": "Probability, as displayed",
    "excess_low_displayed": "Excess as displayed, lower end",
    "excess_high_displayed": "Excess as displayed, upper end",
    "assessment_widest": "At the widest tolerances",
    "excess_low_widest": "Excess at the widest, lower end",
    "excess_high_widest": "Excess at the widest, upper end",
    "confirmed_by": "Confirmed by", "contradicted_by": "Contradicted by",
    "unproven_because": "Not proven because", "limits_sheet": "Limits sheet (pseudonym)",
    "judgement": "Judgement of the log", "version": "Version of the program",
    "month": "Month", "split_from": "Parted from case", "merged_into": "Went into case",
    "present": "An exceedance now", "excess_share": "Excess, share of the limit",
    "aircraft_shown": "Aircraft (pseudonym)", "status": "Status", "decision": "Decision",
    "case_key": "Case",
}
"""The columns of an exceedance."""
FIELDS: Mapping[str, str] = {
    "decision": "decision", "reason": "reason", "note": "note", "kind": "kind", "owner": "owner",
    "due": "due", "state": "state", "task": "task", "outcome": "outcome", "role": "role",
    "active": "may sign in", "person": "person", "issuer": "provider", "subject": "known there as",
    "name": "name", "query": "filter", "sheet": "limits sheet", "columns": "columns file",
    "by_password": "by password", "limit_name": "limit", "digest": "digest",
    "limit": "limit", "start_s": "start [s]", "end_s": "end [s]", "added_at": "added",
}
"""The fields of an entry of the trail."""
CODED: Mapping[str, str] = {
    "decision": "decision", "kind": "kind", "state": "state", "role": "role",
    "severity": "severity", "assessment": "certainty", "assessment_displayed": "certainty",
    "assessment_widest": "certainty", "phase": "phase", "began_by": "edge", "ended_by": "edge",
    "unproven_because": "unproven", "quantity": "quantity", "severity_rule_kind": "rule",
}
"""Which columns and fields hold codes, and of what."""


def word(of: str, code: object) -> str:
    """Return the word of a code; what has none, as a name from a sheet, stays as it is."""
    return CODES[of].get(str(code), str(code))


def column(name: str) -> str:
    """Return the label of a column of an exceedance."""
    return COLUMNS.get(name, name.replace("_", " "))


def field(name: str) -> str:
    """Return the label of a field of an entry of the trail."""
    return FIELDS.get(name, name.replace("_", " "))
