"""Every calculation of a service, without a job or with a job's values filled in; each result has an address."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from threading import Timer
from typing import Any

from fastapi import APIRouter, HTTPException, Request
from starlette.responses import PlainTextResponse, Response

from loopwright.api.service import OBTAINED, Sheet, calculate, calculators
from loopwright.api.service_text import sheet_text
from loopwright.errors import InputError
from loopwright.language import say
from loopwright.web.pages.calculators.show import Asked, asked, found_calculator, shown
from loopwright.web.render import page
from loopwright.web.security import needs

__all__ = ["router"]

router = APIRouter()
_FIRST = {"refrigerant": "R134a", "bore": "4.8 mm", "length": "1 m", "temperature": "20 °C"}
_AFTER_THE_PAGE_S = 0.5  # loading takes the interpreter's lock for long stretches; the page goes first
_NAME = re.compile(r"[a-z0-9-]{1,40}")


@router.get("/calculators", dependencies=[needs("trainee")])
def all_of_them(request: Request) -> Response:
    """List every calculation."""
    _prepare()
    return page(request, "calculators/list.html", forms=calculators())


@router.get("/calculators/{name}.txt", dependencies=[needs("trainee")])
def as_text(request: Request, name: str) -> Response:
    """Hand a result out as text, as it would be printed."""
    question = asked(request, _known(name))
    headers = {"Content-Disposition": f'attachment; filename="{name}.txt"'}
    return PlainTextResponse(sheet_text(calculate(name, question.answers)), headers=headers)


@router.get("/calculators/{name}", dependencies=[needs("trainee")])
def one(request: Request, name: str) -> Response:
    """Ask what a calculation needs, and show what comes out; both stand in the address."""
    question = asked(request, _known(name))
    sheet, error = _result(question)
    fields = shown(question, error)
    problems = tuple(
        replace(problem, says=f"{field.label}: {problem.says}") for field in fields for problem in field.problems
    )
    return page(
        request,
        "calculators/page.html",
        status_code=422 if error else 200,
        form=question.form,
        question=question,
        sheet=sheet,
        obtained={key: say(words) for key, words in OBTAINED.items()},
        needed=[field for field in fields if field.required or (field.problems and not field.value)],
        more=[field for field in fields if not (field.required or (field.problems and not field.value))],
        problems=problems,
        others=error.problems if error and not problems else (),
    )


@cache
def _prepare() -> None:
    """Load the refrigerants' properties while the form is filled in: the first use takes seconds."""
    later = Timer(_AFTER_THE_PAGE_S, calculate, args=("hose", _FIRST))
    later.daemon = True
    later.start()


def _result(question: Asked) -> tuple[Sheet | None, InputError | None]:
    """The sheet, or what is wrong; neither where nobody asked yet."""
    if not question.complete:
        _prepare()
        return None, None
    try:
        return calculate(question.form.id, question.answers), None
    except InputError as error:
        return None, error if question.typed else None


def _known(name: str) -> Any:
    if not _NAME.fullmatch(name):
        raise HTTPException(404)
    try:
        return found_calculator(name)
    except InputError as error:
        raise HTTPException(404) from error
