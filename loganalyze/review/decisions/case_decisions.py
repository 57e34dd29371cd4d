"""Decisions, notes and follow-ups of a case, each in one transaction with its trail entry."""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, Row, Table, select, update

from loganalyze.review.cases.case_matching import Span
from loganalyze.review.cases.case_rows import Standing
from loganalyze.review.decisions.decision_tables import CASES, FOLLOW_UPS, NOTES, TRAIL
from loganalyze.review.decisions.trail_entries import Change

DECISIONS = ("valid", "nuisance", "false")
FOLLOW_UP_KINDS = ("inspection requested", "crew contact", "sheet fault")
MANY = 500
"""How many keys are asked for at once."""


@dataclass(frozen=True)
class Note:
    """A note on a case."""

    note_id: str
    case_key: str
    author: str
    written_at: str
    note: str


@dataclass(frozen=True)
class FollowUp:
    """What is to be done about a case, by whom and until when; ``outcome`` : once it is done."""

    follow_up_id: str
    case_key: str
    kind: str
    owner: str
    due: str
    state: str
    task: str
    outcome: str
    opened_by: str
    opened_at: str
    closed_by: str | None
    closed_at: str | None
    version: int


@dataclass(frozen=True)
class CaseRecord:
    """All that people said of a case.

    ``version`` : 0 where nobody has dealt with it; ``verdict`` : that the decision was made on.
    """

    case_key: str
    version: int
    decision: str | None
    reason: str
    decided_by: str | None
    decided_at: str | None
    verdict: Mapping[str, Any]
    notes: tuple[Note, ...]
    follow_ups: tuple[FollowUp, ...]


class Outdated(Exception):
    """A change to a state that somebody has changed since; nothing was written.

    ``current`` : the present state of the case.
    """

    def __init__(self, current: CaseRecord) -> None:
        self.current = current
        super().__init__(f"case {current.case_key} has version {current.version} now")


class NotThere(Exception):
    """What is to be changed isn't there."""


def decide(change: Change, span: Span, verdict: Mapping[str, Any], *, decision: str | None,
           reason: str, seen_version: int) -> CaseRecord:
    """Decide on a case, decide otherwise, or with None withdraw a decision.

    Parameters
    ----------
    change : Change
        The transaction.
    span : Span
        The case.
    verdict : mapping
        The present verdict, as `verdict_of` gives it.
    decision : {"valid", "nuisance", "false"} or None
        What the exceedance is found to be.
    reason : str
        Why.
    seen_version : int
        The version of the case that the person has seen.

    Raises
    ------
    Outdated
        Where the case has another version.
    """
    before = _case_for_change(change, span, verdict, seen_version)
    after = {**before, "version": before["version"] + 1, "decision": decision, "reason": reason,
             "decided_by": change.actor.name, "decided_at": change.at,
             "verdict": _json(verdict)}
    _store(change, CASES, "case_key", after)
    action = "decided" if decision is not None else "decision withdrawn"
    change.append(action, "case", span.key, case_key=span.key, before=before, after=after)
    return case_record(change.connection, span.key)


def add_note(change: Change, span: Span, verdict: Mapping[str, Any], note: str) -> CaseRecord:
    """Add a note to a case; notes of others don't stand in its way."""
    before = _case_for_change(change, span, verdict, None)
    row = {"note_id": uuid.uuid4().hex, "case_key": span.key, "author": change.actor.name,
           "written_at": change.at, "note": note}
    change.connection.execute(NOTES.insert().values(row))
    change.append("noted", "note", row["note_id"], case_key=span.key, after=row)
    _raise_version(change, before)
    return case_record(change.connection, span.key)


def open_follow_up(change: Change, span: Span, verdict: Mapping[str, Any], *, kind: str,
                   owner: str, due: date, task: str) -> CaseRecord:
    """Open a follow-up of a case."""
    before = _case_for_change(change, span, verdict, None)
    row = {"follow_up_id": uuid.uuid4().hex, "case_key": span.key, "kind": kind, "owner": owner,
           "due": due.isoformat(), "state": "open", "task": task, "outcome": "",
           "opened_by": change.actor.name, "opened_at": change.at, "closed_by": None,
           "closed_at": None, "version": 1}
    change.connection.execute(FOLLOW_UPS.insert().values(row))
    change.append("follow-up opened", "follow-up", str(row["follow_up_id"]), case_key=span.key,
                  after=row)
    _raise_version(change, before)
    return case_record(change.connection, span.key)


def change_follow_up(change: Change, follow_up_id: str, *, seen_version: int, owner: str,
                     due: date, done: bool, outcome: str) -> CaseRecord:
    """Give a follow-up another owner or due date, close it with its outcome, or open it again.

    Raises
    ------
    NotThere
        Where there is no such follow-up.
    Outdated
        Where it has another version than the person has seen.
    """
    before = _row(change.connection, FOLLOW_UPS, "follow_up_id", follow_up_id)
    if before is None:
        raise NotThere(follow_up_id)
    key = before["case_key"]
    if before["version"] != seen_version:
        raise Outdated(case_record(change.connection, key))
    after = {**before, "owner": owner, "due": due.isoformat(), "outcome": outcome,
             "state": "done" if done else "open", "version": before["version"] + 1,
             "closed_by": change.actor.name if done else None,
             "closed_at": change.at if done else None}
    _store(change, FOLLOW_UPS, "follow_up_id", after)
    action = ("follow-up done" if done else "follow-up opened again"
              if before["state"] == "done" else "follow-up changed")
    change.append(action, "follow-up", follow_up_id, case_key=key, before=before, after=after)
    case = _row(change.connection, CASES, "case_key", key)
    assert case is not None
    _raise_version(change, case)
    return case_record(change.connection, key)


def append_sheet(change: Change, span: Span, verdict: Mapping[str, Any], action: str, digest: str,
                 said: Mapping[str, Any]) -> None:
    """Keep in the trail what was done with a corrected sheet; the case keeps its key from now on.

    Parameters
    ----------
    change : Change
        The transaction.
    span, verdict : Span, mapping
        The case, and the verdict beside which the sheet was tried.
    action : {"sheet adoption begun", "sheet adopted", "sheet dropped"}
        What was done.
    digest : str
        Of the sheet.
    said : mapping
        The sheet itself, and the reason.
    """
    before = _case_for_change(change, span, verdict, None)
    change.append(action, "sheet", digest, case_key=span.key, after=said)
    _raise_version(change, before)


def case_record(connection: Connection, key: str) -> CaseRecord:
    """Return what people said of a case; nothing, under version 0, where nobody did."""
    case = _row(connection, CASES, "case_key", key)
    if case is None:
        return CaseRecord(key, 0, None, "", None, None, {}, (), ())
    notes = connection.execute(select(NOTES).where(NOTES.c.case_key == key)
                               .order_by(NOTES.c.written_at, NOTES.c.note_id))
    follow_ups = connection.execute(select(FOLLOW_UPS).where(FOLLOW_UPS.c.case_key == key)
                                    .order_by(FOLLOW_UPS.c.opened_at, FOLLOW_UPS.c.follow_up_id))
    return CaseRecord(
        key, case["version"], case["decision"], case["reason"], case["decided_by"],
        case["decided_at"], json.loads(case["verdict"]),
        tuple(Note(**row) for row in notes.mappings()),
        tuple(FollowUp(**row) for row in follow_ups.mappings()))


def follow_ups(connection: Connection, *, owner: str = "", only_open: bool = True
               ) -> list[FollowUp]:
    """Return follow-ups of all cases, the next due first."""
    query = select(FOLLOW_UPS).order_by(FOLLOW_UPS.c.due, FOLLOW_UPS.c.follow_up_id)
    if owner:
        query = query.where(FOLLOW_UPS.c.owner == owner)
    if only_open:
        query = query.where(FOLLOW_UPS.c.state == "open")
    return [FollowUp(**row) for row in connection.execute(query).mappings()]


def changed_cases(connection: Connection, since: int) -> set[str]:
    """Return the keys of cases with entries in the trail after number `since`."""
    return {str(key) for (key,) in connection.execute(
        select(TRAIL.c.case_key).where(TRAIL.c.seq > since, TRAIL.c.case_key.is_not(None))
        .distinct())}


def standings(connection: Connection, keys: Iterable[str] | None = None) -> list[Standing]:
    """Return how things stand with cases that somebody has dealt with, for the index."""
    if keys is None:
        return _standings(connection, None)
    wanted = sorted(keys)
    return [standing for first in range(0, len(wanted), MANY)
            for standing in _standings(connection, wanted[first:first + MANY])]


def _standings(connection: Connection, keys: list[str] | None) -> list[Standing]:
    def rows(table: Table) -> Iterable[Row[Any]]:
        query = select(table)
        return connection.execute(
            query if keys is None else query.where(table.c.case_key.in_(keys)))

    words: dict[str, list[str]] = {}
    waiting: dict[str, list[Row[Any]]] = {}
    for row in rows(NOTES):
        words.setdefault(row.case_key, []).append(row.note)
    for row in rows(FOLLOW_UPS):
        words.setdefault(row.case_key, []).extend((row.kind, row.task, row.outcome))
        if row.state == "open":
            waiting.setdefault(row.case_key, []).append(row)
    found = []
    for row in rows(CASES):
        key, follow_ups = row.case_key, waiting.get(row.case_key, [])
        found.append(Standing(
            key, row.log_sha256, row.limit_name, row.start_s, row.end_s, row.version,
            row.decision,
            datetime.fromisoformat(row.decided_at) if row.decided_at else None,
            json.loads(row.verdict), len(follow_ups),
            min((date.fromisoformat(follow_up.due) for follow_up in follow_ups), default=None),
            tuple(sorted({follow_up.owner for follow_up in follow_ups})),
            " ".join([row.decision or "", row.reason, *words.get(key, ())])))
    return found


def _case_for_change(change: Change, span: Span, verdict: Mapping[str, Any],
                     seen_version: int | None) -> dict[str, Any]:
    """Return the row of a case, made with the first thing that is said of it."""
    row = _row(change.connection, CASES, "case_key", span.key)
    version = 0 if row is None else row["version"]
    if seen_version is not None and version != seen_version:
        raise Outdated(case_record(change.connection, span.key))
    if row is not None:
        return row
    made = {"case_key": span.key, "log_sha256": span.log_sha256, "limit_name": span.limit,
            "start_s": span.start_s, "end_s": span.end_s, "version": 0, "decision": None,
            "reason": "", "decided_by": None, "decided_at": None, "verdict": _json(verdict)}
    change.connection.execute(CASES.insert().values(made))
    return made


def _raise_version(change: Change, before: Mapping[str, Any]) -> None:
    after = {**before, "version": before["version"] + 1}
    _store(change, CASES, "case_key", after)
    change.append("case touched", "case", before["case_key"], case_key=before["case_key"],
                  before=before, after=after)


def _store(change: Change, table: Table, key: str, row: Mapping[str, Any]) -> None:
    change.connection.execute(update(table).where(table.c[key] == row[key]).values(**row))


def _row(connection: Connection, table: Table, key: str, wanted: str) -> dict[str, Any] | None:
    query = select(table).where(table.c[key] == wanted)
    found = connection.execute(query).mappings().one_or_none()
    return None if found is None else {**found}


def _json(value: Mapping[str, Any]) -> str:
    return json.dumps(dict(value), sort_keys=True, ensure_ascii=False)
