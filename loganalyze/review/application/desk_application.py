"""The desk as a web application: guards, who asks, the interface, the pages."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp, Receive, Scope, Send

from loganalyze.review.access.request_guards import Guards, TooLong
from loganalyze.review.access.server_binding import Binding
from loganalyze.review.access.sign_in import SignIn
from loganalyze.review.application.desk_pages import DeskPages
from loganalyze.review.application.interface_description import interface_description
from loganalyze.review.application.interface_operations import OPERATIONS, Operation
from loganalyze.review.application.pages.openid_pages import OpenIdPages
from loganalyze.review.application.request_answers import (
    NotSignedIn,
    answer,
    refused,
    signed_in,
)
from loganalyze.review.application.review_desk import ReviewDesk
from loganalyze.review.decisions.decision_database import DatabaseLost

if TYPE_CHECKING:
    from loganalyze.review.access.openid_sign_in import OpenIdSignIn

STATIC = Path(__file__).parent / "static"
STATIC_LASTS_S = 3600


def desk_application(desk: ReviewDesk, sign_in: SignIn, binding: Binding,
                     openid: OpenIdSignIn | None = None) -> ASGIApp:
    """Return the application of a desk.

    Parameters
    ----------
    desk : ReviewDesk
        The desk.
    sign_in : SignIn
        Who may use it.
    binding : Binding
        Where it listens: under no other name it answers.
    openid : OpenIdSignIn, optional
        A provider by which people may sign in.
    """
    pages = DeskPages(desk, sign_in, binding, provider=openid is not None)
    routes: list[BaseRoute] = [_operation(operation, desk) for operation in OPERATIONS]
    routes += [
        Route("/api/openapi.json", _described),
        Mount("/static", _StaticFiles(directory=STATIC), name="static"),
        *pages.routes(),
    ]
    if openid is not None:
        routes += OpenIdPages(pages.frame, sign_in, openid).routes()
    application = Starlette(
        routes=routes,
        middleware=[Middleware(_WhoAsks, sign_in=sign_in, cookie=pages.cookie)],
        exception_handlers={HTTPException: pages.failed, TooLong: pages.failed,
                            DatabaseLost: pages.failed,
                            Exception: pages.failed})
    return Guards(application, binding)  # outermost, so that no answer goes without its headers


class _WhoAsks:
    """Finds who a request is of, for all that follows: `state.signed_in`, or `state.lost`."""

    def __init__(self, app: ASGIApp, sign_in: SignIn, cookie: str) -> None:
        self._app, self._sign_in, self._cookie = app, sign_in, cookie

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            request = Request(scope)
            scheme, _, token = request.headers.get("authorization", "").partition(" ")
            bearer = token.strip() if scheme.lower() == "bearer" else None
            request.state.signed_in = request.state.lost = None
            try:
                request.state.signed_in = await run_in_threadpool(
                    self._sign_in.find, request.cookies.get(self._cookie), bearer)
            except DatabaseLost as error:  # whoever needs to know says so, in its own form
                request.state.lost = error
        await self._app(scope, receive, send)


class _StaticFiles(StaticFiles):
    """The desk's own scripts, styles and pictures: they hold nothing of anybody."""

    def file_response(self, *arguments: Any, **options: Any) -> Response:
        found = super().file_response(*arguments, **options)
        found.headers["Cache-Control"] = f"max-age={STATIC_LASTS_S}"
        return found


def _operation(operation: Operation, desk: ReviewDesk) -> Route:
    async def endpoint(request: Request) -> Response:
        return await answer(operation, desk, request)

    return Route(operation.path, endpoint, methods=[operation.method], name=operation.name)


async def _described(request: Request) -> Response:
    try:
        signed_in(request)
    except NotSignedIn as error:
        return refused(error)
    return JSONResponse(interface_description())
