"""The words of the review desk's pages."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from loganalyze.text.en.review.desk_codes import CODED, word
from loganalyze.text.en.review.evidence_words import channel

MINUS = "\N{MINUS SIGN}"
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
TYPED = "What you wrote"
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
NEXT, PREVIOUS, FIRST, LAST = "Next page", "Previous page", "First page", "Last page"
PAGES_OF_LIST, PAGE, GO_TO_PAGE = "Pages of the list", "Page", "Go"
DECIDE = "Decide"
REASON = "Reason"
NOTE = "Note"
NOTES = "Notes"
ADD_NOTE = "Add the note"
OWNER, DUE, TASK, KIND, STATE = "Owner", "Due", "What is to be done", "Kind", "State"
OPEN_FOLLOW_UP = "Open a follow-up"
CLOSE_FOLLOW_UP = "Close it"
OUTCOME = "Outcome"
CHANGE_FOLLOW_UP, KEEP_CHANGE, OPEN_AGAIN = "Change owner or due date", "Change it", "Open it again"
IDENTITY = "Whose flight it was"
REVEAL = "Show it"
REVEAL_WARNING = "The trail keeps who saw it, when and why."
SAME_AIRCRAFT = "Other cases of the aircraft, the latest first"
ALL_OF_AIRCRAFT = "All cases of this aircraft"
SIMILAR = "Similar cases"
VERDICT = "What was judged"
CAUSES = "Why"
MOVED = "Judged again since the decision"
WITHDRAW = "Withdraw the decision"
ROLE, WHEN, WHO, ACTION, CHANGES = "Role", "When", "Who", "What", "Changes"
UNKNOWN = "not known"
NEXT_CASE, PREVIOUS_CASE, LIST = "Next case", "Previous case", "The list"
CHART, CHART_NOTE = "How it went", (
    "Shaded: the exceedance; the upright line: its worst "
    "moment. Below the dashed line at 0 the limit is exceeded.")
CHART_TIME = "Time from the start of the exceedance [s]"
NO_SAMPLES = "The store keeps no samples of this flight."
CHART_AXES: Mapping[str, str] = {
    "speed": "CAS [kt]: ── calibrated airspeed, ╌╌ lowest limit",
    "speed_mach": "Mach: ── Mach number, ╌╌ lowest limit, as Mach number",
    "margin": "Margin [kt]", "margin_mach": "Margin [Mach]", "altitude": "Pressure altitude [ft]"}
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
OWNER_ONLY, WITH_DONE, ONLY_OVERDUE = "Owner", "also those that are done", "only overdue"
CHANGE = "Change"
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
IDENTITY_NAMES: Mapping[str, str] = {
    "aircraft": "Aircraft", "registration": "Registration", "log": "Log", "source": "Its place",
    "limits_sheet": "Limits sheet", "start_utc": "Start, UTC"}
NO_LONGER = "No longer an exceedance:"
GONE = ("By the judgement that counts now this isn't an exceedance. Below is the verdict that the "
        "decision, or the note, was made on.")
ADD_PERSON = "Add"
PEOPLE_ABOUT = (
    "A reviewer sees no names, a gatekeeper may see whose flight it was for a reason, an "
    "administrator manages people and sees no case. Who is changed has to sign in again.")
SIGNS_IN_BY, BY_PASSWORD, BY_PROVIDER = "Signs in by", "password", "the organisation's account"
CHANGE_ROLE, DEACTIVATE, REACTIVATE = "Change the role", "Bar from signing in", "Let sign in again"
NEW_PASSWORD, SET_PASSWORD = "New password", "Set it"
ACTIVE = "may sign in"
OR_PROVIDER = "or by the organisation's account"
ISSUER, SUBJECT = "Issuer, an https address", "Subject: how the provider names them"
SOMEBODY_NEW = "Somebody new"
PASSWORD_HINT = "at least 12 characters"
FILTER_WHO, FILTER_CASE, FROM_DAY, TO_DAY = "Who", "Case, its first digits", "From day", "To day"
ALL_ACTIONS = "all"
CHECK_TRAIL = "Check the trail"
CHECK_ABOUT = ("Every entry carries the hash of the one before; the check reads all of them, and "
               "compares the tables with what they say.")
WITNESS = "Head written down before, if there is one"
INTACT = "The trail is as it was written."
ALTERED = "The trail was altered: entries or tables differ from what was written."
HEAD = "Its head, to be written down elsewhere"
FAULTS: Mapping[str, str] = {
    "number missing": "an entry is missing", "chain broken": "the chain is broken at entry",
    "entry altered": "an entry was altered", "head differs": "the head differs after entry",
    "cut short": "the trail ends before entry",
    "another trail": "another trail than the head is of, at entry",
    "row differs": "a row differs from the trail", "row added": "a row isn't in the trail",
    "row removed": "a row is missing"}
EXPORT_TRAIL = "Export the whole trail"
EXPORT_ABOUT = "A file with an entry a line and its hashes; the trail keeps who exported it."
ALL_ENTRIES, ENTRY = "All entries", "No."
NO_ENTRIES = "No entry fits."
WHOLE_TEXT = "the whole text"
TRAIL_ABOUT = ("Every decision, change and view of an identity, the latest first. Entries that "
               "only count the changes of a case are left out here; the export has them.")
REPORT = "Report"
REPORT_TITLE = "Periodic safety report"
REPORT_ABOUT = ("Rates and trends, what cases were found to be, what is open, and the effect of an "
                "action, for the months you choose. It names nobody and no aircraft.")
FROM_MONTH, TO_MONTH = "From month", "To month"
ACTION_DAY = "Day of an action whose effect is to be measured, if any"
REPORT_GET = "Get the report"
REPORT_READERS: Mapping[str, str] = {
    "safety": "safety office: all of it",
    "everybody": "everybody: no single cases, tasks or owners"}
MONTH_HINT = "as in 2026-03; blank for no bound"
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
    return f"{count}, page {page:,} of {pages:,}" if pages > 1 else count


def due(day: str) -> str:
    """Return by when a follow-up is to be done."""
    return f"due {day}"


def number(count: int) -> str:
    """Return a number of cases."""
    return f"{count:,}"


def of_pages(pages: int) -> str:
    """Return how many pages there are, after the number of one."""
    return f"of {pages:,}"


def follow_ups_found(total: int, overdue: int) -> str:
    """Return how many follow-ups are shown, and how many of them are overdue."""
    return f"{total:,} shown, {overdue:,} overdue"


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
    if name.endswith("probability") and isinstance(found, float):
        return f"{found:.3f}"
    if name in ("limit_value", "worst_value") and isinstance(found, float):
        return f"Mach {found:.3f}" if "mach" in quantity else f"{found:.1f} kt"
    if found is None or found == "":
        return UNKNOWN
    if isinstance(found, bool):
        return "yes" if found else "no"
    if name in CODED:
        return word(CODED[name], found)
    if isinstance(found, float):
        return (f"{found:,.4g}" if abs(found) < 1000 else f"{found:,.0f}").replace("-", MINUS)
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
    said = f"Mach {low:.3f} to {high:.3f}" if mach else f"{low:.1f} to {high:.1f} kt"
    return said.replace("-", MINUS)


def seconds(found: float) -> str:
    """Return a duration; a short one with a tenth, one below that as what it is less than."""
    if 0 < found < 0.05:
        return "< 0.1 s"
    return f"{found:,.0f} s" if found >= 10 else f"{found:.1f} s"


def lost(kt: float | None) -> str:
    """Return a contribution to a loss of margin."""
    return "–" if kt is None else f"{round(kt, 1) + 0.0:.1f}".replace("-", MINUS)


def exceeded(limit: str, by: str, duration_s: float) -> str:
    """Return the headline of a case."""
    return f"{limit} exceeded by {by} for {seconds(duration_s)}"


def chart_axis(name: str, second: str) -> str:
    """Return the title of a panel of the chart; `second` : the channel of another source."""
    return CHART_AXES[name] + (f", ┈┈ by the {channel(second)}" if second else "")


def chart_words(limit: str, by: str, duration_s: float, altitude_ft: float | None,
                in_mach: bool = False) -> str:
    """Return what a case's chart shows, for who doesn't see it."""
    at = "" if altitude_ft is None else f", at worst at {altitude_ft:,.0f} ft"
    return (f"{'Mach number' if in_mach else 'Airspeed'} against the lowest limit, margin and "
            f"altitude around the exceedance: {exceeded(limit, by, duration_s)}{at}.")
