"""What the description of the review desk's HTTP interface says."""

from __future__ import annotations

TITLE = "The review desk"
DESCRIPTION = (
    "Cases of a store of judged flights, and what people decide of them. Every operation asks for "
    "the same permissions as the page does. A program sends its token as a bearer token: of a desk "
    "without accounts the secret of its address, otherwise one made by loganalyze review token. "
    "Who changes something sends the version that was seen; where somebody else was faster, the "
    "answer is 409 and holds how things stand.")
RESULT = "What was asked for."
FILE = "The file."
DONE = "Done."

SUMMARIES: dict[str, str] = {
    "me": "Who asks, and what they may do",
    "list_cases": "A page of the list of cases",
    "choices": "What can be filtered by, with the number of cases",
    "counts": "The number of cases by status",
    "case": "One case with all that helps to judge it",
    "samples": "The stored samples around a case, by column",
    "decide": "Decide on a case, decide otherwise, or withdraw a decision",
    "add_note": "Add a note to a case",
    "open_follow_up": "Open a follow-up of a case",
    "follow_ups": "The follow-ups of all cases, the next due first",
    "change_follow_up": "Change, close or open again a follow-up",
    "reveal": "See whose flight a case is; the trail holds who saw it and why",
    "try_sheet": "Judge a case's log by a corrected limits sheet, side by side with what counts",
    "adopt_sheet": "Let the verdict by a corrected limits sheet count for a case's log",
    "drop_sheet": "Keep in the trail that a corrected limits sheet was tried and not adopted",
    "case_trail": "The trail of one case, the latest entry first",
    "trail": "The trail, the latest entry first",
    "check_trail": "Whether the trail is as it was written, and its head",
    "export_trail": "The whole trail with its hashes, an entry a line",
    "export_csv": "All cases of a filter as CSV",
    "export_json": "All cases of a filter as JSON",
    "case_pack": "The follow-up pack of a case for a reader, as a page or PDF to keep",
    "period_report": "The periodic safety report of some months, as a page or PDF to keep",
    "kept_filters": "The filters that you keep",
    "keep_filter": "Keep a filter under a name",
    "drop_filter": "Keep a filter no longer",
    "people": "Who may sign in",
    "add_person": "Add somebody",
    "change_person": "Change somebody's role, activity or password; their sessions end",
}


def needs(permission: str) -> str:
    """Return which permission an operation needs."""
    return f"Needs the permission: {permission}."
