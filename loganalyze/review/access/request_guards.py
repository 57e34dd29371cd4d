"""The guards that every request passes and every answer carries, as one ASGI middleware."""

from __future__ import annotations

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from loganalyze.review.access.server_binding import Binding

LARGEST_BODY = 1 << 20
"""Bytes of the largest body that is read."""
SAFE = frozenset({"GET", "HEAD", "OPTIONS"})

CONTENT_POLICY = "; ".join((
    "default-src 'none'", "script-src 'self'", "style-src 'self'", "img-src 'self' data:",
    "font-src 'self'", "connect-src 'self'", "form-action 'self'", "base-uri 'none'",
    "frame-ancestors 'none'"))
"""No script, style or frame that isn't a file of the desk, and none inside a page."""

HEADERS = {
    "Content-Security-Policy": CONTENT_POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
    "Cache-Control": "no-store",
}


class Guards:
    """Refuses requests under a foreign name, from foreign pages or too long; adds HEADERS.

    A header that the application set itself stays.
    """

    def __init__(self, app: ASGIApp, binding: Binding) -> None:
        self._app = app
        self._hosts, self._origins = binding.hosts, binding.origins
        self._headers = dict(HEADERS)
        if binding.secure:
            self._headers["Strict-Transport-Security"] = "max-age=31536000"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return

        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in self._headers.items():
                    if name not in headers:
                        headers[name] = value
            await send(message)

        headers = Headers(scope=scope)
        if len(headers.getlist("host")) != 1 or headers["host"].lower() not in self._hosts:
            await _refuse(send_guarded, 421)
        elif scope["method"] not in SAFE and not self._is_own(headers):
            await _refuse(send_guarded, 403)
        elif not _fits(headers):
            await _refuse(send_guarded, 413)
        else:
            await self._app(scope, _Bounded(receive), send_guarded)

    def _is_own(self, headers: Headers) -> bool:
        """Whether a change comes from the desk's own pages, or from no page at all."""
        origin, site = headers.get("origin"), headers.get("sec-fetch-site")
        return (origin is None or origin.lower() in self._origins) and site in (
            None, "same-origin", "none")


class TooLong(Exception):
    """A body that turned out longer than it may be."""


class _Bounded:
    """Receives a body whose length wasn't stated, up to LARGEST_BODY."""

    def __init__(self, receive: Receive) -> None:
        self._receive = receive
        self._size = 0

    async def __call__(self) -> Message:
        message = await self._receive()
        self._size += len(message.get("body", b""))
        if self._size > LARGEST_BODY:
            raise TooLong
        return message


def _fits(headers: Headers) -> bool:
    stated = headers.get("content-length", "0")
    return stated.isascii() and stated.isdecimal() and int(stated[:20]) <= LARGEST_BODY


async def _refuse(send: Send, status: int) -> None:
    await send({"type": "http.response.start", "status": status,
                "headers": [(b"content-type", b"text/plain; charset=utf-8"),
                            (b"content-length", b"0")]})
    await send({"type": "http.response.body", "body": b""})
