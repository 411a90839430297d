"""Signing in and out."""

from __future__ import annotations

import logging
from typing import Annotated
from urllib.parse import urlsplit

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from loopwright.api.people import People, Person
from loopwright.errors import Problem
from loopwright.language import say
from loopwright.web.problems import refuse
from loopwright.web.render import page
from loopwright.web.security import Serving, needs, visitor
from loopwright.web.sessions import Limits, address, apart, forget, remember

__all__ = ["begin", "inside", "router"]

router = APIRouter()
log = logging.getLogger("loopwright.web")


def inside(path: str) -> str:
    """Return a path of this site to go on to; whatever leads elsewhere becomes the beginning.

    >>> inside("/jobs?search=van"), inside("//evil.example"), inside("https://evil.example")
    ('/jobs?search=van', '/', '/')
    """
    try:
        parts = urlsplit(path)
    except ValueError:
        return "/"
    plain = path.startswith("/") and not path.startswith("//") and "\\" not in path and path.isprintable()
    return path if plain and not parts.scheme and not parts.netloc else "/"


def begin(request: Request, person: Person, there: str) -> Response:
    """Begin a session under a new key, whatever key the browser had before, and go on."""
    people: People = request.app.state.people
    key = people.sign_in(person, request.headers.get("user-agent", ""), instead_of=visitor(request).key)
    response = RedirectResponse(inside(there), 303)
    remember(response, request.app.state.serving, key)
    return response


@router.get("/login", dependencies=[needs("anyone")])
def login_page(request: Request, next: str = "/") -> Response:
    """Ask for name and password."""
    if visitor(request).person is not None:
        return RedirectResponse(inside(next), 303)
    return _form(request, inside(next))


@router.post("/login", dependencies=[needs("anyone")])
async def login(
    request: Request,
    name: Annotated[str, Form(max_length=200)] = "",
    password: Annotated[str, Form(max_length=1000)] = "",
    next: Annotated[str, Form(max_length=2000)] = "/",
) -> Response:
    """Let a person in by name and password."""
    return await apart(_login, request, name, password, next)


def _login(request: Request, name: str, password: str, next: str) -> Response:
    serving: Serving = request.app.state.serving
    if not serving.on_network:
        return RedirectResponse(inside(next), 303)
    people: People = request.app.state.people
    limits: Limits = request.app.state.limits
    account = " ".join(name.casefold().split())
    if not (limits.login_address.take(address(request)) and limits.login_account.take(account)):
        return refuse(request, 429, headers={"Retry-After": "300"})
    person = people.check_password(name, password)
    if person is None:
        log.warning("Somebody could not sign in, from %s.", address(request))
        says = say("This name and password do not belong together.")
        return _form(request, inside(next), name, (Problem("name", "", "", says),), status=401)
    limits.login_account.clear(account)
    return begin(request, person, next)


@router.post("/logout", dependencies=[needs("trainee")])
def logout(request: Request, everywhere: Annotated[str, Form()] = "") -> Response:
    """End this session, or every session of the person."""
    people: People = request.app.state.people
    who = visitor(request)
    if who.person is not None:
        if everywhere:
            people.sign_out_everywhere(who.person)
        else:
            people.sign_out(who.person, who.key)
    response = RedirectResponse("/login", 303)
    forget(response, request.app.state.serving)
    return response


def _form(
    request: Request, there: str, name: str = "", problems: tuple[Problem, ...] = (), status: int = 200
) -> Response:
    nobody = not request.app.state.people.anybody_signs_in()
    return page(
        request, "login/page.html", status_code=status, there=there, name=name, problems=problems, nobody=nobody
    )
