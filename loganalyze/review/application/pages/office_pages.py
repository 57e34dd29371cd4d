"""The pages of the whole office: follow-ups, the periodic report, the trail, people."""

from __future__ import annotations

from typing import get_args
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from loganalyze.review.access.permissions import Permission
from loganalyze.review.access.sign_in import SignedIn
from loganalyze.review.application import case_exports, desk_forms
from loganalyze.review.application.desk_views import TrailState
from loganalyze.review.application.pages.page_frame import PageFrame, back_to, filled
from loganalyze.review.application.request_answers import FORMATS, places, query_of
from loganalyze.review.application.review_desk import ReviewDesk
from loganalyze.review.decisions.case_decisions import Outdated
from loganalyze.text.language import refusal_words


class OfficePages:
    """Follow-ups of all cases, the trail, people; `routes` gives them to the application."""

    def __init__(self, desk: ReviewDesk, frame: PageFrame) -> None:
        self.desk, self.frame = desk, frame

    def routes(self) -> list[Route]:
        """Return the routes of these pages and their forms."""
        page = self.frame.page
        return [
            Route("/follow-ups", page(self.follow_ups)),
            Route("/follow-ups/{follow_up_id}",
                  page(self.change_follow_up, Permission.DECIDE), methods=["POST"]),
            Route("/report", page(self.report, Permission.EXPORT)),
            Route("/report/file", page(self.report_file, Permission.EXPORT)),
            Route("/trail", page(self.trail)),
            Route("/trail/check", page(self.check_trail, Permission.CHECK_TRAIL)),
            Route("/trail/export", page(self.export_trail, Permission.CHECK_TRAIL),
                  methods=["POST"]),
            Route("/people", page(self.people), methods=["GET"]),
            Route("/people", page(self.add_person, Permission.MANAGE_PEOPLE), methods=["POST"]),
            Route("/people/{person}", page(self.change_person, Permission.MANAGE_PEOPLE),
                  methods=["POST"]),
        ]

    async def follow_ups(self, request: Request, who: SignedIn) -> Response:
        """Show the follow-ups of all cases."""
        return await self._follow_ups(request, who)

    async def _follow_ups(self, request: Request, who: SignedIn, refused: str = "",
                          status: int = 200) -> Response:
        wanted = query_of(desk_forms.FollowUpQuery, request)
        found = await run_in_threadpool(self.desk.follow_ups, who.actor, wanted)
        return self.frame.render(request, "follow_ups.html", {
            "follow_ups": found, "today": self.desk.today.isoformat(), "wanted": wanted,
            "query": request.url.query, "refused": refused}, status)

    async def change_follow_up(self, request: Request, who: SignedIn) -> Response:
        """Give a follow-up another owner or due date; where somebody was faster, say so."""
        form = filled(desk_forms.FollowUpChange, request.state.form)
        try:
            await self.frame.do(self.desk.change_follow_up, who,
                                places(request)["follow_up_id"], form)
        except Outdated:
            return await self._follow_ups(request, who, refusal_words.REFUSALS["outdated"], 409)
        query = urlencode(query_of(desk_forms.FollowUpQuery, request).model_dump(
            mode="json", exclude_defaults=True))
        return back_to(f"/follow-ups?{query}" if query else "/follow-ups")

    async def report(self, request: Request, who: SignedIn) -> Response:
        """Ask for the periodic report's months and reader."""
        return self.frame.render(request, "report.html", {})

    async def report_file(self, request: Request, who: SignedIn) -> Response:
        """Give the periodic report, to be kept as a file."""
        wanted = query_of(desk_forms.PeriodQuery, request)
        content = await run_in_threadpool(self.desk.period_report, who.actor, wanted)
        return Response(content, media_type=FORMATS[wanted.format], headers={
            "Content-Disposition": f'attachment; filename="safety-report.{wanted.format}"'})

    async def trail(self, request: Request, who: SignedIn) -> Response:
        """Show the trail."""
        return await self._trail(request, who, query_of(desk_forms.TrailQuery, request))

    async def _trail(self, request: Request, who: SignedIn, wanted: desk_forms.TrailQuery,
                     state: TrailState | None = None) -> Response:
        found = await run_in_threadpool(self.desk.trail, who.actor, wanted)
        query = urlencode(wanted.model_dump(mode="json", exclude_defaults=True,
                                            exclude={"before"}))
        return self.frame.render(request, "trail.html", {
            "lines": found, "wanted": wanted, "state": state, "query": query})

    async def check_trail(self, request: Request, who: SignedIn) -> Response:
        """Show whether the trail is as it was written."""
        state = await run_in_threadpool(self.desk.check_trail, who.actor,
                                        query_of(desk_forms.WitnessQuery, request))
        return await self._trail(request, who, desk_forms.TrailQuery(), state)

    async def export_trail(self, request: Request, who: SignedIn) -> Response:
        """Give the whole trail, to be kept as a file."""
        content = await self.frame.do(
            lambda actor: case_exports.trail_lines(self.desk, actor), who)
        return Response(content, media_type="application/x-ndjson", headers={
            "Content-Disposition": 'attachment; filename="trail.jsonl"'})

    async def people(self, request: Request, who: SignedIn) -> Response:
        """Show who may sign in."""
        found = await run_in_threadpool(self.desk.people, who.actor)
        return self.frame.render(request, "people.html", {
            "people": found, "roles": get_args(desk_forms.Role)})

    async def add_person(self, request: Request, who: SignedIn) -> Response:
        """Add somebody."""
        await self.frame.do(self.desk.add_person, who,
                       filled(desk_forms.PersonForm, request.state.form))
        return back_to("/people")

    async def change_person(self, request: Request, who: SignedIn) -> Response:
        """Change somebody."""
        await self.frame.do(self.desk.change_person, who, places(request)["person"],
                       filled(desk_forms.PersonChange, request.state.form))
        return back_to("/people")
