"""Everything the shop holds, to take away: an export that other programs read, and a backup that restores."""

from __future__ import annotations

import shutil
import tempfile
import zipfile
from pathlib import Path
from typing import Annotated, Literal

from fastapi import APIRouter, Form, Request
from starlette.background import BackgroundTask
from starlette.responses import FileResponse, Response

from loopwright.api.backup import back_up_to
from loopwright.api.export import export
from loopwright.api.people import People
from loopwright.api.shop import Shop
from loopwright.web.render import page
from loopwright.web.security import me, needs
from loopwright.web.shown import shop_of

__all__ = ["packed", "router"]

router = APIRouter()


@router.get("/export", dependencies=[needs("owner")])
def export_page(request: Request) -> Response:
    """Offer an export and a backup."""
    return page(request, "export/page.html")


@router.post("/export", dependencies=[needs("owner")])
def take(request: Request, what: Annotated[Literal["csv", "json", "parquet", "backup"], Form()]) -> Response:
    """Hand everything over as one file."""
    shop, people = shop_of(request), request.app.state.people
    return handed_over(shop, people, me(request).id, what)


def handed_over(shop: Shop, people: People, person: str, what: Literal["csv", "json", "parquet", "backup"]) -> Response:
    """Return an export or a backup as a file; that it was taken is put on record."""
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


def packed(shop: Shop, folder: Path, what: Literal["csv", "json", "parquet", "backup"]) -> Path:
    """Write an export or a backup into a folder as one file."""
    file = folder / "all.zip"
    if what == "backup":
        back_up_to(shop, file)
        return file
    inside = folder / "export"
    export(shop, inside, what)
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in sorted(inside.rglob("*")):
            if path.is_file():
                archive.write(path, path.relative_to(inside).as_posix())
    return file
