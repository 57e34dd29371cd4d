"""The pages of the cases: the list with its kept filters, and one case with its forms."""

from __future__ import annotations

from typing import Any, get_args

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from loganalyze.review.access.permissions import Permission
from loganalyze.review.access.sign_in import SignedIn
from loganalyze.review.application import desk_forms
from loganalyze.review.application.desk_views import missed
from loganalyze.review.application.pages.case_chart import case_chart
from loganalyze.review.application.pages.list_place import (
    case_address,
    list_place,
    neighbours_of,
)
from loganalyze.review.application.pages.page_frame import PageFrame, back_to, filled
from loganalyze.review.application.request_answers import FORMATS, places, query_of
from loganalyze.review.application.review_desk import ReviewDesk
from loganalyze.review.cases.case_filter import CaseFilter, Sort
from loganalyze.review.decisions.case_decisions import NotThere, Outdated
from loganalyze.text.language import evidence_words, pack_words, refusal_words


class CasePages:
    """The list of cases, and each case; `routes` gives them to the application."""

    def __init__(self, desk: ReviewDesk, frame: PageFrame) -> None:
        self.desk, self.frame = desk, frame

    def routes(self) -> list[Route]:
        """Return the routes of these pages and their forms."""
        page, decide = self.frame.page, Permission.DECIDE
        return [
            Route("/", page(self.cases)),
            Route("/filters", page(self.keep_filter), methods=["POST"]),
            Route("/filters/{filter_id}/drop", page(self.drop_filter), methods=["POST"]),
            Route("/cases/{key}", page(self.case)),
            Route("/cases/{key}/decision", page(self.decide, decide), methods=["POST"]),
            Route("/cases/{key}/notes", page(self.add_note, decide), methods=["POST"]),
            Route("/cases/{key}/follow-ups", page(self.open_follow_up, decide),
                  methods=["POST"]),
            Route("/cases/{key}/follow-ups/{follow_up_id}", page(self.change_follow_up, decide),
                  methods=["POST"]),
            Route("/cases/{key}/identity", page(self.reveal, Permission.REVEAL),
                  methods=["POST"]),
            Route("/cases/{key}/pack", page(self.pack, Permission.EXPORT), methods=["POST"]),
        ]

    async def cases(self, request: Request, who: SignedIn) -> Response:
        """Show the list."""
        wanted: CaseFilter = query_of(CaseFilter, request)
        page, choices, kept = await run_in_threadpool(lambda: (
            self.desk.cases(who.actor, wanted), self.desk.choices(who.actor),
            self.desk.kept_filters(who.actor)))
        return self.frame.render(request, "cases.html", {
            "page": page, "wanted": wanted, "choices": choices.of, "kept": kept,
            "today": self.desk.today, "sorts": get_args(Sort)})

    async def case(self, request: Request, who: SignedIn) -> Response:
        """Show one case."""
        return await self._case(request, who)

    async def decide(self, request: Request, who: SignedIn) -> Response:
        """Decide on a case; where somebody was faster, the page comes again with what was typed."""
        form = filled(desk_forms.DecisionForm, request.state.form)
        try:
            await self.frame.do(self.desk.decide, who, places(request)["key"], form)
        except Outdated as error:
            return await self._case(request, who, typed=form, refusal=error)
        return back_to(case_address(request))

    async def add_note(self, request: Request, who: SignedIn) -> Response:
        """Add a note."""
        key = places(request)["key"]
        await self.frame.do(self.desk.add_note, who, key,
                       filled(desk_forms.NoteForm, request.state.form))
        return back_to(case_address(request))

    async def open_follow_up(self, request: Request, who: SignedIn) -> Response:
        """Open a follow-up."""
        key = places(request)["key"]
        await self.frame.do(self.desk.open_follow_up, who, key,
                       filled(desk_forms.FollowUpForm, request.state.form))
        return back_to(case_address(request))

    async def change_follow_up(self, request: Request, who: SignedIn) -> Response:
        """Change or close a follow-up."""
        place = places(request)
        try:
            await self.frame.do(self.desk.change_follow_up, who, place["follow_up_id"],
                           filled(desk_forms.FollowUpChange, request.state.form))
        except Outdated as error:
            return await self._case(request, who, refusal=error)
        return back_to(case_address(request))

    async def reveal(self, request: Request, who: SignedIn) -> Response:
        """Show whose flight a case is, in the answer itself: no address leads there again."""
        form = filled(desk_forms.RevealForm, request.state.form)
        found = await self.frame.do(self.desk.reveal, who, places(request)["key"], form)
        return await self._case(request, who, identity=found)

    async def pack(self, request: Request, who: SignedIn) -> Response:
        """Give the follow-up pack of a case, to be kept as a file."""
        key, form = places(request)["key"], filled(desk_forms.PackForm, request.state.form)
        content = await self.frame.do(self.desk.case_pack, who, key, form)
        name = f"follow-up-{key[:8]}.{form.format}"
        return Response(content, media_type=FORMATS[form.format], headers={
            "Content-Disposition": f'attachment; filename="{name}"'})

    async def keep_filter(self, request: Request, who: SignedIn) -> Response:
        """Keep a filter."""
        found = await self.frame.do(self.desk.keep_filter, who,
                               filled(desk_forms.KeptFilterForm, request.state.form))
        return back_to(f"/?{found.query}")

    async def drop_filter(self, request: Request, who: SignedIn) -> Response:
        """Keep a filter no longer."""
        await self.frame.do(self.desk.drop_filter, who, places(request)["filter_id"])
        return back_to("/")

    async def _case(self, request: Request, who: SignedIn, *, identity: Any = None,
                    typed: Any = None, refusal: Outdated | None = None) -> Response:
        key = places(request)["key"]
        try:
            view = await run_in_threadpool(self.desk.case, who.actor, key)
        except NotThere:
            found = await run_in_threadpool(self.desk.resolve, who.actor, key)
            if found == key:
                raise
            return back_to(f"/cases/{found}")
        came = list_place(request)
        samples, neighbours = await run_in_threadpool(lambda: (
            self.desk.samples(who.actor, key), neighbours_of(self.desk, who.actor, key, came)))
        row = view.material.exceedance
        begin = row.get("flight_start_s") or 0.0
        chart = case_chart(samples, row["start_s"] - begin, row["end_s"] - begin,
                           None if row["worst_time_s"] is None else row["worst_time_s"] - begin,
                           in_mach=row.get("quantity") == "mach")
        return self.frame.render(request, "case.html", {
            "view": view, "identity": identity, "typed": typed, "chart": chart,
            "neighbours": neighbours, "came": came, "today": self.desk.today, "pack": pack_words,
            "beside": evidence_words,
            "kinds": get_args(desk_forms.FollowUpKind),
            "missed": () if typed is None else missed(view, typed.seen_version),
            "refused": "" if refusal is None else refusal_words.REFUSALS["outdated"],
        }, 200 if refusal is None else 409)
