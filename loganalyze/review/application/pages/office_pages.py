"""The pages of the whole office: follow-ups, the trail, people."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from loganalyze.review.access.permissions import Permission
from loganalyze.review.access.sign_in import SignedIn
from loganalyze.review.application import desk_forms
from loganalyze.review.application.pages.page_frame import PageFrame, back_to, filled
from loganalyze.review.application.request_answers import places, query_of
from loganalyze.review.application.review_desk import ReviewDesk


class OfficePages:
    """Follow-ups of all cases, the trail, people; `routes` gives them to the application."""

    def __init__(self, desk: ReviewDesk, frame: PageFrame) -> None:
        self.desk, self.frame = desk, frame

    def routes(self) -> list[Route]:
        """Return the routes of these pages and their forms."""
        page = self.frame.page
        return [
            Route("/follow-ups", page(self.follow_ups)),
            Route("/trail", page(self.trail)),
            Route("/people", page(self.people), methods=["GET"]),
            Route("/people", page(self.add_person, Permission.MANAGE_PEOPLE), methods=["POST"]),
            Route("/people/{person}", page(self.change_person, Permission.MANAGE_PEOPLE),
                  methods=["POST"]),
        ]

    async def follow_ups(self, request: Request, who: SignedIn) -> Response:
        """Show the follow-ups of all cases."""
        wanted = query_of(desk_forms.FollowUpQuery, request)
        found = await run_in_threadpool(self.desk.follow_ups, who.actor, wanted)
        return self.frame.render(request, "follow_ups.html", {
            "follow_ups": found, "today": self.desk.today.isoformat(), "wanted": wanted})

    async def trail(self, request: Request, who: SignedIn) -> Response:
        """Show the trail."""
        wanted = query_of(desk_forms.TrailQuery, request)
        found = await run_in_threadpool(self.desk.trail, who.actor, wanted)
        return self.frame.render(request, "trail.html", {"lines": found, "wanted": wanted})

    async def people(self, request: Request, who: SignedIn) -> Response:
        """Show who may sign in."""
        found = await run_in_threadpool(self.desk.people, who.actor)
        return self.frame.render(request, "people.html", {"people": found})

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
