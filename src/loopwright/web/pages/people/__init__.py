"""Who is in the shop, inviting more, and the record of who changed what."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Form, Query, Request
from starlette.responses import RedirectResponse, Response

from loopwright.api.people import ROLE_WORDS, ROLES, People
from loopwright.errors import InputError, Problem
from loopwright.language import later, say
from loopwright.web.render import page
from loopwright.web.security import Serving, me, needs
from loopwright.web.shown import when

__all__ = ["router"]

router = APIRouter()

_PAGE = 50
WHAT = {  # every kind of line that the record holds, in words
    "person joined": later("joined"),
    "set up": later("set up the shop"),
    "settings changed": later("changed settings"),
    "letterhead changed": later("changed the name of the shop on reports"),
    "name changed": later("changed the name"),
    "password changed": later("changed the password"),
    "role changed": later("changed the role"),
    "locked out": later("locked out"),
    "let in": later("let in again"),
    "token made": later("made a token"),
    "api ended": later("ended a token"),
    "session ended": later("signed out on every device"),
    "invitation made": later("invited"),
    "invitation withdrawn": later("withdrew an invitation"),
    "export taken": later("took an export"),
}
DATA = {  # and what belongs to it
    "role": later("Role"),
    "before": later("before"),
    "now": later("now"),
    "invited_by": later("invited by"),
    "uses": later("how many may join"),
    "label": later("what for"),
    "count": later("how many"),
    "language": later("Language"),
    "pressure": later("Pressures"),
    "temperature": later("Temperatures"),
    "mass": later("Masses"),
    "theme": later("Light or dark"),
    "gauge": later("Your gauge set"),
    "gauge_accuracy": later("How far it may be off"),
}


@router.get("/people", dependencies=[needs("trainer")])
def people_page(request: Request) -> Response:
    """List the people and the invitations that hold."""
    return _shown(request)


@router.post("/people/invite", dependencies=[needs("trainer")])
def invite(
    request: Request,
    role: Annotated[str, Form(max_length=40)] = "",
    uses: Annotated[str, Form(max_length=10)] = "1",
) -> Response:
    """Make an invitation; its link is shown this once, as text and as a code for a telephone's camera."""
    people: People = request.app.state.people
    try:
        secret = people.invite(me(request), role, int(uses) if uses.isascii() and uses.isdigit() else 0)
    except InputError as error:
        return _shown(request, problems=error.problems)
    return _shown(request, link=str(request.base_url) + f"join/{secret}", role=role)


@router.post("/people/withdraw", dependencies=[needs("trainer")])
def withdraw(request: Request, invitation: Annotated[str, Form(max_length=100)] = "") -> Response:
    """End an invitation."""
    people: People = request.app.state.people
    people.withdraw(me(request), invitation)
    return RedirectResponse("/people", 303)


@router.post("/people/{person}/role", dependencies=[needs("owner")])
def role(request: Request, person: str, role: Annotated[str, Form(max_length=40)] = "") -> Response:
    """Give somebody another role."""
    people: People = request.app.state.people
    try:
        people.set_role(me(request), person, role)
    except InputError as error:
        return _shown(request, problems=error.problems)
    return RedirectResponse("/people", 303)


@router.post("/people/{person}/active", dependencies=[needs("owner")])
def active(request: Request, person: str, active: Annotated[str, Form(max_length=1)] = "") -> Response:
    """Lock somebody out, or let somebody in again."""
    people: People = request.app.state.people
    try:
        people.set_active(me(request), person, active == "1")
    except InputError as error:
        return _shown(request, problems=error.problems)
    return RedirectResponse("/people", 303)


@router.get("/people/record", dependencies=[needs("owner")])
def record(request: Request, page_number: Annotated[int, Query(alias="page", ge=0, le=10**6)] = 0) -> Response:
    """Show who changed what, newest first."""
    people: People = request.app.state.people
    found = people.audit(page_number)
    lines = [(line, say(WHAT.get(line.what, line.what)), _told(line.data), when(line.at)) for line in found]
    more = len(lines) == _PAGE
    return page(request, "people/record.html", lines=lines, number=page_number, more=more)


def _shown(request: Request, link: str = "", role: str = "", problems: tuple[Problem, ...] = ()) -> Response:
    people: People = request.app.state.people
    serving: Serving = request.app.state.serving
    person = me(request)
    return page(
        request,
        "people/page.html",
        status_code=422 if problems else 200,
        people=people.all(),
        roles=[(name, say(ROLE_WORDS[name])) for name in ROLES],
        gives=[(name, say(ROLE_WORDS[name])) for name in people.gives(person)],
        invitations=[(found, say(ROLE_WORDS[found.role])) for found in people.invitations()],
        link=link,
        square=_square(link),
        joins_as=say(ROLE_WORDS[role]) if role in ROLE_WORDS else "",
        problems=problems,
        reachable=serving.on_network,
    )


def _square(link: str) -> str:
    """The link as a QR code: an SVG picture as a data address, which the page may show."""
    if not link:
        return ""
    import segno

    return str(segno.make(link, error="m", micro=False).svg_data_uri(scale=6, border=4))


def _told(data: Mapping[str, Any]) -> str:
    """The data of a line as short text."""
    values = {key: say(ROLE_WORDS[value]) if key == "role" else value for key, value in data.items() if key != "name"}
    return " · ".join(f"{say(DATA.get(key, key))}: {'–' if value == '' else value}" for key, value in values.items())
