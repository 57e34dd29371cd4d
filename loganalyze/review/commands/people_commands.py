"""People added and changed by who holds the database: the first administrator begins so."""

from __future__ import annotations

from typing import Any

from pydantic import ValidationError

from loganalyze.problems import Problem
from loganalyze.review.access.passwords import password_hash
from loganalyze.review.access.sign_in import SignIn
from loganalyze.review.application.desk_forms import PersonForm
from loganalyze.review.commands.desk_server import machine_person
from loganalyze.review.decisions.case_decisions import NotThere
from loganalyze.review.decisions.decision_database import DecisionDatabase
from loganalyze.review.decisions.people import (
    Taken,
    add_person,
    all_people,
    change_person,
    find_person,
)
from loganalyze.review.decisions.trail_entries import Actor
from loganalyze.text.language import desk_command_words


def add_by_command(database: DecisionDatabase, name: str, role: str, password: str | None,
                   issuer: str | None = None, subject: str | None = None) -> None:
    """Add somebody.

    Raises
    ------
    Problem
        For a name that is taken or can't be, a password that is too short, and somebody who could
        sign in by nothing.
    """
    _check_subject(name, issuer, subject)
    if password is None and subject is None:
        raise Problem("they could sign in by nothing", name,
                      "give --password, or --issuer and --subject")
    try:
        PersonForm(person=name, role=role, password=password,
                   issuer=issuer, subject=subject)
        with database.writing(_actor()) as change:
            add_person(change, name, role, issuer=issuer, subject=subject,
                       password_hash=None if password is None else password_hash(password))
    except ValidationError:
        raise Problem("this can't be a name", name,
                      "write up to 100 letters, digits and . _ @ -") from None
    except Taken:
        raise Problem("the name, or the provider's subject, is taken", name,
                      "change them, or take another name") from None


def change_by_command(database: DecisionDatabase, name: str, role: str | None,
                      password: str | None, active: bool | None, issuer: str | None = None,
                      subject: str | None = None) -> None:
    """Change somebody's role, activity or way to sign in; what is None stays. Raises Problem."""
    values: dict[str, Any] = {}
    _check_subject(name, issuer, subject)
    if role is not None:
        values["role"] = role
    if active is not None:
        values["active"] = int(active)
    if password is not None:
        values["password_hash"] = password_hash(password)
    if issuer is not None:
        values |= {"issuer": issuer, "subject": subject}
    try:
        with database.writing(_actor()) as change:
            change_person(change, name, **values)
    except NotThere:
        raise Problem("there is nobody of this name", name,
                      "loganalyze review person list says who there is") from None
    except Taken:
        raise Problem("the provider's subject is another's", name,
                      "loganalyze review person list says who there is") from None


def _check_subject(name: str, issuer: str | None, subject: str | None) -> None:
    if (issuer is None) != (subject is None):
        raise Problem("an issuer and a subject go together", name, "give --issuer and --subject")
    for text in (issuer, subject):
        if text is not None and not (0 < len(text) <= 1000 and text.isprintable()):
            raise Problem("this can be no issuer or subject", name,
                          "write it as the provider writes it in its tokens")


def listed_people(database: DecisionDatabase) -> list[str]:
    """Return everybody, a line each."""
    with database.reading() as connection:
        return [desk_command_words.person_line(person.person, person.role, person.active)
                for person in all_people(connection)]


def token_by_command(database: DecisionDatabase, name: str) -> str:
    """Return a new token for a program of somebody. Raises Problem."""
    with database.reading() as connection:
        found = find_person(connection, name)
    if found is None or not found.active:
        raise Problem("there is nobody of this name who may sign in", name,
                      "loganalyze review person list says who there is")
    return SignIn(database).program_token(found)


def _actor() -> Actor:
    return Actor(machine_person(), "command")
