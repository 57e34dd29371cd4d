"""Sessions: how they start, how a request is known to be of one, how they end."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from dataclasses import dataclass
from datetime import timedelta

from loganalyze.review.access.passwords import is_outdated, is_password, password_hash
from loganalyze.review.access.permissions import OWNER
from loganalyze.review.access.sign_in_limits import SignInLimits
from loganalyze.review.decisions.decision_database import DecisionDatabase
from loganalyze.review.decisions.people import (
    Person,
    change_person,
    end_session,
    find_person,
    find_session,
    find_subject,
    start_session,
)
from loganalyze.review.decisions.trail_entries import Actor

PAGE_LASTS = timedelta(hours=10)
"""A working day; then people sign in again."""
PROGRAM_LASTS = timedelta(days=90)


class TooManyAttempts(Exception):
    """Too many failed attempts to sign in; ``wait_s`` : until the next one [s]."""

    def __init__(self, wait_s: float) -> None:
        self.wait_s = wait_s
        super().__init__(f"wait {wait_s:.0f} s")


@dataclass(frozen=True)
class SignedIn:
    """Who a request is of.

    ``csrf_token`` : that a change from a page must carry; blank where the request proves itself,
    by a bearer token that no foreign page can send.
    """

    actor: Actor
    csrf_token: str
    token: str

    @property
    def by_token(self) -> bool:
        """Whether a program sent it, with a bearer token."""
        return not self.csrf_token


class SignIn:
    """Starts and finds sessions; safe to use from several threads.

    Parameters
    ----------
    database : DecisionDatabase
        Holds people and sessions.
    owner : str, optional
        The name of the one person of a desk without accounts; then nobody signs in, and `secret`
        opens the desk.
    """

    def __init__(self, database: DecisionDatabase, owner: str | None = None,
                 limits: SignInLimits | None = None) -> None:
        self.database = database
        self.owner = owner
        self.secret = secrets.token_urlsafe(32) if owner is not None else ""
        self.limits = limits or SignInLimits()
        # Without accounts sessions end with the server: the next one doesn't know this key.
        self._key = secrets.token_bytes(32) if owner is not None else b""

    def enter(self, secret: str) -> SignedIn | None:
        """Start the session of the desk's owner; None where the secret isn't the desk's."""
        if self.owner is None or not hmac.compare_digest(secret.encode(), self.secret.encode()):
            return None
        return self._start(Actor(self.owner, OWNER))

    def with_password(self, person: str, password: str, place: str) -> SignedIn | None:
        """Start a session with a password; None where name or password is wrong.

        Raises
        ------
        TooManyAttempts
            Where too many failed before, whatever this one is.
        """
        wait = self.limits.wait_s(person, place)
        if wait:
            raise TooManyAttempts(wait)
        found = None
        if person.isprintable():  # a database may refuse what no name holds
            with self.database.reading() as connection:
                found = find_person(connection, person)
        kept = found.password_hash if found is not None and found.active else None
        if not is_password(password, kept) or found is None or kept is None:
            self.limits.failed(person, place)
            return None
        self.limits.succeeded(person)
        actor = Actor(found.person, found.role)
        if is_outdated(kept):
            with self.database.writing(actor) as change:
                change_person(change, found.person, password_hash=password_hash(password))
        return self._start(actor)

    def with_subject(self, issuer: str, subject: str) -> SignedIn | None:
        """Start a session of whom an OpenID provider vouches for; None for a stranger."""
        with self.database.reading() as connection:
            found = find_subject(connection, issuer, subject)
        if found is None or not found.active:
            return None
        return self._start(Actor(found.person, found.role))

    def program_token(self, person: Person) -> str:
        """Return a new bearer token for a program of somebody."""
        return self._start(Actor(person.person, person.role), "program").token

    def find(self, cookie: str | None, bearer: str | None) -> SignedIn | None:
        """Return who a request is of, by its cookie or its bearer token; None where unknown.

        Role and activity are those of this moment, not of when the session began.
        """
        if bearer is not None:
            if self.owner is not None:
                fits = hmac.compare_digest(bearer.encode(), self.secret.encode())
                return SignedIn(Actor(self.owner, OWNER), "", "") if fits else None
            return self._found(bearer, "program")
        return self._found(cookie, "page") if cookie else None

    def end(self, signed_in: SignedIn) -> None:
        """End a session."""
        with self.database.transaction() as connection:
            end_session(connection, self._hash(signed_in.token))

    def _found(self, token: str, kind: str) -> SignedIn | None:
        with self.database.reading() as connection:
            session = find_session(connection, self._hash(token), self.database.clock())
            if session is None or session.kind != kind:
                return None
            csrf = session.csrf_token if kind == "page" else ""
            if self.owner is not None:
                return SignedIn(Actor(session.person, OWNER), csrf, token)
            person = find_person(connection, session.person)
        if person is None or not person.active:
            return None
        return SignedIn(Actor(person.person, person.role), csrf, token)

    def _start(self, actor: Actor, kind: str = "page") -> SignedIn:
        """Start a session under a token that didn't exist before, so that none can be foisted."""
        token, csrf = secrets.token_urlsafe(32), secrets.token_urlsafe(32)
        now = self.database.clock()
        lasts = PAGE_LASTS if kind == "page" else PROGRAM_LASTS
        with self.database.writing(actor) as change:
            start_session(change.connection, token_hash=self._hash(token), person=actor.name,
                          kind=kind, csrf_token=csrf, started=now, expires=now + lasts)
            change.append("signed in" if kind == "page" else "token made", "session", actor.name)
        return SignedIn(actor, csrf, token)

    def _hash(self, token: str) -> str:
        return hmac.new(self._key, token.encode(), hashlib.sha256).hexdigest()
