"""Pages from templates: escaped by default, strict about what is missing, in the language and theme of the person."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path
from typing import Any

from fastapi import Request
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.responses import HTMLResponse, Response

from loopwright import __version__
from loopwright.api.people import Preferences
from loopwright.language import later, say, say_many, spoken
from loopwright.web.security import Visitor
from loopwright.web.sessions import remember

__all__ = ["STATIC", "fragment", "page", "static", "static_version"]

_HERE = Path(__file__).parent
STATIC = _HERE / "static"

# What stands at the top of every page: address, words, and who sees it.
NAVIGATION = (
    ("/", later("Jobs"), "trainee"),
    ("/vehicles", later("Vehicles"), "trainee"),
    ("/ledger", later("Ledger"), "trainee"),
    ("/calculators", later("Calculations"), "trainee"),
    ("/people", later("People"), "trainer"),
    ("/export", later("Export"), "owner"),
    ("/settings", later("Settings"), "trainee"),
)


def page(request: Request, name: str, /, status_code: int = 200, **values: Any) -> Response:
    """Return a page.

    Parameters
    ----------
    name : the template, from web/pages ("settings/page.html") or web ("base.html")
    values : what the template shows; `person`, `preferences`, `csrf`, `lang`, `nav` and `path` are there always
    """
    who: Visitor = getattr(request.state, "visitor", None) or Visitor(None, "", False)
    response = HTMLResponse(_rendered(request, who, name, values), status_code)
    if who.fresh:
        remember(response, request.app.state.serving, who.key)
    return response


def fragment(request: Request, name: str, /, **values: Any) -> str:
    """Return a part of a page as text, with the same values at hand."""
    return _rendered(request, request.state.visitor, name, values)


def static(name: str) -> str:
    """Return the address of a file in web/static; it changes with the files, so browsers may keep it for ever."""
    return f"/static/{static_version()}/{name}"


@cache
def static_version() -> str:
    """Return a hash of all static files, so that one that loads another gets it from the same version."""
    whole = hashlib.sha256()
    for path in sorted(STATIC.rglob("*")):
        if path.is_file():
            whole.update(path.relative_to(STATIC).as_posix().encode() + b"\0" + path.read_bytes())
    return whole.hexdigest()[:16]


def _rendered(request: Request, who: Visitor, name: str, values: dict[str, Any]) -> str:
    person = who.person
    nav = [(href, words) for href, words, role in NAVIGATION if person is not None and person.may(role)]
    always = {
        "person": person,
        "preferences": person.preferences if person else Preferences(),
        "csrf": who.csrf,
        "lang": spoken(),
        "nav": nav,
        "path": request.url.path,
        "on_network": request.app.state.serving.on_network,
    }
    return _templates().get_template(name).render(always | values)


@cache
def _templates() -> Environment:
    loader = FileSystemLoader([_HERE / "pages", _HERE])
    made = Environment(
        loader=loader,
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    made.globals.update({"_": say, "_n": say_many, "static": static, "version": __version__})
    return made
