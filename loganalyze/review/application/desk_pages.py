"""The pages of the desk: rendered on the server, usable without any script.

A page asks the desk as a program would, and shows the answer in a template; a form makes the
change that its operation of the interface makes, then leads back with 303. Every form carries the
session's token in the field `CSRF_FIELD`. Where somebody else was faster, the page comes again
with what was typed, and with how things stand.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from pathlib import Path
from typing import Any, get_args
from urllib.parse import urlsplit

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from pydantic import BaseModel
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from loganalyze.review.access.permissions import Permission, allowed, require
from loganalyze.review.access.server_binding import Binding
from loganalyze.review.access.sign_in import PAGE_LASTS, SignedIn, SignIn
from loganalyze.review.application import desk_forms
from loganalyze.review.application.case_chart import case_chart
from loganalyze.review.application.desk_views import missed
from loganalyze.review.application.list_place import case_address, list_place, neighbours_of
from loganalyze.review.application.request_answers import (
    CSRF_FIELD,
    FORMATS,
    STATUSES,
    ForeignPage,
    NotSignedIn,
    is_token,
    places,
    query_of,
    refusal_of,
    refused,
)
from loganalyze.review.application.review_desk import ReviewDesk
from loganalyze.review.cases.case_filter import CaseFilter, Sort
from loganalyze.review.decisions.case_decisions import NotThere, Outdated
from loganalyze.text.language import desk_labels, pack_words, refusal_words

TEMPLATES = Path(__file__).parent / "templates"
Page = Callable[[Request, SignedIn], Awaitable[Response]]


class DeskPages:
    """The pages of a desk; `routes` gives them to the application."""

    def __init__(self, desk: ReviewDesk, sign_in: SignIn, binding: Binding) -> None:
        self.desk, self.sign_in, self.binding = desk, sign_in, binding
        self.cookie = "__Host-review" if binding.secure else f"review_{binding.port}"
        self._templates = Environment(
            loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined,
            trim_blocks=True, lstrip_blocks=True)

    def routes(self) -> list[Route]:
        """Return the routes of all pages and forms."""
        return [
            Route("/enter/{secret}", self.enter),
            Route("/sign-in", self.sign_in_page, methods=["GET"]),
            Route("/sign-in", self.sign_in_form, methods=["POST"]),
            Route("/sign-out", self._page(self.sign_out), methods=["POST"]),
            Route("/", self._page(self.cases)),
            Route("/cases/{key}", self._page(self.case)),
            Route("/cases/{key}/decision", self._page(self.decide, Permission.DECIDE),
                  methods=["POST"]),
            Route("/cases/{key}/notes", self._page(self.add_note, Permission.DECIDE),
                  methods=["POST"]),
            Route("/cases/{key}/follow-ups", self._page(self.open_follow_up, Permission.DECIDE),
                  methods=["POST"]),
            Route("/cases/{key}/identity", self._page(self.reveal, Permission.REVEAL),
                  methods=["POST"]),
            Route("/cases/{key}/pack", self._page(self.pack, Permission.EXPORT),
                  methods=["POST"]),
            Route("/cases/{key}/follow-ups/{follow_up_id}",
                  self._page(self.change_follow_up, Permission.DECIDE),
                  methods=["POST"]),
            Route("/follow-ups", self._page(self.follow_ups)),
            Route("/trail", self._page(self.trail)),
            Route("/filters", self._page(self.keep_filter), methods=["POST"]),
            Route("/filters/{filter_id}/drop", self._page(self.drop_filter), methods=["POST"]),
            Route("/people", self._page(self.people), methods=["GET"]),
            Route("/people", self._page(self.add_person, Permission.MANAGE_PEOPLE),
                  methods=["POST"]),
            Route("/people/{person}", self._page(self.change_person, Permission.MANAGE_PEOPLE),
                  methods=["POST"]),
        ]

    # Entering and leaving.

    async def enter(self, request: Request) -> Response:
        """Start the session of who holds the desk's secret.

        The answer leads on by itself instead of a redirect: only a navigation that begins at the
        desk's own page carries a strict cookie in every browser.
        """
        found = await run_in_threadpool(self.sign_in.enter, request.path_params["secret"])
        if found is None:
            return self._message(request, "unknown secret", 403)
        return self._with_cookie(self._render(request, "opening.html", {}), found)

    async def sign_in_page(self, request: Request) -> Response:
        """Show the form to sign in; without accounts there is none."""
        if self.sign_in.owner is not None:
            return self._message(request, "not signed in", 401)
        return self._render(request, "sign_in.html", {
            "refused": "", "onward": onward(request.query_params.get("next", "/"))})

    async def sign_in_form(self, request: Request) -> Response:
        """Sign in with a password."""
        if self.sign_in.owner is not None:
            return self._message(request, "not signed in", 401)
        form = await request.form(max_files=0, max_fields=10)
        person, password = str(form.get("person", "")), str(form.get("password", ""))
        place = request.client.host if request.client else ""
        to = onward(str(form.get("next", "/")))
        try:
            found = await run_in_threadpool(
                self.sign_in.with_password, person[:200], password, place)
        except tuple(STATUSES) as error:
            return self._refused(request, error)
        if found is None:
            return self._render(request, "sign_in.html", {
                "refused": refusal_words.REFUSALS["wrong sign-in"], "onward": to}, 401)
        if to == "/" and not allowed(found.actor.role, Permission.READ_CASES):
            to = "/trail"  # an administrator sees no case
        return self._with_cookie(RedirectResponse(to, 303), found)

    async def sign_out(self, request: Request, who: SignedIn) -> Response:
        """End the session."""
        await run_in_threadpool(self.sign_in.end, who)
        answer = RedirectResponse("/sign-in", 303)
        answer.delete_cookie(self.cookie, secure=self.binding.secure, httponly=True,
                             samesite="strict")
        return answer

    # Pages.

    async def cases(self, request: Request, who: SignedIn) -> Response:
        """Show the list."""
        wanted: CaseFilter = query_of(CaseFilter, request)
        page, choices, kept = await run_in_threadpool(lambda: (
            self.desk.cases(who.actor, wanted), self.desk.choices(who.actor),
            self.desk.kept_filters(who.actor)))
        return self._render(request, "cases.html", {
            "page": page, "wanted": wanted, "choices": choices.of, "kept": kept,
            "today": self.desk.today, "sorts": get_args(Sort)})

    async def case(self, request: Request, who: SignedIn) -> Response:
        """Show one case."""
        return await self._case(request, who)

    async def follow_ups(self, request: Request, who: SignedIn) -> Response:
        """Show the follow-ups of all cases."""
        wanted = query_of(desk_forms.FollowUpQuery, request)
        found = await run_in_threadpool(self.desk.follow_ups, who.actor, wanted)
        return self._render(request, "follow_ups.html", {
            "follow_ups": found, "today": self.desk.today.isoformat(), "wanted": wanted})

    async def trail(self, request: Request, who: SignedIn) -> Response:
        """Show the trail."""
        wanted = query_of(desk_forms.TrailQuery, request)
        found = await run_in_threadpool(self.desk.trail, who.actor, wanted)
        return self._render(request, "trail.html", {"lines": found, "wanted": wanted})

    async def people(self, request: Request, who: SignedIn) -> Response:
        """Show who may sign in."""
        found = await run_in_threadpool(self.desk.people, who.actor)
        return self._render(request, "people.html", {"people": found})

    # Forms.

    async def decide(self, request: Request, who: SignedIn) -> Response:
        """Decide on a case; where somebody was faster, the page comes again with what was typed."""
        form = _filled(desk_forms.DecisionForm, request.state.form)
        try:
            await self._do(self.desk.decide, who, places(request)["key"], form)
        except Outdated as error:
            return await self._case(request, who, typed=form, refusal=error)
        return _back_to(case_address(request))

    async def add_note(self, request: Request, who: SignedIn) -> Response:
        """Add a note."""
        key = places(request)["key"]
        await self._do(self.desk.add_note, who, key,
                       _filled(desk_forms.NoteForm, request.state.form))
        return _back_to(case_address(request))

    async def open_follow_up(self, request: Request, who: SignedIn) -> Response:
        """Open a follow-up."""
        key = places(request)["key"]
        await self._do(self.desk.open_follow_up, who, key,
                       _filled(desk_forms.FollowUpForm, request.state.form))
        return _back_to(case_address(request))

    async def change_follow_up(self, request: Request, who: SignedIn) -> Response:
        """Change or close a follow-up."""
        place = places(request)
        try:
            await self._do(self.desk.change_follow_up, who, place["follow_up_id"],
                           _filled(desk_forms.FollowUpChange, request.state.form))
        except Outdated as error:
            return await self._case(request, who, refusal=error)
        return _back_to(case_address(request))

    async def reveal(self, request: Request, who: SignedIn) -> Response:
        """Show whose flight a case is, in the answer itself: no address leads there again."""
        form = _filled(desk_forms.RevealForm, request.state.form)
        found = await self._do(self.desk.reveal, who, places(request)["key"], form)
        return await self._case(request, who, identity=found)

    async def pack(self, request: Request, who: SignedIn) -> Response:
        """Give the follow-up pack of a case, to be kept as a file."""
        key, form = places(request)["key"], _filled(desk_forms.PackForm, request.state.form)
        content = await self._do(self.desk.case_pack, who, key, form)
        name = f"follow-up-{key[:8]}.{form.format}"
        return Response(content, media_type=FORMATS[form.format], headers={
            "Content-Disposition": f'attachment; filename="{name}"'})

    async def keep_filter(self, request: Request, who: SignedIn) -> Response:
        """Keep a filter."""
        found = await self._do(self.desk.keep_filter, who,
                               _filled(desk_forms.KeptFilterForm, request.state.form))
        return _back_to(f"/?{found.query}")

    async def drop_filter(self, request: Request, who: SignedIn) -> Response:
        """Keep a filter no longer."""
        await self._do(self.desk.drop_filter, who, places(request)["filter_id"])
        return _back_to("/")

    async def add_person(self, request: Request, who: SignedIn) -> Response:
        """Add somebody."""
        await self._do(self.desk.add_person, who,
                       _filled(desk_forms.PersonForm, request.state.form))
        return _back_to("/people")

    async def change_person(self, request: Request, who: SignedIn) -> Response:
        """Change somebody."""
        await self._do(self.desk.change_person, who, places(request)["person"],
                       _filled(desk_forms.PersonChange, request.state.form))
        return _back_to("/people")

    async def failed(self, request: Request, error: Exception) -> Response:
        """Answer what nothing else answers: an unknown address, and a fault of the program."""
        if request.url.path.startswith("/api/"):
            return refused(error)
        return self._refused(request, error)

    # How it is done.

    def _page(self, page: Page, needed: Permission | None = None
              ) -> Callable[[Request], Awaitable[Response]]:
        """Return a page for those who are signed in; of a form it checks the token first.

        `needed` : refused to others before the fields are looked at, which say what is expected.
        """
        async def endpoint(request: Request) -> Response:
            try:
                who: SignedIn | None = request.state.signed_in
                if who is None:
                    raise NotSignedIn
                if request.method == "POST":
                    request.state.form = await request.form(max_files=0, max_fields=200)
                    if not is_token(str(request.state.form.get(CSRF_FIELD, "")), who):
                        raise ForeignPage
                if needed is not None:
                    require(who.actor.role, needed)
                return await page(request, who)
            except NotSignedIn as error:
                if self.sign_in.owner is None and request.method == "GET":
                    return RedirectResponse("/sign-in", 303)
                return self._refused(request, error)
            except tuple(STATUSES) as error:
                return self._refused(request, error)

        return endpoint

    async def _do(self, method: Callable[..., Any], who: SignedIn, *arguments: Any) -> Any:
        return await run_in_threadpool(method, who.actor, *arguments)

    async def _case(self, request: Request, who: SignedIn, *, identity: Any = None,
                    typed: Any = None, refusal: Outdated | None = None) -> Response:
        key = places(request)["key"]
        try:
            view = await run_in_threadpool(self.desk.case, who.actor, key)
        except NotThere:
            found = await run_in_threadpool(self.desk.resolve, who.actor, key)
            if found == key:
                raise
            return _back_to(f"/cases/{found}")
        came = list_place(request)
        samples, neighbours = await run_in_threadpool(lambda: (
            self.desk.samples(who.actor, key), neighbours_of(self.desk, who.actor, key, came)))
        row = view.material.exceedance
        begin = row.get("flight_start_s") or 0.0
        chart = case_chart(samples, row["start_s"] - begin, row["end_s"] - begin,
                           None if row["worst_time_s"] is None else row["worst_time_s"] - begin)
        return self._render(request, "case.html", {
            "view": view, "identity": identity, "typed": typed, "chart": chart,
            "neighbours": neighbours, "came": came, "today": self.desk.today, "pack": pack_words,
            "kinds": get_args(desk_forms.FollowUpKind),
            "missed": () if typed is None else missed(view, typed.seen_version),
            "refused": "" if refusal is None else refusal_words.REFUSALS["outdated"],
        }, 200 if refusal is None else 409)

    def _render(self, request: Request, template: str, values: Mapping[str, Any],
                status: int = 200) -> Response:
        """Return a page; each template is given `words`, `who`, `may`, `csrf` and its values."""
        who: SignedIn | None = getattr(request.state, "signed_in", None)
        page = self._templates.get_template(template).render(
            words=desk_labels, who=who.actor if who else None,
            csrf=who.csrf_token if who else "", csrf_field=CSRF_FIELD,
            may={permission.name.lower(): who is not None and allowed(who.actor.role, permission)
                 for permission in Permission},
            accounts=self.sign_in.owner is None, path=request.url.path, **values)
        return Response(page, status, media_type="text/html")

    def _message(self, request: Request, code: str, status: int) -> Response:
        return self._render(request, "refusal.html", {
            "message": refusal_words.REFUSALS[code], "fields": ()}, status)

    def _refused(self, request: Request, error: Exception) -> Response:
        status, refusal = refusal_of(error)
        return self._render(request, "refusal.html", {
            "message": refusal.message, "fields": refusal.fields}, status)

    def _with_cookie(self, answer: Response, found: SignedIn) -> Response:
        answer.set_cookie(self.cookie, found.token, max_age=int(PAGE_LASTS.total_seconds()),
                          path="/", secure=self.binding.secure, httponly=True, samesite="strict")
        return answer


def onward(wanted: str) -> str:
    """Return the path on this desk that an address names, or its first page for any other."""
    try:
        parts = urlsplit(wanted)
    except ValueError:
        return "/"
    own = wanted.startswith("/") and wanted[:2] not in ("//", "/\\") and not (
        parts.scheme or parts.netloc)
    return wanted if own and wanted.isprintable() and "\\" not in wanted else "/"


def _filled(model: type[BaseModel], form: FormData) -> Any:
    """Return the fields of a form as its model; blank ones count as not given where they may be."""
    given: dict[str, Any] = {}
    for name, value in form.items():
        if name == CSRF_FIELD:
            continue
        field = model.model_fields.get(name)
        if value == "" and field is not None and not field.is_required():
            continue
        given[name] = None if name == "decision" and value == "" else value
    return model(**given)


def _back_to(path: str) -> Response:
    return RedirectResponse(path, 303)
