"""The first page: the jobs, newest change first, with their state; a search; and a new job in one tap."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from loopwright.api.shop import JobRow, VehicleRow
from loopwright.web.render import page
from loopwright.web.security import needs
from loopwright.web.shown import Badge, about, badge, day, shop_of

__all__ = ["Line", "line_of", "router"]

router = APIRouter()
_FEW = 5  # vehicles shown beside the jobs of a search
_PAGE = 50


@dataclass(frozen=True)
class Line:
    """One job as a line: `after` is None where there was no second test."""

    id: str
    number: int
    title: str
    about: str
    day: str
    closed: bool
    before: Badge
    after: Badge | None


def line_of(row: JobRow, today: str) -> Line:
    """Return a job as a line of a list."""
    after = badge(row.verdict_after) if row.verdict_after else None
    before = badge(row.verdict_before)
    return Line(row.id, row.number, row.title, about(row.card), day(row.changed, today), row.closed, before, after)


@router.get("/", dependencies=[needs("trainee")])
def jobs_page(
    request: Request,
    q: Annotated[str, Query(max_length=100)] = "",
    page_number: Annotated[int, Query(alias="page", ge=0, le=100_000)] = 0,
) -> Response:
    """List the jobs that hold every word of `q`, and the vehicles too, so that a new job begins from one."""
    shop = shop_of(request)
    rows = shop.records.jobs(q, page_number)
    vehicles: list[VehicleRow] = shop.records.vehicles(q)[:_FEW] if q.strip() and not page_number else []
    today = shop.clock()
    return page(
        request,
        "jobs/page.html",
        q=q,
        lines=[line_of(row, today) for row in rows],
        vehicles=[(one, about(one.card)) for one in vehicles],
        number=page_number,
        more=len(rows) == _PAGE,
    )
