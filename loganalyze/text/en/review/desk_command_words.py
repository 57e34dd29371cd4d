"""What the commands around the review desk print."""

from __future__ import annotations

from collections.abc import Sequence

UPGRADED = "The database of decisions has this program's form."


def open_at(address: str) -> str:
    """Return where the desk is open."""
    return f"The review desk is open at {address} (Ctrl+C ends it)."


def trail_lines(faults: Sequence[tuple[str, str]], head: str) -> list[str]:
    """Return what a check of the trail found, a line each."""
    if not faults:
        lines = ["The trail is as it was written, and the decisions are as it says."]
    else:
        lines = [f"{_FAULTS[code].format(where=where)}" for code, where in faults]
    return [*lines, f"Head: {head}", "Write the head down elsewhere: given as --head, it shows "
            "whether entries were taken off the end."]


_FAULTS = {
    "number missing": "Entry {where} is missing.",
    "chain broken": "Entry {where} doesn't follow the one before it.",
    "entry altered": "Entry {where} was altered.",
    "head differs": "The last entry isn't the one that was written last; up to {where} they stand.",
    "cut short": "Entry {where}, which the given head names, is no longer there.",
    "another trail": "Entry {where} isn't the one that the given head names.",
    "row differs": "The {where} isn't as the trail says.",
    "row added": "The {where} was added past the program.",
    "row removed": "The {where} was removed past the program.",
}


def backed_up(file: str, head: str) -> str:
    """Return where a backup was written."""
    return f"Written: {file}, up to the trail's head {head}"


def restored(file: str, head: str) -> str:
    """Return what was restored."""
    return f"Restored from {file}; the trail holds up to its head {head}"


def person_line(person: str, role: str, active: bool) -> str:
    """Return somebody who may sign in."""
    return f"{person}: {role}{'' if active else ', may not sign in'}"
