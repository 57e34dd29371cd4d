"""The words of the review desk's pages."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from loganalyze.text.en.review.desk_codes import CODED, word

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
CLEAR = "All cases"
SEARCH_HINT = "words in cases and notes"
ANY = "any"
MONTHS = "Months"
SINCE, UNTIL = "from", "to"
SORT = "Sort"
DESCENDING = "the other way round"
FILTERS = "Filter"
KEPT = "Kept filters"
KEEP = "Keep this filter"
DROP = "Drop"
EXPORTS = "All of these as"
FOLLOW_UP = "Follow-up"
SKIP = "Skip to the content"
PAGES = "Pages"
KEYS = "Keys"
CLOSE = "Close"
NOT_RATED = "not rated"
NOT_KNOWN_AGE = "no date"
NO_CASES = "No case fits."
NO_CASES_REMEDY = "Loosen the filter, or show all cases."
NEXT, PREVIOUS = "Next page", "Previous page"
DECIDE = "Decide"
REASON = "Reason"
NOTE = "Note"
NOTES = "Notes"
ADD_NOTE = "Add the note"
OWNER, DUE, TASK, KIND, STATE = "Owner", "Due", "What is to be done", "Kind", "State"
OPEN_FOLLOW_UP = "Open a follow-up"
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
NEXT_CASE, PREVIOUS_CASE, LIST = "Next case", "Previous case", "The list"
CHART, CHART_NOTE = "How it went", (
    "Seconds from the start of the exceedance. Shaded: the exceedance; the upright line: its worst "
    "moment. Below the dashed line at 0 kt the limit is exceeded.")
NO_SAMPLES = "The store keeps no samples of this flight."
SPEED_LINE, LIMIT_LINE = "calibrated airspeed", "lowest limit"
CHART_AXES: Mapping[str, str] = {
    "speed": "CAS [kt]", "margin": "Margin [kt]", "altitude": "Pressure altitude [ft]"}
SURENESS = "How sure it is"
FACTS = "All of the record"
DECISION_NOW = "Decision"
NO_DECISION = "None yet."
STALE = "Your decision isn't in the record: somebody else changed the case first."
STALE_CHANGES = "Since you opened the case"
STALE_TYPED = ("What you typed is still in the form. Read the change, then decide again; it counts "
               "on top of the other.")
WAS = "was"
NO_NOTES, NO_FOLLOW_UPS, NO_OTHERS = "No notes.", "No follow-up.", "None."
OVERDUE = "overdue"
OPENED_BY = "opened by"
OWNER_ONLY, WITH_DONE = "Owner", "also those that are done"
PACK, PACK_GET = "Follow-up pack", "Get the pack"
READER, FORMAT = "Reader", "Format"
READERS: Mapping[str, str] = {
    "safety": "safety office", "crew": "crew", "maintenance": "maintenance"}
BACK_TO_CASE = "Back to the case"
SHEET_FAULT = "If the sheet is wrong"
TRY_SHEET = "Try a corrected sheet"
TRY_ABOUT = (
    "The log of this case is judged again, by the limits sheet and columns file that you give, for "
    "you alone: what counts stays as it is until the sheet is adopted.")
SHEET, COLUMNS_FILE = "Limits sheet (TOML)", "Columns file (TOML), where the log needs one"
FROM_FILE = "from a file"
OR_TEXT = "or as text; a chosen file counts before it"
TRY, TRY_AGAIN = "Judge by it", "Try another sheet"
TRIAL_RESULT = "Side by side"
COUNTS_NOW, BY_TRIAL = "What counts now", "By the corrected sheet"
FLIGHT_OUTCOME = "The flight"
NO_EXCEEDANCE = "no exceedance"
SAME_VERDICT = "The corrected sheet changes nothing here."
THIS_CASE, ALSO_OF_LOG = "This case", "Also of this log"
CHANGED = "changed"
THEN = "Then"
ADOPT, DROP_SHEET = "Adopt it", "Drop it"
ADOPT_ABOUT = ("The verdict by the corrected sheet counts for this log from now on; the one before "
               "stays in the store, and decisions on it say that it moved. The trail keeps the "
               "sheet and your reason.")
DROP_ABOUT = "Nothing changes. The trail keeps the sheet, and why it wasn't adopted."
ONLY_KEEPER = "Your role may try a sheet and drop it; a gatekeeper adopts it."
ADOPT_OUTDATED = "Another verdict counts since you tried the sheet: here it is beside it again."
TRIAL_ROWS: Mapping[str, str] = {
    "excess": "Greatest excess", "limit_value": "The limit there", "duration_s": "Duration",
    "severity": "Severity", "assessment": "Certainty", "probability": "Probability",
    "phase": "Phase", "start_s": "Start in the log"}
ADD_PERSON = "Add"
INACTIVE = "may not sign in"
NONE_OPEN = "No follow-up fits."

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
SEVERITY_SHAPES: Mapping[str, str] = {"high": "▲", "medium": "◆", "low": "●", "none": "○"}
CERTAINTY_SHAPES: Mapping[str, str] = {
    "proven over": "■", "over but not proven": "◧", "not determinable": "?",
    "under but not proven": "◨", "proven under": "□"}
"""Shapes that stand beside the word, so that a column can be read at a glance without colour."""
FOLLOW_UP_STATES: Mapping[str, str] = {
    "open": "open", "overdue": "overdue", "none": "none open"}
MOST_SHOWN = 0.999
WHEN_UTC = "When [UTC]"
BOOKKEEPING = ("version", "case_key", "note_id", "follow_up_id", "author", "written_at",
               "decided_by", "decided_at", "opened_by", "opened_at", "closed_by", "closed_at")
"""Fields of an entry of the trail that its own columns say already."""
KEY_LIST: tuple[tuple[str, str], ...] = (
    ("j or ↓", "next row"), ("k or ↑", "row before"), ("Enter", "open the case"),
    ("/", "search"), ("n", "next case or page"), ("p", "case or page before"),
    ("d", "decide: to the form"), ("l", "back to the list"), ("?", "this list"))
DECISIONS: Mapping[str, str] = {
    "valid": "valid: it happened as recorded",
    "nuisance": "nuisance: it happened, and is of no concern",
    "false": "false: it did not happen; the record or the sheet is wrong",
}


def cases_found(total: int, page: int, pages: int) -> str:
    """Return how many cases a filter lets through, and which page is shown."""
    count = f"{total:,} case{'' if total == 1 else 's'}"
    return f"{count}, page {page} of {pages}" if pages > 1 else count


def age(month: str | None, today: date) -> str:
    """Return how long ago a month ("2031-02") was."""
    if month is None:
        return NOT_KNOWN_AGE
    months = (today.year - int(month[:4])) * 12 + today.month - int(month[5:])
    if months < 0:
        return "dated ahead"
    if months < 1:
        return "this month"
    if months < 24:
        return f"{months} month{'' if months == 1 else 's'}"
    return f"{months // 12} years"


def excess(kt: float | None, mach: float | None, share: float | None = None) -> str:
    """Return by how much a limit was exceeded."""
    if mach is not None:
        return f"Mach {mach:.3f}"
    if kt is None:
        return UNKNOWN
    return f"{kt:.1f} kt" if share is None else f"{kt:.1f} kt, {100 * share:.1f} %"


def value(found: object, name: str = "", quantity: str = "") -> str:
    """Return a value of the store as it is printed; `quantity` : of an airspeed or Mach limit."""
    if name == "probability" and isinstance(found, float) and found > MOST_SHOWN:
        return f"over {MOST_SHOWN}"
    if name in ("limit_value", "worst_value") and isinstance(found, float):
        return f"Mach {found:.3f}" if "mach" in quantity else f"{found:.1f} kt"
    if found is None or found == "":
        return UNKNOWN
    if isinstance(found, bool):
        return "yes" if found else "no"
    if isinstance(found, float):
        return f"{found:,.4g}" if abs(found) < 1000 else f"{found:,.0f}"
    return str(found)


def trial_value(row: Mapping[str, object], name: str) -> str:
    """Return a value of a verdict for the comparison of two."""
    if name == "excess":
        kt, mach = row.get("worst_excess_kt"), row.get("worst_excess_mach")
        return excess(kt if isinstance(kt, float) else None,
                      mach if isinstance(mach, float) else None)
    found = row.get(name)
    if name in ("duration_s", "start_s") and isinstance(found, float):
        return f"{found:.1f} s"
    if name == "severity" and not found:
        return NOT_RATED
    if name in CODED and found:
        return word(CODED[name], found)
    return value(found, name, str(row.get("quantity") or ""))


def interval(low: float, high: float, mach: bool) -> str:
    """Return between which values an excess lies."""
    return f"Mach {low:.3f} to {high:.3f}" if mach else f"{low:.1f} to {high:.1f} kt"


def lost(kt: float | None) -> str:
    """Return a contribution to a loss of margin."""
    return "–" if kt is None else f"{round(kt, 1) + 0.0:.1f}"


def exceeded(limit: str, by: str, duration_s: float) -> str:
    """Return the headline of a case."""
    return f"{limit} exceeded by {by} for {duration_s:.0f} s"


def chart_words(limit: str, by: str, duration_s: float, altitude_ft: float | None) -> str:
    """Return what a case's chart shows, for who doesn't see it."""
    at = "" if altitude_ft is None else f", at worst at {altitude_ft:,.0f} ft"
    return (f"Airspeed against the lowest limit, margin and altitude around the exceedance: "
            f"{exceeded(limit, by, duration_s)}{at}.")
