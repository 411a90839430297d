"""Refusals: a plain page for a person, a problem document (RFC 9457) for a program."""

from __future__ import annotations

from collections.abc import Iterable
from http import HTTPStatus
from typing import Any
from urllib.parse import quote

from fastapi import FastAPI, Request
from fastapi.exceptions import HTTPException, RequestValidationError
from starlette.exceptions import HTTPException as PlainHTTPException
from starlette.responses import RedirectResponse, Response

from loopwright.errors import AbsentError, InputError, Problem
from loopwright.language import say
from loopwright.web.documents import SAYS, problem, wants_document
from loopwright.web.render import page

__all__ = ["install", "refuse"]


def refuse(
    request: Request,
    status: int,
    detail: str = "",
    problems: Iterable[Problem] | None = None,
    headers: dict[str, str] | None = None,
) -> Response:
    """Return a refusal in the form that whoever asks can read."""
    if wants_document(request):
        return problem(status, detail, problems, request.url.path, headers)
    says = detail or say(SAYS.get(status, SAYS[400]))
    answer = page(request, "refused.html", status_code=status, says=says, problems=tuple(problems or ()))
    answer.headers.update(headers or {})
    return answer


def install(app: FastAPI) -> None:
    """Make an app answer its refusals so."""

    @app.exception_handler(PlainHTTPException)
    @app.exception_handler(HTTPException)
    async def refused(request: Request, error: PlainHTTPException) -> Response:
        if error.status_code == 401:
            return _sign_in_first(request)
        detail = "" if error.detail == HTTPStatus(error.status_code).phrase else str(error.detail)
        return refuse(request, error.status_code, detail, headers=dict(error.headers or {}))

    @app.exception_handler(InputError)
    async def unusable(request: Request, error: InputError) -> Response:
        return refuse(request, 404 if isinstance(error, AbsentError) else 422, problems=error.problems)

    @app.exception_handler(RequestValidationError)
    async def malformed(request: Request, error: RequestValidationError) -> Response:
        return refuse(request, 422, problems=[_problem_of(found) for found in error.errors()])


def _sign_in_first(request: Request) -> Response:
    if wants_document(request):
        return problem(401, instance=request.url.path, headers={"WWW-Authenticate": "Bearer"})
    there = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    return RedirectResponse("/login" + (f"?next={quote(there)}" if request.method == "GET" else ""), 303)


def _problem_of(found: Any) -> Problem:
    """What the framework found, as a problem; never the value itself, which may be long or secret."""
    path = ".".join(str(part) for part in found["loc"][1:])
    return Problem(path, type(found.get("input")).__name__, str(found["type"]), str(found["msg"]))
