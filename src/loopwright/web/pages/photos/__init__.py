"""Photographs of a job: taken in, cleaned, and shown by the hash of what is kept."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Annotated, Any, Literal

from fastapi import APIRouter, HTTPException, Query, Request
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.responses import JSONResponse, RedirectResponse, Response

from loopwright.api.photos import cleaned, smaller
from loopwright.api.shop import Shop, new_entry
from loopwright.errors import InputError, Problem
from loopwright.language import say, spoken
from loopwright.web.documents import wants_document
from loopwright.web.security import FORMS, me, needs
from loopwright.web.shown import job_or_404, shop_of

__all__ = ["router", "taken"]

router = APIRouter()
_HASH = re.compile(r"[0-9a-f]{64}")
_LONGEST_CAPTION = 200
_HEADERS = {
    # The name is a hash of the content, so it never changes; "private" keeps it out of shared caches.
    "Cache-Control": "private, max-age=31536000, immutable",
    "Content-Security-Policy": "default-src 'none'; sandbox",
    "Content-Disposition": "inline",
}


@router.post("/jobs/{job}/photos", dependencies=[needs("trainee")])
async def add_photo(
    request: Request,
    job: str,
    id: Annotated[str, Query(pattern=r"^[A-Za-z0-9-]{8,64}$")] = "",  # an entry's, as elsewhere
    at: Annotated[str, Query(pattern=r"^[0-9TZ:.+-]{1,40}$")] = "",
) -> Response:
    """Keep a photograph: the body itself, or the field `photo` of a form. Sent again under one `id` it is entered once.

    A device that had no connection says `at` what moment it was taken.
    """
    content, caption = await _sent(request)
    name = await run_in_threadpool(taken, shop_of(request), request, job, content, caption, (id, at))
    if wants_document(request):
        return JSONResponse({"photo": name}, 201, {"Location": f"/photos/{name}"})
    return RedirectResponse(f"/jobs/{job}", 303)


@router.get("/photos/{name}", dependencies=[needs("trainee")])
def show_photo(request: Request, name: str, w: Literal["320"] | None = None) -> Response:
    """Return a photograph, small where the page needs it small.

    Raises
    ------
    HTTPException : there is none of that hash (404)
    """
    if not _HASH.fullmatch(name):
        raise HTTPException(404)
    try:
        kind, content = shop_of(request).records.photo(name)
    except InputError as error:
        raise HTTPException(404) from error
    if kind != "image/jpeg":  # nothing else is ever taken in
        raise HTTPException(404)
    tag = f'"{name}{f"-{w}" if w else ""}"'
    if tag in request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers={**_HEADERS, "ETag": tag})
    shown = smaller(content, int(w)) if w else content  # browsers keep it, so it is made once for each of them
    return Response(shown, headers={**_HEADERS, "ETag": tag}, media_type="image/jpeg")


def taken(
    shop: Shop, request: Request, job: str, content: bytes, caption: str, stamp: tuple[str, str] = ("", "")
) -> str:
    """Clean a photograph, keep it, and enter it into its job; return its name.

    `stamp` is the entry's id and moment, where the device gave them.
    """
    stored = job_or_404(request, job)
    name = shop.records.add_photo("image/jpeg", cleaned(content))
    data: dict[str, Any] = {"photo": name} | ({"caption": caption} if caption else {})
    if any(photo.photo == name for photo in stored.state.photos):
        return name  # sent twice
    fresh = new_entry("photo", me(request).name, stamp[1] or shop.clock(), **data)
    shop.enter(stored.id, [replace(fresh, id=stamp[0] or fresh.id)], spoken())
    return name


async def _sent(request: Request) -> tuple[bytes, str]:
    kind = request.headers.get("content-type", "").partition(";")[0].strip().casefold()
    if kind not in FORMS:
        return await request.body(), request.query_params.get("caption", "")[:_LONGEST_CAPTION]
    form = request.state.form
    try:
        file = form.get("photo")
        if not isinstance(file, UploadFile):
            raise InputError([Problem("photo", say("nothing"), say("a photograph"), say("Choose a photograph first."))])
        return await file.read(), str(form.get("caption", "")).strip()[:_LONGEST_CAPTION]
    finally:
        await form.close()
