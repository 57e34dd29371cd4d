"""The pages of the desk: rendered on the server, usable without any script.

A page asks the desk as a program would, and shows the answer in a template; a form makes the
change that its operation of the interface makes, then leads back with 303. Every form carries the
session's token in the field `CSRF_FIELD`. Where somebody else was faster, the page comes again
with what was typed, and with how things stand. `DeskPages` has those for entering and leaving,
`pages` all others.
"""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from loganalyze.review.access.server_binding import Binding
from loganalyze.review.access.sign_in import SignedIn, SignIn
from loganalyze.review.application.pages.case_pages import CasePages
from loganalyze.review.application.pages.office_pages import OfficePages
from loganalyze.review.application.pages.page_frame import PageFrame, first_page, onward
from loganalyze.review.application.pages.trial_pages import TrialPages
from loganalyze.review.application.request_answers import STATUSES, refused
from loganalyze.review.application.review_desk import ReviewDesk
from loganalyze.text.language import refusal_words


class DeskPages:
    """The pages of a desk; `routes` gives them to the application."""

    def __init__(self, desk: ReviewDesk, sign_in: SignIn, binding: Binding, *,
                 provider: bool = False) -> None:
        self.sign_in, self.binding, self._provider = sign_in, binding, provider
        self.frame = PageFrame(sign_in, binding)
        self.cookie = self.frame.cookie
        self._parts = (CasePages(desk, self.frame), TrialPages(desk, self.frame),
                       OfficePages(desk, self.frame))

    def routes(self) -> list[Route]:
        """Return the routes of all pages and forms."""
        return [
            Route("/enter/{secret}", self.enter),
            Route("/sign-in", self.sign_in_page, methods=["GET"]),
            Route("/sign-in", self.sign_in_form, methods=["POST"]),
            Route("/sign-out", self.frame.page(self.sign_out), methods=["POST"]),
            *(route for part in self._parts for route in part.routes()),
        ]

    async def enter(self, request: Request) -> Response:
        """Start the session of who holds the desk's secret.

        The answer leads on by itself instead of a redirect: only a navigation that begins at the
        desk's own page carries a strict cookie in every browser.
        """
        found = await run_in_threadpool(self.sign_in.enter, request.path_params["secret"])
        if found is None:
            return self.frame.message(request, "unknown secret", 403)
        return self.frame.entered(request, found, "/")

    async def sign_in_page(self, request: Request) -> Response:
        """Show the form to sign in; without accounts there is none."""
        if self.sign_in.owner is not None:
            return self.frame.message(request, "not signed in", 401)
        return self.frame.render(request, "sign_in.html", {
            "refused": "", "provider": self._provider,
            "onward": onward(request.query_params.get("next", "/"))})

    async def sign_in_form(self, request: Request) -> Response:
        """Sign in with a password."""
        if self.sign_in.owner is not None:
            return self.frame.message(request, "not signed in", 401)
        form = await request.form(max_files=0, max_fields=10)
        person, password = str(form.get("person", "")), str(form.get("password", ""))
        place = request.client.host if request.client else ""
        to = onward(str(form.get("next", "/")))
        try:
            found = await run_in_threadpool(
                self.sign_in.with_password, person[:200], password, place)
        except tuple(STATUSES) as error:
            return self.frame.refused(request, error)
        if found is None:
            return self.frame.render(request, "sign_in.html", {
                "refused": refusal_words.REFUSALS["wrong sign-in"], "onward": to,
                "provider": self._provider}, 401)
        return self.frame.with_cookie(RedirectResponse(first_page(found, to), 303), found)

    async def sign_out(self, request: Request, who: SignedIn) -> Response:
        """End the session."""
        await run_in_threadpool(self.sign_in.end, who)
        answer = RedirectResponse("/sign-in", 303)
        answer.delete_cookie(self.cookie, secure=self.binding.secure, httponly=True,
                             samesite="strict")
        return answer

    async def failed(self, request: Request, error: Exception) -> Response:
        """Answer what nothing else answers: an unknown address, and a fault of the program."""
        if request.url.path.startswith("/api/"):
            return refused(error)
        return self.frame.refused(request, error)
