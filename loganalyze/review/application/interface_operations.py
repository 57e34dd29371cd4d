"""The table of the HTTP interface: a line is a route, its checks and its description."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from pydantic import BaseModel

from loganalyze.review.access.permissions import Permission
from loganalyze.review.application import case_exports
from loganalyze.review.application.desk_forms import (
    AdoptionForm,
    DecisionForm,
    FollowUpChange,
    FollowUpForm,
    FollowUpQuery,
    KeptFilterForm,
    NoteForm,
    PackForm,
    PeriodQuery,
    PersonChange,
    PersonForm,
    RevealForm,
    SheetForm,
    TrailQuery,
    WitnessQuery,
)
from loganalyze.review.application.desk_views import (
    CaseView,
    Choices,
    Me,
    PersonView,
    SheetTrial,
    TrailLine,
    TrailState,
)
from loganalyze.review.application.review_desk import ReviewDesk
from loganalyze.review.cases.case_filter import CaseFilter
from loganalyze.review.cases.case_rows import CaseIdentity, CasePage, ListedCase
from loganalyze.review.decisions.case_decisions import CaseRecord, FollowUp
from loganalyze.review.decisions.people import KeptFilter
from loganalyze.review.decisions.trail_entries import Actor

Method = Literal["GET", "POST", "PUT", "PATCH", "DELETE"]
PLACES: dict[str, str] = {
    "key": "^[0-9a-f]{20}$", "follow_up_id": "^[0-9a-f]{32}$", "filter_id": "^[0-9a-f]{32}$",
    "person": "^[A-Za-z0-9][A-Za-z0-9._@-]{0,99}$",
}
"""The parts of paths, and what each looks like; what looks otherwise isn't there."""


@dataclass(frozen=True)
class Given:
    """What a request gives: parts of its path, its query, its body, as the operation says."""

    place: Mapping[str, str]
    query: Any = None
    body: Any = None


@dataclass(frozen=True)
class Operation:
    """One operation of the interface.

    ``name`` : unique, also that of its words; ``permission`` : that a role needs, None for
    everybody who is signed in; ``run`` : calls the desk; ``result`` : what that returns;
    ``media`` : of a result that is bytes; ``file`` : its name, where a browser keeps it as a file.
    """

    method: Method
    path: str
    name: str
    permission: Permission | None
    run: Callable[[ReviewDesk, Actor, Given], Any]
    result: Any
    query: type[BaseModel] | None = None
    body: type[BaseModel] | None = None
    media: str = "application/json"
    file: str = field(default="")


CASE = "/api/cases/{key}"

OPERATIONS: tuple[Operation, ...] = (
    Operation("GET", "/api/me", "me", None, lambda desk, actor, given: desk.me(actor), Me),
    Operation("GET", "/api/cases", "list_cases", Permission.READ_CASES,
              lambda desk, actor, given: desk.cases(actor, given.query), CasePage,
              query=CaseFilter),
    Operation("GET", "/api/choices", "choices", Permission.READ_CASES,
              lambda desk, actor, given: desk.choices(actor), Choices),
    Operation("GET", "/api/counts", "counts", Permission.READ_CASES,
              lambda desk, actor, given: desk.counts(actor), dict[str, int]),
    Operation("GET", CASE, "case", Permission.READ_CASES,
              lambda desk, actor, given: desk.case(actor, given.place["key"]), CaseView),
    Operation("GET", f"{CASE}/samples", "samples", Permission.READ_CASES,
              lambda desk, actor, given: desk.samples(actor, given.place["key"]),
              dict[str, list[Any]]),
    Operation("POST", f"{CASE}/decision", "decide", Permission.DECIDE,
              lambda desk, actor, given: desk.decide(actor, given.place["key"], given.body),
              CaseRecord, body=DecisionForm),
    Operation("POST", f"{CASE}/notes", "add_note", Permission.DECIDE,
              lambda desk, actor, given: desk.add_note(actor, given.place["key"], given.body),
              CaseRecord, body=NoteForm),
    Operation("POST", f"{CASE}/follow-ups", "open_follow_up", Permission.DECIDE,
              lambda desk, actor, given: desk.open_follow_up(
                  actor, given.place["key"], given.body), CaseRecord, body=FollowUpForm),
    Operation("GET", "/api/follow-ups", "follow_ups", Permission.READ_CASES,
              lambda desk, actor, given: desk.follow_ups(actor, given.query), list[FollowUp],
              query=FollowUpQuery),
    Operation("PUT", "/api/follow-ups/{follow_up_id}", "change_follow_up", Permission.DECIDE,
              lambda desk, actor, given: desk.change_follow_up(
                  actor, given.place["follow_up_id"], given.body), CaseRecord,
              body=FollowUpChange),
    Operation("POST", f"{CASE}/identity", "reveal", Permission.REVEAL,
              lambda desk, actor, given: desk.reveal(actor, given.place["key"], given.body),
              CaseIdentity, body=RevealForm),
    Operation("POST", f"{CASE}/sheet-trial", "try_sheet", Permission.TRY_SHEET,
              lambda desk, actor, given: desk.try_sheet(actor, given.place["key"], given.body),
              SheetTrial, body=SheetForm),
    Operation("POST", f"{CASE}/sheet-adoption", "adopt_sheet", Permission.ADOPT_SHEET,
              lambda desk, actor, given: desk.adopt_sheet(actor, given.place["key"], given.body),
              CaseView, body=AdoptionForm),
    Operation("POST", f"{CASE}/sheet-drop", "drop_sheet", Permission.TRY_SHEET,
              lambda desk, actor, given: desk.drop_sheet(actor, given.place["key"], given.body),
              None, body=AdoptionForm),
    Operation("GET", f"{CASE}/trail", "case_trail", Permission.READ_TRAIL,
              lambda desk, actor, given: desk.trail(actor, given.query, given.place["key"]),
              list[TrailLine], query=TrailQuery),
    Operation("GET", "/api/trail", "trail", Permission.READ_TRAIL,
              lambda desk, actor, given: desk.trail(actor, given.query), list[TrailLine],
              query=TrailQuery),
    Operation("GET", "/api/trail/check", "check_trail", Permission.CHECK_TRAIL,
              lambda desk, actor, given: desk.check_trail(actor, given.query), TrailState,
              query=WitnessQuery),
    Operation("POST", "/api/trail/export", "export_trail", Permission.CHECK_TRAIL,
              lambda desk, actor, given: case_exports.trail_lines(desk, actor), bytes,
              media="application/x-ndjson", file="trail.jsonl"),
    Operation("GET", "/api/exports/cases.csv", "export_csv", Permission.EXPORT,
              lambda desk, actor, given: case_exports.cases_csv(desk, actor, given.query), bytes,
              query=CaseFilter, media="text/csv", file="cases.csv"),
    Operation("GET", "/api/exports/cases.json", "export_json", Permission.EXPORT,
              lambda desk, actor, given: case_exports.every_case(desk, actor, given.query),
              list[ListedCase], query=CaseFilter, file="cases.json"),
    Operation("POST", f"{CASE}/pack", "case_pack", Permission.EXPORT,
              lambda desk, actor, given: desk.case_pack(actor, given.place["key"], given.body),
              bytes, body=PackForm, media="application/octet-stream", file="follow-up"),
    Operation("GET", "/api/report", "period_report", Permission.EXPORT,
              lambda desk, actor, given: desk.period_report(actor, given.query), bytes,
              query=PeriodQuery, media="application/octet-stream", file="safety-report"),
    Operation("GET", "/api/filters", "kept_filters", Permission.READ_CASES,
              lambda desk, actor, given: desk.kept_filters(actor), list[KeptFilter]),
    Operation("POST", "/api/filters", "keep_filter", Permission.READ_CASES,
              lambda desk, actor, given: desk.keep_filter(actor, given.body), KeptFilter,
              body=KeptFilterForm),
    Operation("DELETE", "/api/filters/{filter_id}", "drop_filter", Permission.READ_CASES,
              lambda desk, actor, given: desk.drop_filter(actor, given.place["filter_id"]), None),
    Operation("GET", "/api/people", "people", Permission.MANAGE_PEOPLE,
              lambda desk, actor, given: desk.people(actor), list[PersonView]),
    Operation("POST", "/api/people", "add_person", Permission.MANAGE_PEOPLE,
              lambda desk, actor, given: desk.add_person(actor, given.body), None,
              body=PersonForm),
    Operation("PATCH", "/api/people/{person}", "change_person", Permission.MANAGE_PEOPLE,
              lambda desk, actor, given: desk.change_person(
                  actor, given.place["person"], given.body), None, body=PersonChange),
)
"""All operations; the desk's own methods check the permission, and a test holds both alike."""
