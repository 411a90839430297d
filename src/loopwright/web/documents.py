"""Problem documents (RFC 9457): how programs are told what is wrong."""

from __future__ import annotations

from collections.abc import Iterable
from http import HTTPStatus
from typing import Any

from fastapi import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from loopwright.errors import Problem
from loopwright.language import later, say

__all__ = ["SAYS", "RefusedError", "crash", "problem", "to_plain", "wants_document"]

_MEDIA = "application/problem+json"
SAYS = {
    400: later("This request cannot be understood."),
    401: later("Sign in first."),
    403: later("You may not do this."),
    404: later("There is nothing here."),
    405: later("This cannot be done here."),
    408: later("This took too long to arrive."),
    409: later("Somebody else changed this meanwhile."),
    413: later("This is too much at once."),
    415: later("This kind of file is not taken."),
    422: later("Something in what you wrote cannot be used."),
    429: later("Too many attempts. Wait a few minutes and try again."),
    500: later("Something went wrong here. What you entered before is safe."),
    503: later("Too many at once. Try again in a moment."),
}


class RefusedError(HTTPException):
    """A request that is refused before it reaches a page."""

    def __init__(self, status: int, says: str) -> None:
        super().__init__(status, says)
        self.says = says


def to_plain(problems: Iterable[Problem]) -> list[dict[str, Any]]:
    """Return problems as a problem document lists them.

    >>> to_plain([Problem("weather", "?", "a number", "Not a number.")])
    [{'field': 'weather', 'found': '?', 'allowed': 'a number', 'says': 'Not a number.', 'line': None}]
    """
    return [
        {"field": p.field, "found": p.found, "allowed": p.allowed, "says": p.says, "line": p.line} for p in problems
    ]


def problem(
    status: int,
    detail: str = "",
    problems: Iterable[Problem] | None = None,
    instance: str | None = None,
    headers: dict[str, str] | None = None,
) -> Response:
    """Return a problem document."""
    body: dict[str, Any] = {"type": "about:blank", "title": HTTPStatus(status).phrase, "status": status}
    body["detail"] = detail or say(SAYS.get(status, ""))
    if instance is not None:
        body["instance"] = instance
    if problems is not None:
        body["problems"] = to_plain(problems)
    return JSONResponse(body, status, headers, media_type=_MEDIA)


def wants_document(request: Request) -> bool:
    """Whether a program asks rather than a person's browser: the API, or no page is accepted."""
    accepted = request.headers.get("accept", "")
    return request.url.path.startswith("/api/") or ("text/html" not in accepted and "json" in accepted)


def crash(request: Request) -> Response:
    """Return the answer to a fault of ours; a page needs what may just have failed, so it is kept plain."""
    if wants_document(request):
        return problem(500, instance=request.url.path)
    return Response(say(SAYS[500]), 500, media_type="text/plain; charset=utf-8")
