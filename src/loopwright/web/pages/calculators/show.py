"""What the page of a calculation asks: its fields with what was typed, the job's own values where it came from one."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from fastapi import Request

from loopwright.api.people import Person
from loopwright.api.service import Form, FormField, by_field, calculator_form
from loopwright.api.shop import TESTS, StoredJob
from loopwright.errors import InputError, Problem
from loopwright.language import say, spoken
from loopwright.web.security import me
from loopwright.web.shown import job_or_404

__all__ = ["Asked", "FieldShown", "asked", "found_calculator", "joined", "preferred", "shown"]

_BARE = re.compile(r"[-+−0-9.,'eE\s]*")
_PLUS_MINUS = re.compile(r"\s*(?:±|\+/-|\+-)\s*")
_LARGE_MASS = {"g": "g", "kg": "kg", "oz": "lb", "lb": "lb"}  # a cylinder is not weighed in ounces
_WHOLE = ("choice", "flag", "date", "text", "list", "series", "judgement")
OF_JOB = "job"  # typed for a judgement: take that of the job's test


@dataclass(frozen=True)
class FieldShown:
    """One input as the page draws it; `value` is kept as typed, `taken` is what counts where nothing is."""

    name: str
    label: str
    kind: str
    help: str
    value: str
    unit: str
    units: tuple[str, ...]
    choices: tuple[tuple[str, str], ...]
    required: bool
    taken: str
    problems: tuple[Problem, ...]


@dataclass(frozen=True)
class Asked:
    """What a request asks of a calculation.

    `values` and `units` are as typed, `answers` as the calculation takes them, `typed` whether a person filled the form
    in, `job` and `test` where the values came from.
    """

    form: Form
    values: Mapping[str, str]
    units: Mapping[str, str]
    answers: Mapping[str, Any]
    typed: bool
    stored: StoredJob | None
    test: str
    judged: bool

    @property
    def complete(self) -> bool:
        """Whether there is something to work out: a form that was sent, or a job that tells all that is needed."""
        needed = [field.name for field in self.form.fields if field.required]
        return self.typed or (self.stored is not None and all(self.values.get(name) for name in needed))

    @property
    def address(self) -> str:
        """The query that leads to this result again."""
        known = {"job": self.stored.id, "test": self.test} if self.stored else {}
        values = {name: value for name, value in self.values.items() if value}
        units = {f"u.{name}": unit for name, unit in self.units.items() if name in values}
        return urlencode({**known, **values, **units})


def found_calculator(name: str) -> Form:
    """Return one calculation as a form.

    Raises
    ------
    InputError : there is none of that name
    """
    return calculator_form(name)


def asked(request: Request, form: Form) -> Asked:
    """Read a request: what was typed, and what a job tells where nothing was."""
    query, person = request.query_params, me(request)
    names = [field.name for field in form.fields]
    typed = any(name in query for name in names)
    stored, test = _job(request)
    view = None if stored is None else request.app.state.shop.view(stored, test, spoken())
    judgement = None if view is None else view.judgement
    values = {name: query[name].strip() for name in names if name in query}
    units = {field.name: _unit(field, query.get(f"u.{field.name}", ""), person) for field in form.fields}
    if stored is not None and not typed:
        values = dict(_of_job(form, stored, test, judged=judgement is not None))
    answers: dict[str, Any] = {
        field.name: joined(values[field.name], units[field.name]) if field.kind not in _WHOLE else values[field.name]
        for field in form.fields
        if values.get(field.name)
    }
    if answers.get("judgement") == OF_JOB and judgement is not None:
        answers["judgement"] = judgement
    return Asked(form, values, units, answers, typed, stored, test, judgement is not None)


def joined(written: str, unit: str) -> str:
    """Put the unit that stands beside an input to the number typed, where that carries none.

    >>> joined("4.8", "mm"), joined("4.8 ± 0.1", "mm"), joined("70 ± 20 %", "L/min"), joined("30 psi", "kPa")
    ('4.8 mm', '4.8 ± 0.1 mm', '70 L/min ± 20 %', '30 psi')
    """
    first, *half = _PLUS_MINUS.split(written, maxsplit=1)
    if not unit or not first or not _BARE.fullmatch(first):
        return written
    if half and not _BARE.fullmatch(half[0]):
        return f"{first} {unit} ± {half[0]}" if half[0].rstrip().endswith("%") else written
    return f"{written} {unit}"


def preferred(kind: str, unit: str, units: tuple[str, ...], person: Person) -> str:
    """Return the unit that a person wants for a quantity, of those that it may be written in.

    >>> preferred("temperature", "°C", ("°C", "°F"), Person("1", "Ann", "owner"))
    '°F'
    """
    own = person.preferences
    mass = own.mass if unit == "g" or own.mass == "g" else _LARGE_MASS.get(own.mass, unit)
    wanted = {"pressure": own.pressure, "temperature": own.temperature, "mass": unit if own.mass == "g" else mass}
    found = wanted.get(kind, unit)
    return found if found in units else unit


def shown(question: Asked, error: InputError | None) -> list[FieldShown]:
    """Return the fields with what was typed and what is wrong with it."""
    problems = by_field(question.form.id, error) if error else {}
    return [
        FieldShown(
            name=field.name,
            label=field.label,
            kind=field.kind,
            help=field.help,
            value=question.values.get(field.name, "" if field.kind != "choice" else field.default),
            unit=question.units[field.name],
            units=_ordered(field, question.units[field.name]),
            choices=field.choices,
            required=field.required,
            taken="" if field.kind == "choice" else field.default,
            problems=problems.get(field.name, ()),
        )
        for field in question.form.fields
    ]


def _ordered(field: FormField, first: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys((first, *field.units))) if first else field.units


def _unit(field: FormField, wanted: str, person: Person) -> str:
    if wanted in field.units:
        return wanted
    return preferred(field.kind, field.unit or next(iter(field.units), ""), field.units, person)


def _job(request: Request) -> tuple[StoredJob | None, str]:
    job, test = request.query_params.get("job", ""), request.query_params.get("test", "")
    return (job_or_404(request, job) if job else None), (test if test in TESTS else TESTS[0])


def _of_job(form: Form, stored: StoredJob, test: str, judged: bool) -> Iterator[tuple[str, str]]:
    """What a job tells of a form's fields, as it was typed there."""
    from loopwright.api.service_job import written_records

    vehicle, one, records = stored.state.vehicle_value, stored.state.tests[test].value, written_records(stored)
    known = {
        "refrigerant": vehicle("refrigerant"),
        "gas": vehicle("refrigerant"),
        "compressor": vehicle("compressor"),
        "label": _massed(vehicle("charge")),
        "expected": _massed(vehicle("charge")),
        "air_temperature": one("air_temperature"),
        "altitude": one("altitude"),
        "reached": records.get("vacuum_reached", ""),
        "replaced": _parts(records.get("parts_replaced", "")),
        "mass": records.get("recovered_mass", ""),
        "judgement": OF_JOB if judged else "",
        **({"recovered": records.get("recovered_mass", "")} if form.id == "recovery" else {}),
        **({"oil": records.get("oil_type", "")} if form.id == "oil" else {}),
    }
    names = {field.name for field in form.fields}
    yield from ((name, value) for name, value in known.items() if value and name in names)


def _massed(written: str) -> str:
    """A charge typed without its unit is in grams, whatever unit the page would offer."""
    return joined(written, "g") if written else ""


def _parts(written: str) -> str:
    return "" if written.casefold() in ("none", "no", "-", say("none").casefold()) else written
