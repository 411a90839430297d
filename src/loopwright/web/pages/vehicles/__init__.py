"""The vehicles of the shop, and one vehicle's history: its tests over time, and the charge that they tell of."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, HTTPException, Query, Request
from starlette.responses import Response

from loopwright.api.shop import TESTS, Shop, VehicleRow, vehicle_fields
from loopwright.errors import InputError
from loopwright.figures.states import state_rows
from loopwright.language import decimal, say, spoken
from loopwright.quantities import parse
from loopwright.web.pages.job.show import person_units, terms_of
from loopwright.web.pages.jobs import Line, line_of
from loopwright.web.pages.vehicles.chart import Chart, Point, chart_of
from loopwright.web.render import page
from loopwright.web.security import me, needs
from loopwright.web.shown import Badge, Shown, about, badge, day, main_first, shop_of, strips_of

__all__ = ["router"]

router = APIRouter()
_PAGE = 50
_VISITS = 6  # of a vehicle's history on one page; each is read from its judgements


@dataclass(frozen=True)
class Tested:
    """One test of a visit: its verdict, the readings people talk by, and what they tell of the circuit."""

    test: str
    title: str
    badge: Badge
    readings: tuple[Shown, ...]
    states: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Visit:
    """One job of a vehicle."""

    line: Line
    odometer: str
    complaint: str
    tests: tuple[Tested, ...]


@router.get("/vehicles", dependencies=[needs("trainee")])
def vehicles_page(
    request: Request,
    q: Annotated[str, Query(max_length=100)] = "",
    page_number: Annotated[int, Query(alias="page", ge=0, le=100_000)] = 0,
) -> Response:
    """List the vehicles that hold every word of `q`."""
    shop = shop_of(request)
    rows = shop.records.vehicles(q, page_number)
    today = shop.clock()
    lines = [(one, about(one.card), day(one.changed, today)) for one in rows]
    return page(request, "vehicles/page.html", q=q, lines=lines, number=page_number, more=len(rows) == _PAGE)


@router.get("/vehicles/{vehicle}", dependencies=[needs("trainee")])
def vehicle_page(
    request: Request, vehicle: str, page_number: Annotated[int, Query(alias="page", ge=0, le=100_000)] = 0
) -> Response:
    """Show one vehicle: what is known of it, and its visits, newest first.

    Raises
    ------
    HTTPException : there is none of that id (404)
    """
    shop = shop_of(request)
    try:
        found = shop.records.vehicle(vehicle)
    except InputError as error:
        raise HTTPException(404, error.problems[0].says) from error
    rows = shop.records.jobs("", page_number, vehicle, _VISITS)
    units = person_units(me(request))
    points: list[Point] = []
    visits = [_visit(shop, line_of(row, shop.clock()), units, points) for row in rows]
    return page(
        request,
        "vehicles/one.html",
        vehicle=found,
        about=about(found.card),
        card=_card(found),
        visits=visits,
        chart=_chart(found, points),
        number=page_number,
        more=len(rows) == _VISITS,
    )


def _card(found: VehicleRow) -> list[tuple[str, str]]:
    visit_only = ("odometer", "complaint", "label")
    return [
        (say(field.name), say(value.replace("_", " ")) if field.kind == "choice" else value)
        for key, field in vehicle_fields().items()
        if key not in visit_only and (value := found.card.get(key))
    ]


def _visit(shop: Shop, line: Line, units: dict[str, str], points: list[Point]) -> Visit:
    stored = shop.job(line.id)
    tests = []
    for test in TESTS:
        if not stored.state.tests[test].written:
            continue
        view = shop.view(stored, test, spoken())
        readings: tuple[Shown, ...] = ()
        states: tuple[tuple[str, str], ...] = ()
        if view.judgement is not None:
            terms = terms_of(view, units)
            readings, states = (
                tuple(main_first(strips_of(view.judgement, terms))),
                tuple(state_rows(view.judgement, terms)[-1:]),
            )
            began = _moment(stored.state.tests[test].began)
            if began is not None and (charge := view.judgement.states.get("charge")):
                points.append(Point(began, charge.low, charge.median, charge.high, line.number))
        title = say("Before") if test == "before" else say("After")
        verdict = badge(view.judgement.verdict if view.judgement else "")
        tests.append(Tested(test, title, verdict, readings, states))
    return Visit(line, stored.state.vehicle_value("odometer"), stored.state.vehicle_value("complaint"), tuple(tests))


def _moment(at: str) -> datetime | None:
    try:
        return datetime.fromisoformat(at)
    except ValueError:
        return None


def _chart(found: VehicleRow, points: list[Point]) -> Chart | None:
    try:
        label = parse(found.card.get("charge", ""), "mass", default="g").value
    except InputError:
        label = None
    return chart_of(points, label, lambda kg: f"{decimal(1000 * kg, 0)} g")
