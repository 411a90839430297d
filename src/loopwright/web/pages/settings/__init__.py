"""How a person wants to see and write things; the password; tokens for programs; signing out everywhere."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from loopwright.api.people import CHOICES, Letterhead, People
from loopwright.errors import InputError, Problem
from loopwright.language import languages, later, say
from loopwright.web.problems import refuse
from loopwright.web.render import page
from loopwright.web.security import me, needs, visitor
from loopwright.web.sessions import Limits, apart, forget

__all__ = ["router"]

router = APIRouter()

_WORDS = {"kgf/cm2": "kg/cm²", "auto": later("As the device"), "light": later("Light"), "dark": later("Dark")}
_LABELS = {
    "language": later("Language"),
    "pressure": later("Pressures"),
    "temperature": later("Temperatures"),
    "mass": later("Masses"),
    "theme": later("Light or dark"),
}


@router.get("/settings", dependencies=[needs("trainee")])
def settings_page(request: Request) -> Response:
    """Show the person's settings."""
    return _shown(request)


@router.post("/settings", dependencies=[needs("trainee")])
def settings(
    request: Request,
    name: Annotated[str | None, Form(max_length=1000)] = None,
    language: Annotated[str | None, Form()] = None,
    pressure: Annotated[str | None, Form()] = None,
    temperature: Annotated[str | None, Form()] = None,
    mass: Annotated[str | None, Form()] = None,
    theme: Annotated[str | None, Form()] = None,
    gauge: Annotated[str | None, Form()] = None,
    gauge_accuracy: Annotated[str | None, Form()] = None,
) -> Response:
    """Change some of them."""
    sent = {
        "language": language,
        "pressure": pressure,
        "temperature": temperature,
        "mass": mass,
        "theme": theme,
        "gauge": gauge,
        "gauge_accuracy": gauge_accuracy,
    }
    written = {key: value for key, value in sent.items() if value is not None}
    people: People = request.app.state.people
    problems: list[Problem] = []
    renamed = me(request).name if name is None else name
    for change in (lambda: people.prefer(me(request), written), lambda: people.rename(me(request), renamed)):
        try:
            change()
        except InputError as error:
            problems += error.problems
    if problems:
        return _shown(request, written | ({} if name is None else {"name": name}), tuple(problems))
    return RedirectResponse("/settings", 303)


@router.post("/settings/shop", dependencies=[needs("owner")])
def letterhead(
    request: Request,
    shop_name: Annotated[str, Form(max_length=1000)] = "",
    address: Annotated[str, Form(max_length=1000)] = "",
    phone: Annotated[str, Form(max_length=1000)] = "",
) -> Response:
    """Change what reports carry at their head."""
    people: People = request.app.state.people
    written = Letterhead(shop_name, address.replace("\r\n", "\n"), phone)
    try:
        people.set_letterhead(me(request), written)
    except InputError as error:
        marked = tuple(replace(p, field="shop_name" if p.field == "name" else p.field) for p in error.problems)
        return _shown(request, problems=marked, head=written)
    return RedirectResponse("/settings#shop", 303)


@router.post("/settings/password", dependencies=[needs("trainee")])
async def password(
    request: Request,
    old_password: Annotated[str, Form(max_length=1000)] = "",
    new_password: Annotated[str, Form(max_length=1000)] = "",
) -> Response:
    """Set a new password; every session ends, this one too."""
    return await apart(_password, request, old_password, new_password)


def _password(request: Request, old_password: str, new_password: str) -> Response:
    people: People = request.app.state.people
    limits: Limits = request.app.state.limits
    person = me(request)
    if not limits.login_account.take(f"password of {person.id}"):
        return refuse(request, 429, headers={"Retry-After": "300"})
    try:
        people.change_password(person, old_password, new_password)
    except InputError as error:
        return _shown(request, problems=error.problems)
    response = RedirectResponse("/login", 303)
    forget(response, request.app.state.serving)
    return response


@router.post("/settings/tokens", dependencies=[needs("trainee")])
def make_token(request: Request, label: Annotated[str, Form(max_length=200)] = "") -> Response:
    """Make a token for a program, and show it this once."""
    people: People = request.app.state.people
    try:
        secret = people.make_token(me(request), label)
    except InputError as error:
        return _shown(request, problems=error.problems)
    return _shown(request, made=secret)


@router.post("/settings/tokens/end", dependencies=[needs("trainee")])
def end_token(request: Request, token: Annotated[str, Form(max_length=100)] = "") -> Response:
    """End a token."""
    people: People = request.app.state.people
    people.end_token(me(request), token)
    return RedirectResponse("/settings#tokens", 303)


def _shown(
    request: Request,
    written: dict[str, str] | None = None,
    problems: tuple[Problem, ...] = (),
    made: str = "",
    head: Letterhead | None = None,
) -> Response:
    people: People = request.app.state.people
    person = me(request)
    return page(
        request,
        "settings/page.html",
        status_code=422 if problems else 200,
        now={"name": person.name, **asdict(person.preferences), **(written or {})},
        choices=[(key, say(_LABELS[key]), _options(key)) for key in CHOICES],
        problems=problems,
        tokens=people.tokens(person),
        made=made,
        letterhead=head or people.letterhead(),
        by_session=visitor(request).person is not None and request.app.state.serving.on_network,
    )


def _options(key: str) -> list[tuple[str, str]]:
    if key == "language":
        spanish = {"es": "Español (30,5)", "es-MX": "Español (30.5)"}  # Spain and most of the South; Mexico and north
        return [("", say("As the browser")), *(languages() | spanish).items()]
    return [(value, say(_WORDS.get(value, value))) for value in CHOICES[key]]
