"""What the periodic safety report says."""

from __future__ import annotations

from collections.abc import Mapping

from loganalyze.text.en.number_format import rate

PERIOD_TITLE = "Exceedances of airspeed and Mach limits: safety report"
SECTIONS: Mapping[str, str] = {
    "summary": "In short", "rates": "How often", "decisions": "What they were found to be",
    "open": "Still to be looked at", "follow_ups": "Follow-ups", "action": "Effect of the action",
    "cautions": "To be kept in mind", "method": "How this was made",
}
FOOTER = "loganalyze {version} · trail {head}"
NO_CASES = "No exceedance was judged in these months."
NO_FOLLOW_UPS = "No follow-up."
NO_ACTION = "No day of an action was given, so that none is measured."
MONTHS, LIMITS = "Rates by month of flight", "Rates by limit, whole store"
RATE_COLUMNS = ("Group", "Flights", "Judged hours", "Episodes", "Per 1,000 h", "95 % interval")
DECISION_LIMIT = "Limit"
DECISION_CAPTION = "Cases by limit and decision"
OPEN_COLUMNS = ("Case", "Limit", "Excess", "Duration", "Severity", "Certainty", "Month", "Status")
OPEN_CAPTION = "What needs a look first"
FOLLOW_UP_COLUMNS = ("Due", "Kind", "Task", "Owner", "State", "Case")
FOLLOW_UP_CAPTION = "Follow-ups of these cases; overdue ones are marked"
OVERDUE = "overdue"
NONE_WAITING = "No case waits: each is decided, and none was judged otherwise since."
METHOD = (
    "Cases are the exceedances of the store by month of the flight; rates count episodes, "
    "overlapping exceedances once, per judged hour.",
    "Groups of few flights are left out of the rates.",
    "The head of the trail in the foot bears witness to every decision up to this report.",
)


def period(since: str, until: str) -> str:
    """Return the months that a report is of."""
    if since and until:
        return since if since == until else f"{since} to {until}"
    return f"from {since}" if since else f"until {until}" if until else "all months"


def summary(cases: int, decided: int, waiting: int, open_follow_ups: int, overdue: int) -> str:
    """Return the report in one paragraph."""
    return (f"{cases:,} case{'' if cases == 1 else 's'}: {decided:,} decided, {waiting:,} to be "
            f"looked at. {open_follow_ups:,} follow-up{'' if open_follow_ups == 1 else 's'} open, "
            f"{overdue:,} overdue.")


def more_waiting(listed: int, waiting: int) -> str:
    """Return how many of the cases that wait are listed."""
    return f"Listed are {listed:,} of {waiting:,} cases; the desk lists all of them."


def effect(day: str, ratio: float, probability: float, before: float, after: float) -> str:
    """Return what changed after an action."""
    what = ("more than chance explains" if probability < 0.05 else "chance can explain that")
    times = f"{ratio:.2f} times" if ratio == ratio else "in no known ratio to"
    return (f"From {day} on, episodes per 1,000 h were {rate(after)}, before {rate(before)}: "
            f"{times} the rate before, aircraft by aircraft ({what}, p = {probability:.3f}, "
            "adjusted).")
