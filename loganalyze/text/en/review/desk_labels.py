"""The words of the review desk's pages."""

from __future__ import annotations

from collections.abc import Mapping

TITLE = "Review desk"
CASES = "Cases"
CASE = "Case"
FOLLOW_UPS = "Follow-ups"
TRAIL = "Trail"
PEOPLE = "People"
SIGN_IN = "Sign in"
SIGN_OUT = "Sign out"
NAME = "Name"
PASSWORD = "Password"
WITH_PROVIDER = "Sign in with the organisation's account"
OPENING = "Opening the desk"
GO_ON = "Go on"
REFUSED = "Not done"
BACK = "Back to the cases"
SEARCH = "Search"
SHOW = "Show"
NO_CASES = "No case fits."
NEXT, PREVIOUS = "Next page", "Previous page"
DECIDE = "Decide"
REASON = "Reason"
NOTE = "Note"
NOTES = "Notes"
ADD_NOTE = "Add the note"
OWNER, DUE, TASK, KIND, STATE = "Owner", "Due", "What is to be done", "Kind", "State"
OPEN_FOLLOW_UP = "Open the follow-up"
CLOSE_FOLLOW_UP = "Close it"
OUTCOME = "Outcome"
IDENTITY = "Whose flight it was"
REVEAL = "Show it"
REVEAL_WARNING = "The trail keeps who saw it, when and why."
SAME_AIRCRAFT = "Other cases of the aircraft"
SIMILAR = "Similar cases"
VERDICT = "What was judged"
CAUSES = "Why"
MOVED = "Judged again since the decision"
WITHDRAW = "Withdraw the decision"
ROLE, WHEN, WHO, ACTION, CHANGES = "Role", "When", "Who", "What", "Changes"
UNKNOWN = "not known"

COLUMNS: Mapping[str, str] = {
    "case_key": "Case", "status": "Status", "decision": "Decision", "aircraft": "Aircraft",
    "month": "Month", "limit": "Limit", "severity": "Severity", "certainty": "Certainty",
    "excess": "Excess", "duration": "Duration", "phase": "Phase", "due": "Due",
    "attention": "What needs a look first", "age": "Age",
}
"""Columns of the list, and what it can be sorted by."""

STATUSES: Mapping[str, str] = {
    "open": "open", "moved": "judged otherwise since", "decided": "decided",
    "gone": "no longer an exceedance",
}
DECISIONS: Mapping[str, str] = {
    "valid": "valid: it happened as recorded",
    "nuisance": "nuisance: it happened, and is of no concern",
    "false": "false: it did not happen; the record or the sheet is wrong",
}


def cases_found(total: int, page: int, pages: int) -> str:
    """Return how many cases a filter lets through, and which page is shown."""
    count = f"{total:,} case{'' if total == 1 else 's'}"
    return f"{count}, page {page} of {pages}" if pages > 1 else count
