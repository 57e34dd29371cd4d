"""Who may use the desk, and the filters that each keeps."""

from __future__ import annotations

from typing import Any
from urllib.parse import parse_qs

from loganalyze.problems import Problem
from loganalyze.review.access.passwords import password_hash
from loganalyze.review.access.permissions import Permission, require
from loganalyze.review.application.desk_forms import KeptFilterForm, PersonChange, PersonForm
from loganalyze.review.application.desk_views import PersonView
from loganalyze.review.cases.case_filter import CaseFilter
from loganalyze.review.decisions.decision_database import DecisionDatabase
from loganalyze.review.decisions.people import (
    KeptFilter,
    add_person,
    all_people,
    change_person,
    drop_filter,
    keep_filter,
    kept_filters,
)
from loganalyze.review.decisions.trail_entries import Actor


class DeskPeople:
    """The part of a desk that is about people: `ReviewDesk` has it."""

    database: DecisionDatabase

    def kept_filters(self, actor: Actor) -> list[KeptFilter]:
        """Return the filters that the person keeps."""
        require(actor.role, Permission.READ_CASES)
        with self.database.reading() as connection:
            return kept_filters(connection, actor.name)

    def keep_filter(self, actor: Actor, form: KeptFilterForm) -> KeptFilter:
        """Keep a filter under a name; ValidationError for a query that is no filter's."""
        require(actor.role, Permission.READ_CASES)
        query = CaseFilter.from_query(parse_qs(form.query, max_num_fields=1000)).query()
        with self.database.writing(actor) as change:
            return keep_filter(change, form.name, query)

    def drop_filter(self, actor: Actor, filter_id: str) -> None:
        """Keep a filter no longer."""
        require(actor.role, Permission.READ_CASES)
        with self.database.writing(actor) as change:
            drop_filter(change, filter_id)

    def people(self, actor: Actor) -> list[PersonView]:
        """Return who may sign in."""
        require(actor.role, Permission.MANAGE_PEOPLE)
        with self.database.reading() as connection:
            return [
                PersonView(
                    person.person,
                    person.role,
                    person.active,
                    person.password_hash is not None,
                    person.issuer,
                )
                for person in all_people(connection)
            ]

    def add_person(self, actor: Actor, form: PersonForm) -> None:
        """Add somebody; Taken for a name there is, Problem for a password that is too short."""
        require(actor.role, Permission.MANAGE_PEOPLE)
        kept = None if form.password is None else password_hash(form.password)
        with self.database.writing(actor) as change:
            add_person(change, form.person, form.role, password_hash=kept, issuer=form.issuer,
                       subject=form.subject)

    def change_person(self, actor: Actor, person: str, form: PersonChange) -> None:
        """Change somebody's role, activity or way to sign in, and end their sessions.

        Raises Problem where no active administrator would be left.
        """
        require(actor.role, Permission.MANAGE_PEOPLE)
        values: dict[str, Any] = {}
        if form.role is not None:
            values["role"] = form.role
        if form.active is not None:
            values["active"] = int(form.active)
        if form.password is not None:
            values["password_hash"] = password_hash(form.password)
        if form.issuer is not None:
            values |= {"issuer": form.issuer, "subject": form.subject}
        with self.database.writing(actor) as change:
            change_person(change, person, **values)
            if not any(other.active and other.role == "administrator"
                       for other in all_people(change.connection)):
                raise Problem("nobody could manage people any longer", person,
                              "make somebody else an administrator first")
