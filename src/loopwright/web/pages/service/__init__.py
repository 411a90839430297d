"""The service of a job in its order: what a step needs, its timer, its records, and the refrigerant's account."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Any

from fastapi import APIRouter, Body, HTTPException, Request
from starlette.responses import JSONResponse, Response

from loopwright.api.ledger import Ledger
from loopwright.api.service_job import replay
from loopwright.api.service_ledger import Wanted, book
from loopwright.api.shop import Shop
from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.service.procedure import Opened
from loopwright.web.books import ledger_of
from loopwright.web.pages.service.refrigerant import refrigerant_of
from loopwright.web.pages.service.show import opening_fields, service_shown
from loopwright.web.render import page
from loopwright.web.security import me, needs
from loopwright.web.shown import job_or_404

__all__ = ["router"]

router = APIRouter()
_KEY = re.compile(r"[A-Za-z0-9-]{8,36}")
_LONGEST = 200


@router.get("/jobs/{job}/service", dependencies=[needs("trainee")])
def show_service(request: Request, job: str) -> Response:
    """Show where the service of a job stands."""
    shop: Shop = request.app.state.shop
    stored, person = job_or_404(request, job), me(request)
    kept = replay(stored.state.service)
    now = datetime.fromisoformat(shop.clock()).timestamp()
    opened = bool(kept.events)
    return page(
        request,
        "service/page.html",
        stored=stored,
        now=now,
        opening=() if opened else opening_fields(stored),
        service=service_shown(stored, kept, person, now) if opened else None,
        refrigerant=refrigerant_of(ledger_of(request), shop, stored, kept, person) if opened else None,
    )


@router.post("/jobs/{job}/service/ledger", dependencies=[needs("technician")])
def book_movement(request: Request, job: str, movement: dict[str, Any] = Body(embed=True)) -> Response:  # noqa: B008
    """Book what a service took out or put in; the same movement sent again is booked once.

    Raises
    ------
    InputError : no service is open, or the ledger refuses and says why
    """
    shop: Shop = request.app.state.shop
    stored = job_or_404(request, job)
    first = next(iter(replay(stored.state.service).events), None)
    if not isinstance(first, Opened):
        raise InputError([Problem("job", say("nothing"), say("a service opened first"), say("No service is open."))])
    key, wanted = _movement(movement)
    ledger: Ledger = ledger_of(request)
    entry = book(ledger, stored, first.job.refrigerant, wanted, key=key, at=_moment(movement.get("at"), shop.clock()))
    shop.changed(job)
    return JSONResponse({"entry": entry})


def _movement(sent: dict[str, Any]) -> tuple[str, Wanted]:
    texts = {name: sent.get(name, "") for name in (*Wanted.__dataclass_fields__, "key")}
    wrong = [name for name, text in texts.items() if not isinstance(text, str) or len(text) > _LONGEST]
    if wrong or not _KEY.fullmatch(texts["key"]):
        raise HTTPException(422, say("This is no movement: {fields}.", fields=", ".join(wrong or ["key"])))
    key = texts.pop("key")
    return key, Wanted(**texts)


def _moment(at: object, now: str) -> str:
    """When it happened, as the phone says; its clock is not believed where it is ahead."""
    try:
        when = datetime.fromisoformat(str(at)).astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    except (ValueError, OverflowError):
        return now
    return min(when, now)
