"""Checking the trail: entry by entry, and the tables against what it says last."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Table, select

from loganalyze.review.decisions.decision_tables import (
    CASES,
    FOLLOW_UPS,
    KEPT_FILTERS,
    NOTES,
    PEOPLE,
    TRAIL,
)
from loganalyze.review.decisions.people import person_state
from loganalyze.review.decisions.trail_entries import (
    BEGINNING,
    TrailHead,
    entry_hash,
    head_of,
)

SUBJECTS: dict[str, tuple[Table, str]] = {
    "case": (CASES, "case_key"), "note": (NOTES, "note_id"),
    "follow-up": (FOLLOW_UPS, "follow_up_id"), "person": (PEOPLE, "person"),
    "kept filter": (KEPT_FILTERS, "filter_id"),
}
"""The table and key of each kind of entry that says how a row stands."""


@dataclass(frozen=True)
class TrailFault:
    """Something that was altered.

    ``code`` : "number missing", "chain broken", "entry altered", "head differs", "cut short",
    "another trail", "row differs", "row added" or "row removed"; ``where`` : the entry's number,
    or kind and key of a row.
    """

    code: str
    where: str


def check_trail(connection: Connection, witness: TrailHead | None = None) -> list[TrailFault]:
    """Return what was altered around the program; nothing where all is as it was written.

    Parameters
    ----------
    connection : Connection
        One state of the database.
    witness : TrailHead, optional
        A head that was written down before: the trail must still hold it.
    """
    faults: list[TrailFault] = []
    last: dict[tuple[str, str], str | None] = {}
    expected, previous = 1, BEGINNING
    witnessed = witness is None or witness.seq == 0
    for row in connection.execution_options(yield_per=1000).execute(
            select(TRAIL).order_by(TRAIL.c.seq)).mappings():
        values: dict[str, Any] = {**row}
        if values["seq"] != expected:
            faults.append(TrailFault("number missing", str(expected)))
        if values["previous_hash"] != previous:
            faults.append(TrailFault("chain broken", str(values["seq"])))
        if entry_hash(values, values["previous_hash"]) != values["hash"]:
            faults.append(TrailFault("entry altered", str(values["seq"])))
        if witness is not None and values["seq"] == witness.seq:
            witnessed = True
            if values["hash"] != witness.hash:
                faults.append(TrailFault("another trail", str(values["seq"])))
        if values["kind"] in SUBJECTS:
            last[values["kind"], values["subject"]] = values["after"]
        expected, previous = values["seq"] + 1, values["hash"]
    if head_of(connection) != TrailHead(expected - 1, previous):
        faults.append(TrailFault("head differs", str(expected - 1)))
    if not witnessed and witness is not None:
        faults.append(TrailFault("cut short", str(witness.seq)))
    return faults + _rows_against(connection, last)


def _rows_against(connection: Connection, last: Mapping[tuple[str, str], str | None]
                  ) -> list[TrailFault]:
    """Compare the tables with the state that the trail says last of each row."""
    faults = []
    digests = {key: _digest(text) for key, text in last.items() if text is not None}
    for kind, (table, key) in SUBJECTS.items():
        for row in connection.execute(select(table)).mappings():
            state: dict[str, Any] = {**row}
            if kind == "person":
                state = person_state(state)
            said = digests.pop((kind, state[key]), None)
            if said is None:
                faults.append(TrailFault("row added", f"{kind} {state[key]}"))
            elif said != _digest(json.dumps(state)):
                faults.append(TrailFault("row differs", f"{kind} {state[key]}"))
    return faults + [TrailFault("row removed", f"{kind} {key}") for kind, key in sorted(digests)]


def _digest(text: str) -> bytes:
    canonical = json.dumps(json.loads(text), sort_keys=True)
    return hashlib.sha256(canonical.encode()).digest()
