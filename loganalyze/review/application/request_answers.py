"""From a request to a call of the desk, and from what that gives or raises to an answer."""

from __future__ import annotations

import hmac
import re
from typing import Any
from urllib.parse import parse_qs

from pydantic import BaseModel, TypeAdapter, ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from loganalyze.problems import Problem
from loganalyze.review.access.permissions import Forbidden
from loganalyze.review.access.request_guards import SAFE, TooLong
from loganalyze.review.access.sign_in import SignedIn, TooManyAttempts
from loganalyze.review.application.interface_description import REFUSAL, Refusal, WrongField
from loganalyze.review.application.interface_operations import PLACES, Given, Operation
from loganalyze.review.application.review_desk import ReviewDesk
from loganalyze.review.cases.case_filter import CaseFilter
from loganalyze.review.decisions.case_decisions import NotThere, Outdated
from loganalyze.review.decisions.decision_database import DatabaseLost
from loganalyze.review.decisions.people import Taken
from loganalyze.text.language import refusal_words

LOST_WAIT_S = 5
"""When a program may ask again that found the database of decisions lost [s]."""
CSRF_HEADER, CSRF_FIELD = "x-csrf-token", "csrf_token"


class NotSignedIn(Exception):
    """A request of nobody that the desk knows."""


class ForeignPage(Exception):
    """A change without the token that the session's own pages carry."""


FORMATS = {"html": "text/html", "pdf": "application/pdf"}
"""The types of files whose format is asked for; they are kept, never opened in the desk."""

STATUSES: dict[type[Exception], tuple[int, str]] = {
    NotSignedIn: (401, "not signed in"), Forbidden: (403, "forbidden"),
    ForeignPage: (403, "foreign page"), NotThere: (404, "not there"),
    Outdated: (409, "outdated"), Taken: (409, "taken"), TooLong: (413, "too long"),
    DatabaseLost: (503, "database lost"),
    ValidationError: (422, "wrong input"), Problem: (422, "problem"),
    TooManyAttempts: (429, "too many attempts"),
}
"""The status and code of everything that the desk may refuse with."""


def refusal_of(error: Exception) -> tuple[int, Refusal]:
    """Return the status and the words for what the desk refused with."""
    status, code = next((found for kind, found in STATUSES.items() if isinstance(error, kind)),
                        (500, "unexpected"))
    if isinstance(error, DatabaseLost) and error.uncertain:
        code = "change uncertain"
    if isinstance(error, HTTPException) and error.status_code < 500:
        status, code = ((404, "not there") if error.status_code in (404, 405)
                        else (422, "wrong input"))
    message = (error.sentence if code == "problem" and isinstance(error, Problem)
               else refusal_words.REFUSALS[code])
    fields: tuple[WrongField, ...] = ()
    if isinstance(error, ValidationError):
        fields = tuple(
            _wrong(detail) for detail in error.errors(include_url=False, include_input=False)
        )
    return status, Refusal(code, message, fields,
                           error.current if isinstance(error, Outdated) else None)


def refused(error: Exception) -> Response:
    """Return what the desk refused with as an answer to a program."""
    status, refusal = refusal_of(error)
    return Response(REFUSAL.dump_json(refusal), status, media_type="application/json",
                    headers=wait_headers(error))


def wait_headers(error: Exception) -> dict[str, str]:
    """Return the headers that say how long to wait, where that is why something is refused."""
    if isinstance(error, TooManyAttempts):
        return {"Retry-After": str(1 + int(error.wait_s))}
    if isinstance(error, DatabaseLost):
        return {"Retry-After": str(LOST_WAIT_S)}
    return {}


def who_asks(request: Request) -> SignedIn | None:
    """Return who a request is of, None where nobody is known; raises DatabaseLost."""
    lost: DatabaseLost | None = request.state.lost
    if lost is not None:
        raise lost
    found: SignedIn | None = request.state.signed_in
    return found


def signed_in(request: Request) -> SignedIn:
    """Return who a request is of; raises NotSignedIn, and ForeignPage for a change without token.

    For a change from a page its token is in the header or, of a form, in `csrf` of the state.
    """
    found = who_asks(request)
    if found is None:
        raise NotSignedIn
    if request.method not in SAFE and not found.by_token:
        given = request.headers.get(CSRF_HEADER, "")
        if not _same(given, found.csrf_token):
            raise ForeignPage
    return found


async def answer(operation: Operation, desk: ReviewDesk, request: Request) -> Response:
    """Answer a request to an operation of the interface."""
    try:
        who = signed_in(request)
        given = Given(places(request), query_of(operation.query, request),
                      await _body(operation.body, request))
        result = await run_in_threadpool(operation.run, desk, who.actor, given)
    except tuple(STATUSES) as error:
        return refused(error)
    if operation.result is None:
        return Response(status_code=204)
    content = result if operation.result is bytes else _adapter(operation).dump_json(result)
    name, media = operation.file, operation.media
    form = getattr(given.body or given.query, "format", None)
    if form is not None:
        name, media = f"{name}.{form}", FORMATS[form]
    headers = {"Content-Disposition": f'attachment; filename="{name}"'} if name else None
    return Response(content, media_type=media, headers=headers)


def places(request: Request) -> dict[str, str]:
    """Return the parts of a path; raises NotThere for one that looks like none."""
    found = {name: str(value) for name, value in request.path_params.items()}
    for name, value in found.items():
        if name in PLACES and not re.fullmatch(PLACES[name], value):
            raise NotThere(value)
    return found


def query_of(model: type[BaseModel] | None, request: Request) -> Any:
    """Return the query of an address as a model; raises ValidationError."""
    if model is None:
        return None
    given = parse_qs(request.url.query, max_num_fields=2000)
    if model is CaseFilter:
        return CaseFilter.from_query(given)
    return model(**{name: values[-1] for name, values in given.items()})


async def _body(model: type[BaseModel] | None, request: Request) -> Any:
    if model is None:
        return None
    return model.model_validate_json(await request.body())


def _adapter(operation: Operation) -> TypeAdapter[Any]:
    if operation.name not in _ADAPTERS:
        _ADAPTERS[operation.name] = TypeAdapter(operation.result)
    return _ADAPTERS[operation.name]


_ADAPTERS: dict[str, TypeAdapter[Any]] = {}


def _wrong(error: Any) -> WrongField:
    name = ".".join(str(part) for part in error["loc"])
    return WrongField(name, error["type"], refusal_words.field_sentence(error["type"], name))


def _same(given: str, expected: str) -> bool:
    return hmac.compare_digest(given.encode(), expected.encode())


def is_token(given: str, who: SignedIn) -> bool:
    """Whether a change from a page carries the session's token."""
    return who.by_token or _same(given, who.csrf_token)
