"""What all pages share: who may see one, how it is rendered, and what a form holds."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from pathlib import Path
from typing import Any
from urllib.parse import urlencode, urlsplit

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from pydantic import BaseModel
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from loganalyze.review.access.permissions import Permission, allowed, require
from loganalyze.review.access.server_binding import Binding
from loganalyze.review.access.sign_in import PAGE_LASTS, SignedIn, SignIn
from loganalyze.review.application.request_answers import (
    CSRF_FIELD,
    STATUSES,
    ForeignPage,
    NotSignedIn,
    is_token,
    refusal_of,
    wait_headers,
    who_asks,
)
from loganalyze.review.decisions.decision_database import DatabaseLost
from loganalyze.text.language import desk_codes, desk_labels, refusal_words

WRITTEN = ("reason", "note", "task", "outcome")
"""The fields of forms that take a reviewer's own words."""
TEMPLATES = Path(__file__).parents[1] / "templates"
Page = Callable[[Request, SignedIn], Awaitable[Response]]


class PageFrame:
    """What every page of a desk is made with."""

    def __init__(self, sign_in: SignIn, binding: Binding) -> None:
        self.sign_in, self.binding = sign_in, binding
        self.cookie = "__Host-review" if binding.secure else f"review_{binding.port}"
        self._templates = Environment(
            loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined,
            auto_reload=False,
            trim_blocks=True, lstrip_blocks=True)

    def page(self, page: Page, needed: Permission | None = None, files: int = 0
             ) -> Callable[[Request], Awaitable[Response]]:
        """Return a page for those who are signed in; of a form it checks the token first.

        `needed` : refused to others before the fields are looked at, which say what is expected;
        `files` : how many a form may send.
        """
        async def endpoint(request: Request) -> Response:
            try:
                known = request.state.signed_in is not None or request.state.lost is not None
                if request.method == "POST" and known:
                    request.state.form = await request.form(max_files=files, max_fields=200)
                who = who_asks(request)
                if who is None:
                    raise NotSignedIn
                if request.method == "POST" and not is_token(
                        str(request.state.form.get(CSRF_FIELD, "")), who):
                    raise ForeignPage
                if needed is not None:
                    require(who.actor.role, needed)
                return await page(request, who)
            except NotSignedIn as error:
                if self.sign_in.owner is None and request.method == "GET":
                    return RedirectResponse(_sign_in_for(request), 303)
                return self.refused(request, error)
            except tuple(STATUSES) as error:
                return self.refused(request, error)

        return endpoint

    @staticmethod
    async def do(method: Callable[..., Any], who: SignedIn, *arguments: Any) -> Any:
        """Call a method of the desk for somebody, beside the server's own thread."""
        return await run_in_threadpool(method, who.actor, *arguments)

    def render(self, request: Request, template: str, values: Mapping[str, Any],
                status: int = 200) -> Response:
        """Return a page; each template is given `words`, `who`, `may`, `csrf` and its values."""
        who: SignedIn | None = getattr(request.state, "signed_in", None)
        page = self._templates.get_template(template).render(
            words=desk_labels, codes=desk_codes, who=who.actor if who else None,
            csrf=who.csrf_token if who else "", csrf_field=CSRF_FIELD,
            may={permission.name.lower(): who is not None and allowed(who.actor.role, permission)
                 for permission in Permission},
            accounts=self.sign_in.owner is None, path=request.url.path, **values)
        return Response(page, status, media_type="text/html")

    def message(self, request: Request, code: str, status: int) -> Response:
        """Return a page that says one thing, by its code."""
        return self.render(request, "refusal.html", {
            "message": refusal_words.REFUSALS[code], "fields": (), "typed": ()}, status)

    def refused(self, request: Request, error: Exception) -> Response:
        """Return a page that says why something wasn't done."""
        status, refusal = refusal_of(error)
        answer = self.render(request, "refusal.html", {
            "message": refusal.message, "fields": refusal.fields,
            "typed": _typed(request) if isinstance(error, DatabaseLost) else ()}, status)
        answer.headers.update(wait_headers(error))
        return answer

    def entered(self, request: Request, found: SignedIn, to: str) -> Response:
        """Return the page that starts a session, and leads on by itself."""
        answer = self.render(request, "opening.html", {"onward": first_page(found, to)})
        return self.with_cookie(answer, found)

    def with_cookie(self, answer: Response, found: SignedIn) -> Response:
        """Return an answer that starts a session in a browser."""
        answer.set_cookie(self.cookie, found.token, max_age=int(PAGE_LASTS.total_seconds()),
                          path="/", secure=self.binding.secure, httponly=True, samesite="strict")
        return answer


def _typed(request: Request) -> list[str]:
    """Return what somebody wrote into a form that wasn't kept, so that it can be sent again."""
    form: FormData | None = getattr(request.state, "form", None)
    return [] if form is None else [
        value for name in WRITTEN if isinstance(value := form.get(name), str) and value]


def _sign_in_for(request: Request) -> str:
    """Return the address of the page to sign in that leads on to what was asked for."""
    wanted = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    return "/sign-in" if wanted == "/" else f"/sign-in?{urlencode({'next': wanted})}"


def onward(wanted: str) -> str:
    """Return the path on this desk that an address names, or its first page for any other."""
    try:
        parts = urlsplit(wanted)
    except ValueError:
        return "/"
    own = wanted.startswith("/") and wanted[:2] not in ("//", "/\\") and not (
        parts.scheme or parts.netloc)
    return wanted if own and wanted.isprintable() and "\\" not in wanted else "/"


def first_page(found: SignedIn, to: str) -> str:
    """Return where a session begins: an administrator sees no case."""
    return "/trail" if to == "/" and not allowed(found.actor.role, Permission.READ_CASES) else to


def filled(model: type[BaseModel], form: FormData) -> Any:
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


def back_to(path: str) -> Response:
    """Return what leads a browser on after a change."""
    return RedirectResponse(path, 303)
