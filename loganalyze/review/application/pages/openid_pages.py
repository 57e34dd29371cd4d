"""The two addresses of a sign-in by a provider: where it begins, and where the provider leads."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from loganalyze.review.access.openid_settings import (
    ANSWER_PATH,
    BEGIN_PATH,
    NotVouchedFor,
    ProviderFailed,
)
from loganalyze.review.access.sign_in import SignIn
from loganalyze.review.application.pages.page_frame import PageFrame, onward

if TYPE_CHECKING:
    from loganalyze.review.access.openid_sign_in import OpenIdSignIn

_ONWARD = "onward"


class OpenIdPages:
    """Leads to a provider and back; `routes` gives the addresses to the application."""

    def __init__(self, frame: PageFrame, sign_in: SignIn, openid: OpenIdSignIn) -> None:
        self._frame, self._sign_in, self._openid = frame, sign_in, openid

    def routes(self) -> list[Route]:
        """Return the routes, each with the cookie that leads from one to the other."""
        remembering = [self._openid.remembering]
        return [Route(BEGIN_PATH, self.begin, methods=["GET"], middleware=remembering),
                Route(ANSWER_PATH, self.answered, methods=["GET"], middleware=remembering)]

    async def begin(self, request: Request) -> Response:
        """Lead to the provider."""
        request.session.clear()
        request.session[_ONWARD] = onward(request.query_params.get("next", "/"))
        try:
            return await self._openid.begin(request)
        except ProviderFailed:
            return self._frame.message(request, "provider failed", 502)

    async def answered(self, request: Request) -> Response:
        """Start a session of who comes back; a stranger, and who is inactive, is refused."""
        to = onward(str(request.session.get(_ONWARD, "/")))
        try:
            subject = await self._openid.finish(request)
        except NotVouchedFor:
            return self._frame.message(request, "not vouched for", 403)
        except ProviderFailed:
            return self._frame.message(request, "provider failed", 502)
        finally:
            request.session.clear()
        found = await run_in_threadpool(
            self._sign_in.with_subject, self._openid.issuer, subject)
        if found is None:
            return self._frame.message(request, "stranger", 403)
        return self._frame.entered(request, found, to)
