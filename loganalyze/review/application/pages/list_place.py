"""The place in the list from which a case was opened: what its previous and next case are."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import parse_qs

from starlette.requests import Request

from loganalyze.review.application.request_answers import places
from loganalyze.review.application.review_desk import ReviewDesk
from loganalyze.review.cases.case_filter import CaseFilter
from loganalyze.review.decisions.trail_entries import Actor

AT_DIGITS = 8


@dataclass(frozen=True)
class ListPlace:
    """Where in which list a case was opened: the query of the case's own address."""

    wanted: CaseFilter
    at: int

    @property
    def query(self) -> str:
        """The query of the case's address."""
        return "&".join(part for part in (self.wanted.query(page=1), f"at={self.at}") if part)


def list_place(request: Request) -> ListPlace:
    """Return the place in the list that an address names, the first of all cases without one."""
    given = parse_qs(request.url.query, max_num_fields=2000)
    at = given.pop("at", ["0"])[-1]
    right = at.isascii() and at.isdigit() and len(at) < AT_DIGITS
    return ListPlace(CaseFilter.from_query(given), int(at) if right else 0)


def case_address(request: Request) -> str:
    """Return the address of the case that a form was sent from, with its place in the list."""
    query = f"?{list_place(request).query}" if request.url.query else ""
    return f"/cases/{places(request)['key']}{query}"


def neighbours_of(desk: ReviewDesk, actor: Actor, key: str, came: ListPlace
                  ) -> tuple[tuple[str, str] | None, ...]:
    """Return key and query of the case before, and of the one after, in the list that led here.

    A case that has left its place, as one does that was decided, has given it to the next.
    """
    first = max(came.at - 1, 0)
    keys = desk.case_keys(actor, came.wanted, first, 3)

    def at(place: int) -> tuple[str, str] | None:
        if not first <= place < first + len(keys):
            return None
        return keys[place - first], ListPlace(came.wanted, place).query

    here = at(came.at)
    after = at(came.at + 1) if here is not None and here[0] == key else here
    return at(came.at - 1), after
