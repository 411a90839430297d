"""Refrigerant service for the faces: calculations as forms and sheets, and a service job as a list of facts.

A face that offers every calculation needs three things and nothing else:

>>> [form.id for form in calculators()][:3]
['foreign-gas', 'cylinder', 'recovery']
>>> [(f.name, f.kind, f.unit, f.required) for f in calculator_form("hose").fields][1:3]
[('bore', 'length', 'mm', True), ('length', 'length', 'm', True)]
>>> sheet = calculate("hose", {"refrigerant": "R-134a", "bore": "4.8 mm", "length": "1.8", "temperature": "25 °C"})
>>> sheet.word, sheet.rows()[0]
('liquid', ('Trapped in hose and manifold', '39.3 ± 2.1 g'))

Answers are what a person typed, by field; an empty one counts as not given. What is wrong is raised together, and
`by_field` sorts it to the inputs it belongs to:

>>> try:
...     calculate("hose", {"refrigerant": "R134a", "bore": "wide", "length": "1.8 m", "temperature": "25 °C"})
... except InputError as error:
...     [(name, problem.says) for name, found in by_field("hose", error).items() for problem in found]
[('bore', 'Not a number.')]
"""

from __future__ import annotations

import dataclasses
import datetime
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args

from loopwright.api.service_fields import read_fields, read_value, units_for
from loopwright.api.service_words import amount
from loopwright.cards import sources
from loopwright.errors import InputError, Problem
from loopwright.language import later, say
from loopwright.ledger.names import refrigerant_name
from loopwright.quantities import show
from loopwright.service import procedure
from loopwright.service.events import Compressor, from_plain, to_plain
from loopwright.service.sheets import CALCULATORS, Calculator, Field, Line, Result, calculator

__all__ = [
    "CALCULATORS",
    "OBTAINED",
    "Form",
    "FormField",
    "Sheet",
    "append_job",
    "by_field",
    "calculate",
    "calculator_form",
    "calculators",
    "form_to_wire",
    "from_plain",
    "new_job",
    "note",
    "read_job",
    "record_fields",
    "record_text",
    "sheet_to_wire",
    "to_plain",
]

OBTAINED = {
    "page": later("read in a public page"),
    "repository": later("read in a public repository"),
    "memory": later("FROM MEMORY, not read"),
    "computed": later("computed"),
    "practice": later("common practice, no source"),
}
"""How a source reached us, in words; `memory` must stay visible wherever a result is shown."""


@dataclass(frozen=True)
class FormField:
    """One input as a page or a prompt asks for it, in the language spoken.

    `kind` says what is typed: "choice" (one of `choices`), "flag" (yes or nothing), "date", "text", "list" (commas
    between), "series" (lines of time and absolute pressure), "judgement" (a judgement's JSON), "leak_rate", and else a
    quantity with its unit ("4.8 ± 0.1 mm"; a bare number is in `unit`). `units` are those it may be written in;
    `default` is taken where nothing is typed, and the sheet says that it was; `choices` are pairs of value and words.
    """

    name: str
    label: str
    kind: str
    help: str
    unit: str = ""
    units: tuple[str, ...] = ()
    required: bool = True
    default: str = ""
    choices: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Form:
    """One calculation as it is offered: what it is called, what it answers, what it asks."""

    id: str
    title: str
    says: str
    fields: tuple[FormField, ...]


@dataclass(frozen=True)
class Sheet:
    """A calculation as it is printed: inputs as written, results in SI, sentences, cautions, sources (how obtained).

    `verdict` is an id for machines, `word` the same for people.
    """

    name: str
    title: str
    given: tuple[tuple[str, str], ...]
    verdict: str
    says: tuple[str, ...]
    lines: tuple[Line, ...]
    cautions: tuple[str, ...]
    sources: tuple[tuple[str, str], ...]

    @property
    def word(self) -> str:
        """The verdict in the language spoken."""
        return say(self.verdict.replace("_", " "))

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Each result as label and text; "±" is about 95 % (two standard uncertainties)."""
        return tuple((line.label, _shown(line)) for line in self.lines)


def _shown(line: Line) -> str:
    return line.value if isinstance(line.value, str) else amount(line.value, line.kind, line.unit)


def calculators() -> tuple[Form, ...]:
    """Return every calculation as a form, in the order of a service and in the language spoken."""
    return tuple(calculator_form(name) for name in CALCULATORS)


def calculator_form(name: str) -> Form:
    """Return one calculation as a form.

    Raises
    ------
    InputError : no such calculation
    """
    form = calculator(name)
    return Form(form.name, say(form.title), say(form.says), tuple(_form_field(item) for item in form.fields))


def _form_field(item: Field) -> FormField:
    words = say(item.name.replace("_", " "))
    return FormField(
        name=item.name,
        label=words[:1].upper() + words[1:],
        kind=item.kind,
        help=say(item.says),
        unit=item.unit,
        units=units_for(item),
        required=item.required and not item.default and item.kind != "flag",
        default=item.default,
        choices=tuple((choice, say(choice.replace("_", " "))) for choice in item.choices),
    )


def calculate(name: str, written: Mapping[str, Any], today: datetime.date | None = None) -> Sheet:
    """Do one calculation with what a person wrote.

    Parameters
    ----------
    name : the id of a calculation
    written : field to what was typed: text with unit and, if known, its limits ("25 ± 0.5 °C"), or a bare number in
        the field's unit. Text is never taken for the name of a file: a series or judgement is given as its content, as
        Python values, or by a `Path`
    today : for requalification dates; the clock's day without it

    Raises
    ------
    InputError : every field that cannot be used, together; or what the calculation itself refuses
    """
    form = calculator(name)
    given, shown = read_fields(form, written, today)
    result = form.run(given)
    return _sheet(form, result, shown)


def by_field(name: str, error: InputError) -> dict[str, tuple[Problem, ...]]:
    """Sort the problems of a calculation by its fields; those that belong to no one field stand under "".

    Raises
    ------
    InputError : no such calculation
    """
    names = {item.name for item in calculator(name).fields}
    found: dict[str, list[Problem]] = {}
    for problem in error.problems:
        found.setdefault(problem.field if problem.field in names else "", []).append(problem)
    return {field: tuple(problems) for field, problems in found.items()}


def _sheet(form: Calculator, result: Result, shown: tuple[tuple[str, str], ...]) -> Sheet:
    from loopwright.service.cautions import cautions

    obtained = tuple((sources()[key].citation, sources()[key].obtained) for key in dict.fromkeys(result.sources))
    said = tuple(str(cautions()[key]) for key in result.cautions)
    return Sheet(form.name, say(form.title), shown, result.verdict, result.says, result.lines, said, obtained)


def form_to_wire(form: Form) -> dict[str, Any]:
    """Return a form as plain data for machines.

    >>> form_to_wire(calculator_form("co2e"))["fields"][2]["choices"][0]
    {'value': 'TAR', 'label': 'TAR'}
    """
    fields = []
    for item in form.fields:
        choices = [{"value": value, "label": label} for value, label in item.choices]
        fields.append({**dataclasses.asdict(item), "units": list(item.units), "choices": choices})
    return {"schema": 1, "calculation": form.id, "title": form.title, "says": form.says, "fields": fields}


def sheet_to_wire(sheet: Sheet) -> dict[str, Any]:
    """Return a sheet as plain data for machines; values in SI with one standard uncertainty."""
    lines = [
        {"label": line.label.strip(), "text": line.value}
        if isinstance(line.value, str)
        else {
            "label": line.label.strip(),
            "value": line.value.value,
            "sigma": line.value.sigma,
            "unit": line.unit if line.kind == "number" else "SI",
            "kind": line.kind,
        }
        for line in sheet.lines
    ]
    return {
        "schema": 1,
        "calculation": sheet.name,
        "verdict": sheet.verdict,
        "says": list(sheet.says),
        "given": dict(sheet.given),
        "results": lines,
        "cautions": list(sheet.cautions),
        "sources": [{"citation": citation, "obtained": obtained} for citation, obtained in sheet.sources],
    }


def new_job(written: Mapping[str, str]) -> procedure.Job:
    """Make the job that a service is opened with, from what a person typed.

    Parameters
    ----------
    written : `refrigerant` of the label, `machine_refrigerant` of the machine that is to be connected, `compressor`
        ("fixed", "variable" or "electric"), `charge` of the label ("500 g"), and where they are known `vehicle` (words)
        and `altitude` for gauge pressures ("1500 m"; the sea's without it)

    Raises
    ------
    InputError : everything that cannot be read, together; whether it fits is asked when the job is opened

    >>> typed = {"refrigerant": "R-134a", "machine_refrigerant": "r134a", "compressor": "fixed", "charge": "500"}
    >>> new_job(typed | {"altitude": "1500 m"}).refrigerant
    'R134a'
    """
    from loopwright.fluids.atmosphere import pressure

    read: dict[str, Any] = {}
    problems: list[Problem] = []
    for item in _JOB:
        try:
            found = read_value(item, written.get(item.name), 101325.0)
            read[item.name] = refrigerant_name(str(found)) if item.name.endswith("refrigerant") else found
        except InputError as error:
            problems += [dataclasses.replace(problem, field=item.name) for problem in error.problems]
    if problems:
        raise InputError(problems)
    charge, altitude = read.pop("charge"), read.pop("altitude")
    vehicle = written.get("vehicle", "")[:80]
    return procedure.Job(**read, label_charge=charge, vehicle=vehicle, atmosphere=float(pressure(altitude)))


_JOB = (
    Field("refrigerant", "text", "of the label, as R134a"),
    Field("machine_refrigerant", "text", "of the machine that is to be connected"),
    Field("compressor", "choice", "its kind", choices=get_args(Compressor)),
    # From the smallest van's pipe to a bus; altitudes where vehicles are serviced.
    Field("charge", "mass", "charge on the label", "g", exact=True, least=0.01, most=50.0),
    Field("altitude", "length", "where the work is done", "m", default="0 m", exact=True, least=-450.0, most=5500.0),
)


def record_fields(step: str) -> tuple[FormField, ...]:
    """What a step of a service writes down, as inputs.

    Raises
    ------
    InputError : no such step

    >>> [(f.name, f.kind, f.unit) for f in record_fields("charge")]
    [('charged_mass', 'mass', 'g')]
    """
    known = {one.id: one for one in procedure.steps()}
    if step not in known:
        raise InputError([Problem("step", repr(step), ", ".join(known), say("No such step."))])
    return tuple(_form_field(_record_field(record)) for record in known[step].records)


def _record_field(name: str) -> Field:
    record = procedure.records()[name]
    return Field(name, record.kind, record.says, record.unit, exact=True, choices=record.choices, least=record.least)


def note(
    events: Sequence[procedure.Event], at: float, by: str, step: str, record: str, written: Any
) -> procedure.Noted:
    """Make the fact that a record was written down, from what a person typed ("420 g", "-20 inHg", "R134a").

    Gauge pressures are read against the air pressure that the job was opened with.

    Raises
    ------
    InputError : no such record, a value that cannot be read (under the record's name), or no job open

    >>> opened = procedure.Opened(0.0, "Kim", procedure.Job("R134a", "R134a", "fixed", 0.5))
    >>> note([opened], 9.0, "Kim", "recover", "recovered_mass", "1 lb").value
    0.45359237
    """
    if record not in procedure.records():
        allowed = ", ".join(procedure.records())
        raise InputError([Problem("record", repr(record), allowed, say("Nothing that a step writes down."))])
    job = procedure.derive(events).job
    try:
        value = read_value(_record_field(record), written, job.atmosphere)
    except InputError as error:
        raise InputError(dataclasses.replace(problem, field=record) for problem in error.problems) from error
    return procedure.Noted(at, by, step, record, value)


def record_text(record: str, value: float | str, atmosphere: float) -> str:
    """Write what a step wrote down in the unit it is usually read in, gauge pressures against the air's [Pa].

    >>> record_text("recovered_mass", 0.42, 101325.0), record_text("vacuum_reached", 120.0, 101325.0)
    ('420 g', '120 Pa absolute')
    >>> record_text("pressure_after_wait", 74.5e3, 84.5e3), record_text("oil_type", "PAG 46", 101325.0)
    ('-10 kPa', 'PAG 46')
    """
    card = procedure.records().get(record)
    if isinstance(value, str) or card is None or not card.unit:
        return say(value) if isinstance(value, str) and card is not None and card.choices else str(value)
    if card.kind == "absolute_pressure":
        return say("{pressure} absolute", pressure=show(value, "pressure", card.unit))
    return show(value - (atmosphere if card.kind == "pressure" else 0.0), card.kind, card.unit)  # type: ignore[arg-type]


def read_job(path: Path) -> tuple[procedure.Event, ...]:
    """Read the events of a job from its file (JSON Lines); an absent file is a job not yet opened.

    Raises
    ------
    InputError : a line that is no event, or one that does not fit after those before it
    """
    if not path.exists():
        return ()
    events: tuple[procedure.Event, ...] = ()
    for i, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
        try:
            events = procedure.add(events, from_plain(json.loads(line)))
        except InputError as error:
            raise InputError(dataclasses.replace(p, line=i) for p in error.problems) from error
        except ValueError as error:
            says, allowed = say("Not an event of a job."), say("an event as written by this command")
            raise InputError([Problem("job", line[:60], allowed, says, i)]) from error
    return events


def append_job(path: Path, event: procedure.Event) -> tuple[procedure.Event, ...]:
    """Append one event to a job's file, if it is allowed; return all events.

    Raises
    ------
    InputError : the event is not allowed, or the file is not readable as a job
    """
    events = procedure.add(read_job(path), event)
    with path.open("a", encoding="utf-8") as file:
        file.write(json.dumps(to_plain(event), ensure_ascii=False) + "\n")
    return events
