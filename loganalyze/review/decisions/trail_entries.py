"""Entries of the trail: their hash, and how one is appended and read."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from sqlalchemy import Connection, RowMapping, select, update

from loganalyze.review.decisions.decision_tables import TRAIL, TRAIL_HEAD

BEGINNING = "0" * 64
"""The hash before the first entry."""
HASHED = ("seq", "at", "actor", "role", "action", "kind", "subject", "case_key", "before", "after")
"""What an entry's hash covers, besides the hash before."""


@dataclass(frozen=True)
class Actor:
    """Who acts, in which role."""

    name: str
    role: str


@dataclass(frozen=True)
class TrailHead:
    """The last entry of a trail; written down elsewhere it bears witness to all entries."""

    seq: int
    hash: str

    def __str__(self) -> str:
        return f"{self.seq}-{self.hash}"

    @classmethod
    def parse(cls, text: str) -> TrailHead:
        """Return a head from its text; ValueError for what is none."""
        seq, _, digest = text.strip().partition("-")
        if len(digest) != 64 or not set(digest) <= set("0123456789abcdef"):
            raise ValueError(f"{text!r} is no head of a trail")
        return cls(int(seq), digest)


@dataclass(frozen=True)
class TrailEntry:
    """One entry; ``before``, ``after`` : the state of its subject, None where there is none."""

    seq: int
    at: str
    actor: str
    role: str
    action: str
    kind: str
    subject: str
    case_key: str | None
    before: dict[str, Any] | None
    after: dict[str, Any] | None
    previous_hash: str
    hash: str


def state_text(state: Mapping[str, Any] | None) -> str | None:
    """Return a state as JSON with sorted names: equal states are equal texts."""
    return None if state is None else json.dumps(
        dict(state), sort_keys=True, ensure_ascii=False, allow_nan=False)


def entry_hash(values: Mapping[str, Any], previous_hash: str) -> str:
    """Return the hash of an entry as it stands in the table, after the one before."""
    text = json.dumps([previous_hash, *(values[name] for name in HASHED)], ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def head_of(connection: Connection, *, locked: bool = False) -> TrailHead:
    """Return the trail's head; `locked` until the transaction ends."""
    query = select(TRAIL_HEAD.c.seq, TRAIL_HEAD.c.hash).where(TRAIL_HEAD.c.head_id == 1)
    seq, digest = connection.execute(query.with_for_update() if locked else query).one()
    return TrailHead(seq, digest)


class Change:
    """A transaction that changes something, by one person; made by `DecisionDatabase.writing`.

    ``at`` : its instant [UTC]; ``head`` : of the trail, after what was appended so far.
    """

    def __init__(self, connection: Connection, actor: Actor, at: datetime) -> None:
        self.connection = connection
        self.actor = actor
        self.at = instant_text(at)
        self.head = head_of(connection, locked=True)

    def append(self, action: str, kind: str, subject: str, *, case_key: str | None = None,
               before: Mapping[str, Any] | None = None,
               after: Mapping[str, Any] | None = None) -> None:
        """Append an entry to the trail."""
        values = {
            "seq": self.head.seq + 1, "at": self.at, "actor": self.actor.name,
            "role": self.actor.role, "action": action, "kind": kind, "subject": subject,
            "case_key": case_key, "before": state_text(before), "after": state_text(after),
        }
        digest = entry_hash(values, self.head.hash)
        self.connection.execute(TRAIL.insert().values(
            **values, previous_hash=self.head.hash, hash=digest))
        self.head = TrailHead(self.head.seq + 1, digest)
        self.connection.execute(update(TRAIL_HEAD).where(TRAIL_HEAD.c.head_id == 1).values(
            seq=self.head.seq, hash=self.head.hash))


def instant_text(at: datetime) -> str:
    """Return an instant as text that sorts as time does."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def trail_entry(row: RowMapping) -> TrailEntry:
    """Return a row of the trail as an entry."""
    values: dict[str, Any] = {**row}
    for name in ("before", "after"):
        values[name] = None if values[name] is None else json.loads(values[name])
    return TrailEntry(**values)


def trail_entries(connection: Connection, *, case_key: str | None = None, kind: str | None = None,
                  before: int | None = None, most: int = 100, actor: str = "", action: str = "",
                  case: str = "", since: date | None = None, until: date | None = None
                  ) -> list[TrailEntry]:
    """Return entries, the latest first; those with a lower number than `before`.

    Parameters
    ----------
    connection : Connection
        One state of the database.
    case_key, kind, actor, action : str
        Only entries of these, each where it is given.
    before : int, optional
        Only entries with a lower number.
    most : int
        So many at most.
    case : str
        How the key of the case begins.
    since, until : date, optional
        Days [UTC], both included.
    """
    query = select(TRAIL).order_by(TRAIL.c.seq.desc()).limit(most)
    if case_key is not None:
        query = query.where(TRAIL.c.case_key == case_key)
    if kind is not None:
        query = query.where(TRAIL.c.kind == kind)
    if actor:
        query = query.where(TRAIL.c.actor == actor)
    if action:
        query = query.where(TRAIL.c.action == action)
    if case:
        query = query.where(TRAIL.c.case_key.startswith(case, autoescape=True))
    if since is not None:
        query = query.where(TRAIL.c.at >= since.isoformat())
    if until is not None:
        query = query.where(TRAIL.c.at < (until + timedelta(days=1)).isoformat())
    if before is not None:
        query = query.where(TRAIL.c.seq < before)
    return [trail_entry(row) for row in connection.execute(query).mappings()]
