"""What lives on the device: the worker that keeps pages for when the shop cannot be reached, and its last resort."""

from __future__ import annotations

import json

from fastapi import APIRouter, Request
from starlette.responses import Response

from loopwright.web.render import STATIC, page, static, static_version
from loopwright.web.security import needs

__all__ = ["router"]

router = APIRouter(include_in_schema=False)
_NOT_LOADED = {"worker.js"}


@router.get("/worker.js", dependencies=[needs("anyone")])
def worker() -> Response:
    """Return the worker; it changes with the static files, so that browsers notice a new version."""
    names = sorted(path.relative_to(STATIC).as_posix() for path in STATIC.rglob("*") if path.is_file())
    files = [static(name) for name in names if name not in _NOT_LOADED and not name.endswith((".md", ".txt"))]
    head = f"const VERSION = {json.dumps(static_version())};\nconst FILES = {json.dumps(files)};\n"
    text = head + (STATIC / "worker.js").read_text(encoding="utf-8")
    return Response(text, media_type="text/javascript", headers={"Cache-Control": "no-cache"})


@router.get("/offline", dependencies=[needs("anyone")])
def offline(request: Request) -> Response:
    """Tell that the shop cannot be reached; kept on the device, so it holds nothing of anybody."""
    return page(request, "offline.html")
