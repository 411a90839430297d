"""Joining by a link: the one that the first start prints, or an invitation."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import Response

from loopwright.api.people import ROLE_WORDS, Invitation, People
from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.web.pages.login import begin
from loopwright.web.problems import refuse
from loopwright.web.render import page
from loopwright.web.security import needs
from loopwright.web.sessions import Limits, address, apart

__all__ = ["router"]

router = APIRouter()


@router.get("/join/{secret}", dependencies=[needs("anyone")])
def join_page(request: Request, secret: str) -> Response:
    """Ask who joins; looking at the page does not use the link up."""
    people: People = request.app.state.people
    found = people.invitation(secret)
    return _gone(request) if found is None else _form(request, found)


@router.post("/join/{secret}", dependencies=[needs("anyone")])
async def join(
    request: Request,
    secret: str,
    name: Annotated[str, Form(max_length=200)] = "",
    password: Annotated[str, Form(max_length=1000)] = "",
) -> Response:
    """Make the account and sign in."""
    return await apart(_join, request, secret, name, password)


def _join(request: Request, secret: str, name: str, password: str) -> Response:
    people: People = request.app.state.people
    found = people.invitation(secret)
    if found is None:
        return _gone(request)
    try:
        person = people.join(secret, name, password)
    except InputError as error:
        return _form(request, found, name, error.problems, 422)
    return _gone(request) if person is None else begin(request, person, "/")


def _form(
    request: Request, invitation: Invitation, name: str = "", problems: tuple[Problem, ...] = (), status: int = 200
) -> Response:
    return page(
        request,
        "join/page.html",
        status_code=status,
        setup=invitation.kind == "setup",
        role=say(ROLE_WORDS[invitation.role]),
        name=name,
        problems=problems,
    )


def _gone(request: Request) -> Response:
    """Tell that a link does not hold; a class that joins by a good one is not slowed down, whoever tries others is."""
    limits: Limits = request.app.state.limits
    if not limits.link_address.take(address(request)):
        return refuse(request, 429, headers={"Retry-After": "300"})
    return refuse(request, 404, say("This link does not hold any more. Ask for a new one."))
