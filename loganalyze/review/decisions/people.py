"""People with their roles, their sessions, and the filters they keep."""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, delete, func, select, update

from loganalyze.review.decisions.case_decisions import NotThere
from loganalyze.review.decisions.decision_tables import KEPT_FILTERS, PEOPLE, SESSIONS
from loganalyze.review.decisions.trail_entries import Change, instant_text

ROLES = ("reviewer", "gatekeeper", "administrator")


@dataclass(frozen=True)
class Person:
    """Who may sign in; ``issuer``, ``subject`` : by which an OpenID provider knows them."""

    person: str
    role: str
    active: bool
    password_hash: str | None
    issuer: str | None
    subject: str | None


@dataclass(frozen=True)
class Session:
    """A session that hasn't expired; ``kind`` : "page" of a browser, "program" of a program."""

    token_hash: str
    person: str
    kind: str
    csrf_token: str
    expires_at: str


@dataclass(frozen=True)
class KeptFilter:
    """A filter under a name; ``query`` : as `CaseFilter.query` writes it."""

    filter_id: str
    name: str
    query: str


class Taken(Exception):
    """A name that another one has already."""


def add_person(change: Change, person: str, role: str, *, password_hash: str | None = None,
               issuer: str | None = None, subject: str | None = None) -> None:
    """Add somebody; raises Taken where the name, or the provider's subject, is."""
    if _person(change.connection, person) is not None:
        raise Taken(person)
    _check_subject(change.connection, person, issuer, subject)
    row = {"person": person, "role": role, "active": 1, "password_hash": password_hash,
           "issuer": issuer, "subject": subject, "added_at": change.at}
    change.connection.execute(PEOPLE.insert().values(row))
    change.append("person added", "person", person, after=person_state(row))


def change_person(change: Change, person: str, **values: Any) -> None:
    """Change role, active, password_hash, issuer or subject of somebody; end their sessions.

    Raises NotThere for a name that isn't there, Taken for a subject that is another's.
    """
    before = _person(change.connection, person)
    if before is None:
        raise NotThere(person)
    after = {**before, **values}
    _check_subject(change.connection, person, after["issuer"], after["subject"])
    change.connection.execute(update(PEOPLE).where(PEOPLE.c.person == person).values(**after))
    change.append("person changed", "person", person, before=person_state(before),
                  after=person_state(after))
    end_sessions(change.connection, person)


def person_state(row: dict[str, Any]) -> dict[str, Any]:
    """Return what the trail says of somebody: a digest stands for the hash of their password."""
    kept = row["password_hash"]
    return {**row, "password_hash": kept and hashlib.sha256(kept.encode()).hexdigest()}


def find_person(connection: Connection, person: str) -> Person | None:
    """Return somebody by name."""
    row = _person(connection, person)
    return None if row is None else _as_person({**row})


def find_subject(connection: Connection, issuer: str, subject: str) -> Person | None:
    """Return who an OpenID provider knows as `subject`."""
    row = connection.execute(select(PEOPLE).where(
        PEOPLE.c.issuer == issuer, PEOPLE.c.subject == subject)).mappings().one_or_none()
    return None if row is None else _as_person({**row})


def all_people(connection: Connection) -> list[Person]:
    """Return all people by name."""
    return [_as_person({**row}) for row in connection.execute(
        select(PEOPLE).order_by(PEOPLE.c.person)).mappings()]


def can_sign_in(connection: Connection) -> int:
    """Return how many people may sign in."""
    return int(connection.execute(select(func.count()).select_from(PEOPLE).where(
        PEOPLE.c.active == 1)).scalar_one())


def start_session(connection: Connection, *, token_hash: str, person: str, kind: str,
                  csrf_token: str, started: datetime, expires: datetime) -> Session:
    """Keep a new session; expired ones of all people are removed."""
    connection.execute(delete(SESSIONS).where(SESSIONS.c.expires_at < instant_text(started)))
    row = {"token_hash": token_hash, "person": person, "kind": kind, "csrf_token": csrf_token,
           "started_at": instant_text(started), "expires_at": instant_text(expires)}
    connection.execute(SESSIONS.insert().values(row))
    return Session(token_hash, person, kind, csrf_token, row["expires_at"])


def find_session(connection: Connection, token_hash: str, now: datetime) -> Session | None:
    """Return a session that hasn't expired."""
    row = connection.execute(select(SESSIONS).where(
        SESSIONS.c.token_hash == token_hash,
        SESSIONS.c.expires_at >= instant_text(now))).one_or_none()
    return None if row is None else Session(
        row.token_hash, row.person, row.kind, row.csrf_token, row.expires_at)


def end_session(connection: Connection, token_hash: str) -> None:
    """End one session."""
    connection.execute(delete(SESSIONS).where(SESSIONS.c.token_hash == token_hash))


def end_sessions(connection: Connection, person: str) -> None:
    """End all sessions of somebody."""
    connection.execute(delete(SESSIONS).where(SESSIONS.c.person == person))


def keep_filter(change: Change, name: str, query: str) -> KeptFilter:
    """Keep a filter for the person of the change, in place of one of the same name."""
    person = change.actor.name
    before = change.connection.execute(select(KEPT_FILTERS).where(
        KEPT_FILTERS.c.person == person, KEPT_FILTERS.c.name == name)).mappings().one_or_none()
    identifier = uuid.uuid4().hex if before is None else str(before["filter_id"])
    row = {"filter_id": identifier, "person": person, "name": name, "query": query}
    if before is None:
        change.connection.execute(KEPT_FILTERS.insert().values(row))
    else:
        change.connection.execute(update(KEPT_FILTERS).where(
            KEPT_FILTERS.c.filter_id == identifier).values(**row))
    change.append("filter kept", "kept filter", identifier,
                  before=None if before is None else {**before}, after=row)
    return KeptFilter(identifier, name, query)


def drop_filter(change: Change, filter_id: str) -> None:
    """Remove a filter of the person of the change; raises NotThere for one of others."""
    row = change.connection.execute(select(KEPT_FILTERS).where(
        KEPT_FILTERS.c.filter_id == filter_id,
        KEPT_FILTERS.c.person == change.actor.name)).mappings().one_or_none()
    if row is None:
        raise NotThere(filter_id)
    change.connection.execute(delete(KEPT_FILTERS).where(KEPT_FILTERS.c.filter_id == filter_id))
    change.append("filter dropped", "kept filter", filter_id, before={**row})


def kept_filters(connection: Connection, person: str) -> list[KeptFilter]:
    """Return the filters that somebody keeps, by name."""
    return [KeptFilter(row.filter_id, row.name, row.query) for row in connection.execute(
        select(KEPT_FILTERS).where(KEPT_FILTERS.c.person == person)
        .order_by(KEPT_FILTERS.c.name))]


def _check_subject(connection: Connection, person: str, issuer: str | None, subject: str | None
                   ) -> None:
    if issuer is not None and subject is not None:
        known = find_subject(connection, issuer, subject)
        if known is not None and known.person != person:
            raise Taken(subject)


def _person(connection: Connection, person: str) -> dict[str, Any] | None:
    query = select(PEOPLE).where(PEOPLE.c.person == person)
    row = connection.execute(query).mappings().one_or_none()
    return None if row is None else {**row}


def _as_person(row: Mapping[str, Any]) -> Person:
    return Person(row["person"], row["role"], bool(row["active"]), row["password_hash"],
                  row["issuer"], row["subject"])
