"""The HTTP API for programs: the contract's judgement, and a description of it all as OpenAPI."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, HTTPException, Path, Query, Request
from starlette.responses import JSONResponse, Response

from loopwright import __version__
from loopwright.api.at_once import AtOnce, BusyError
from loopwright.api.wire import schema_in, schema_out
from loopwright.language import spoken
from loopwright.web.live import stream
from loopwright.web.security import me, needs
from loopwright.web.shown import job_or_404

__all__ = ["refusals", "router"]

router = APIRouter()
_LARGEST_SEED = 2**31 - 1

_PROBLEM = {
    "description": "A problem document (RFC 9457)",
    "content": {
        "application/problem+json": {
            "schema": {
                "type": "object",
                "required": ["type", "title", "status", "detail"],
                "properties": {
                    "type": {"type": "string"},
                    "title": {"type": "string"},
                    "status": {"type": "integer"},
                    "detail": {"type": "string"},
                    "instance": {"type": "string"},
                    "problems": {"type": "array", "items": {"type": "object"}},
                },
            }
        }
    },
}


def refusals(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """Return the part of a route's OpenAPI description that tells its refusals."""
    return dict.fromkeys(statuses, _PROBLEM)


@router.get("/api/v1/health", dependencies=[needs("anyone")], tags=["shop"])
def health() -> dict[str, str]:
    """Tell that the server is there, and its version."""
    return {"status": "well", "version": __version__}


@router.post(
    "/api/v1/judge", dependencies=[needs("trainee")], tags=["judgement"], responses=refusals(401, 403, 413, 422, 503)
)
def judge(
    request: Request,
    sheet: Annotated[dict[str, Any], Body(description="A test sheet; `/api/v1/schema/sheet` tells what it may hold.")],
    seed: Annotated[int, Query(ge=0, le=_LARGEST_SEED, description="Same sheet, same seed, same judgement.")] = 0,
) -> Response:
    """Judge a test sheet: verdict, causes with their probability, what each reading should be, the next check.

    Raises
    ------
    HTTPException : too many wait already (503)
    """
    judging: AtOnce = request.app.state.at_once
    try:
        return JSONResponse(judging.judge(sheet, seed, spoken()))
    except BusyError as busy:
        raise HTTPException(503, headers={"Retry-After": "5"}) from busy


@router.get(
    "/api/v1/schema/{name}",
    dependencies=[needs("anyone")],
    tags=["judgement"],
    response_class=Response,
    responses={200: {"content": {"application/schema+json": {}}}},
)
def schema(name: Literal["sheet", "judgement"]) -> Response:
    """Return the JSON Schema (2020-12) of a test sheet or of a judgement."""
    found = schema_in() if name == "sheet" else schema_out()
    return JSONResponse(found, media_type="application/schema+json")


@router.get(
    "/api/v1/jobs/{job}/live",
    dependencies=[needs("trainee")],
    tags=["records"],
    response_class=Response,
    responses={200: {"content": {"text/event-stream": {}}}, **refusals(401, 404, 503)},
)
def live(request: Request, job: Annotated[str, Path(max_length=64)]) -> Response:
    """Tell when a job changes, as Server-Sent Events: `changed`, or `missed` where some were lost on the way."""
    return stream(request, f"job:{job_or_404(request, job).id}", me(request).id)


@router.get("/api/openapi.json", dependencies=[needs("anyone")], include_in_schema=False)
def description(request: Request) -> dict[str, Any]:
    """Return this description, as OpenAPI."""
    found: dict[str, Any] = request.app.openapi()
    for methods in found["paths"].values():
        for told in methods.values():
            _complete(told)
    return found


def _complete(told: dict[str, Any]) -> None:
    """Tell what holds for every operation: any request can be malformed, and all refusals have one form."""
    told["description"] = told.get("description", "").partition("\n\nRaises\n")[0]  # that is for callers in Python
    told["responses"].update({"400": _PROBLEM, "422": _PROBLEM})
