"""Everything the shop holds, to take away: an export that other programs read, and a backup that restores."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Form, HTTPException, Request
from starlette.background import BackgroundTask
from starlette.responses import FileResponse, RedirectResponse, Response

from loopwright.api.people import People
from loopwright.api.shop import Shop
from loopwright.api.taking import Taking, What, packed
from loopwright.language import decimal, spoken
from loopwright.web.render import page
from loopwright.web.security import me, needs

__all__ = ["handed_over", "router"]

router = APIRouter()


@router.get("/export", dependencies=[needs("owner")])
def export_page(request: Request) -> Response:
    """Offer an export and a backup, and tell how far the newest is."""
    taken = _taking(request).now()
    return page(request, "export/page.html", taken=taken, size=_size(taken.written) if taken else "")


@router.post("/export", dependencies=[needs("owner")])
def take(request: Request, what: Annotated[What, Form()]) -> Response:
    """Begin to make one file of everything; the page tells when it is ready."""
    _taking(request).begin(what, spoken())
    return RedirectResponse("/export", 303)


@router.get("/export/made.zip", dependencies=[needs("owner")])
def fetch(request: Request) -> Response:
    """Hand the file over, and put that on record.

    Raises
    ------
    HTTPException : there is none (404)
    """
    taken = _taking(request).now()
    if taken is None or taken.state != "ready":
        raise HTTPException(404)
    request.app.state.people.store.note(me(request).id, "export taken", taken.what, {})
    return FileResponse(taken.file, media_type="application/zip", filename=taken.name)


def handed_over(shop: Shop, people: People, person: str, what: What) -> Response:
    """Return an export or a backup as a file, to a program that waits for it; that it was taken is put on record."""
    people.store.note(person, "export taken", what, {})
    folder = Path(tempfile.mkdtemp(prefix="loopwright-"))
    try:
        file = packed(shop, folder, what)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    name = f"loopwright-{what}-{shop.clock()[:10]}.zip"
    done = BackgroundTask(shutil.rmtree, folder, ignore_errors=True)
    return FileResponse(file, media_type="application/zip", filename=name, background=done)


def _size(count: int) -> str:
    """A count of bytes in words.

    >>> _size(85_755_562), _size(23_400), _size(0)
    ('85.8 MB', '23 kB', '0 kB')
    """
    return f"{decimal(count / 1e6, 1)} MB" if count >= 1e6 else f"{decimal(count / 1e3, 0)} kB"


def _taking(request: Request) -> Taking:
    taking: Taking = request.app.state.taking
    return taking
