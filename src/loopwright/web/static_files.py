"""Static files from the package, kept by the browser for ever under an address that changes with them."""

from __future__ import annotations

import gzip
import mimetypes
from functools import cache

from fastapi import APIRouter, HTTPException, Request
from starlette.responses import Response

from loopwright.web.render import STATIC, static_version
from loopwright.web.security import needs

__all__ = ["router"]

router = APIRouter(include_in_schema=False)
_FOR_EVER = "public, max-age=31536000, immutable"


@router.api_route("/static/{version}/{name:path}", methods=["GET", "HEAD"], dependencies=[needs("anyone")])
async def static_file(request: Request, version: str, name: str) -> Response:
    """Return one file; under an old version's address it is not to be kept.

    Raises
    ------
    HTTPException : there is none of that name (404)
    """
    found = _files().get(name)
    if found is None:
        raise HTTPException(404)
    kind, content, packed = found
    headers = {"Cache-Control": _FOR_EVER if version == static_version() else "no-cache", "Vary": "Accept-Encoding"}
    if packed and "gzip" in request.headers.get("accept-encoding", ""):
        return Response(packed, headers={**headers, "Content-Encoding": "gzip"}, media_type=kind)
    return Response(content, headers=headers, media_type=kind)


@cache
def _files() -> dict[str, tuple[str, bytes, bytes]]:
    """Every static file by name: media type, content, and packed where that is worth it. There is nothing else."""
    found = {}
    for path in STATIC.rglob("*"):
        if path.is_file():
            content = path.read_bytes()
            packed = gzip.compress(content, 9, mtime=0)
            worth = len(packed) < 0.9 * len(content)
            found[path.relative_to(STATIC).as_posix()] = (_kind(path.name), content, packed if worth else b"")
    return found


def _kind(name: str) -> str:
    if name.endswith(".js"):  # some systems' own tables say otherwise
        return "text/javascript"
    if name.endswith(".webmanifest"):
        return "application/manifest+json"
    return mimetypes.guess_type(name)[0] or "application/octet-stream"
