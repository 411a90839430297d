"""The HTTP API of the calculations: what each asks, and what comes out, as the published sheet."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Body, HTTPException, Path
from pydantic import BaseModel, ConfigDict
from starlette.responses import JSONResponse, Response

from loopwright.api.service import (
    calculate,
    calculator_form,
    calculators,
    form_to_wire,
    sheet_to_wire,
)
from loopwright.errors import InputError
from loopwright.web.http_api import refusals
from loopwright.web.security import needs

__all__ = ["router"]

router = APIRouter(prefix="/api/v1/calculators", tags=["calculations"])
Name = Annotated[str, Path(max_length=40)]
Answers = dict[str, str | float | bool]


class Calculation(BaseModel):
    """One calculation: its id, its title, what it answers."""

    model_config = ConfigDict(extra="forbid")

    calculation: str
    title: str
    says: str


@router.get("", dependencies=[needs("trainee")], responses=refusals(401))
def list_calculators() -> list[Calculation]:
    """List every calculation, in the order of a service."""
    return [Calculation(calculation=form.id, title=form.title, says=form.says) for form in calculators()]


@router.get("/{name}", dependencies=[needs("trainee")], responses=refusals(401, 404))
def get_form(name: Name) -> dict[str, Any]:
    """Return what a calculation asks: fields with their kind, unit, help, default and choices."""
    _known(name)
    return form_to_wire(calculator_form(name))


@router.post("/{name}", dependencies=[needs("trainee")], responses=refusals(401, 403, 404, 413, 422))
def work_out(
    name: Name,
    answers: Annotated[
        Answers,
        Body(embed=True, description='By field, as typed ("25 ± 0.5 °C"), or a number in its unit.'),
    ],
) -> Response:
    """Do a calculation: lines in SI with one standard uncertainty, sentences, cautions, sources with how obtained."""
    _known(name)
    return JSONResponse(sheet_to_wire(calculate(name, answers)))


def _known(name: str) -> None:
    try:
        calculator_form(name)
    except InputError as error:
        raise HTTPException(404) from error
