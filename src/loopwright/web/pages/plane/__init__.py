"""The picture of a test in the pressure-enthalpy plane, drawn from the kept judgement and kept in memory."""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from threading import Lock
from typing import Literal

from fastapi import APIRouter, HTTPException, Request
from starlette.responses import Response

from loopwright.api.shop import Shop
from loopwright.figures import Judgement, Terms, plane_figure, svg
from loopwright.language import spoken
from loopwright.web.pages.job.show import person_units, terms_of
from loopwright.web.security import me, needs

__all__ = ["etag", "router"]

router = APIRouter()
_KEPT = 300  # pictures in memory, some 40 kB each
# A picture draws with its own style attributes, and does nothing else.
_HEADERS = {
    "Cache-Control": "private, no-cache",
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; sandbox",
}
_drawn: OrderedDict[str, bytes] = OrderedDict()
_lock = Lock()


@router.get("/jobs/{job}/{test}/plane.svg", dependencies=[needs("trainee")])
def plane(
    request: Request,
    job: str,
    test: Literal["before", "after"],
    w: Literal["390", "760"] = "760",
    theme: Literal["light", "dark"] = "light",
) -> Response:
    """Return the picture; 304 where the browser has it already.

    Raises
    ------
    HTTPException : nothing was judged yet (404)
    """
    shop: Shop = request.app.state.shop
    stored = shop.job(job)
    view = shop.view(stored, test, spoken())
    if view.judgement is None:
        raise HTTPException(404)
    judgement, terms = view.judgement, terms_of(view, person_units(me(request)))
    tag = etag(repr(judgement), repr(terms), spoken(), w, theme)
    headers = {**_HEADERS, "ETag": tag}
    if tag in request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=headers)
    content = _kept(tag) or _keep(tag, _draw(judgement, terms, theme, int(w)))
    return Response(content, media_type="image/svg+xml", headers=headers)


def etag(*parts: str) -> str:
    """Return a strong entity tag: the same parts make the same picture.

    >>> etag("a", "b") == etag("ab")
    False
    """
    return f'"{hashlib.sha256(chr(0).join(parts).encode()).hexdigest()[:32]}"'


def _draw(judgement: Judgement, terms: Terms, theme: Literal["light", "dark"], width: int) -> bytes:
    figure = plane_figure(judgement, terms, theme, width)
    del figure["title"]  # the sentence stands on the page already
    return svg(figure).encode()


def _kept(tag: str) -> bytes | None:
    with _lock:
        if tag in _drawn:
            _drawn.move_to_end(tag)
        return _drawn.get(tag)


def _keep(tag: str, content: bytes) -> bytes:
    with _lock:
        _drawn[tag] = content
        if len(_drawn) > _KEPT:
            _drawn.popitem(last=False)
    return content
