"""The forms of the ledger: what each asks, and what a person typed brought to what the ledger takes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from uuid import uuid4

from loopwright.api.ledger import Account, Ledger
from loopwright.api.people import Person
from loopwright.api.service_ledger import LIMITS, METHODS, milligrams, spread
from loopwright.errors import InputError, Problem
from loopwright.language import later, say
from loopwright.web.pages.calculators.show import FieldShown, joined

__all__ = ["FormShown", "amend_form", "field", "filled", "masses", "moment_of", "move_form", "open_form", "weigh_form"]

Choices = tuple[tuple[str, str], ...]
MASS_UNITS = ("g", "kg", "oz", "lb")
KINDS: Mapping[str, str] = {
    "cylinder": later("cylinder"),
    "machine": later("machine"),
    "hoses": later("service hoses"),
    "supplier": later("supplier"),
    "reclaimer": later("reclaimer"),
    "destruction": later("destruction facility"),
    "vehicle": later("vehicle"),
    "atmosphere": later("what escaped into the air"),
    "outside": later("what vehicles bring and take"),
    "unexplained": later("what a scale found missing"),
}
"""Kinds of account in words."""

_STATES = ("virgin", "reclaimed", "recycled", "recovered", "contaminated")


@dataclass(frozen=True)
class FormShown:
    """A form: its fields, those behind a fold, and what is wrong that belongs to none of them."""

    fields: tuple[FieldShown, ...]
    more: tuple[FieldShown, ...]
    key: str
    problems: tuple[Problem, ...] = ()
    others: tuple[Problem, ...] = ()

    @property
    def more_open(self) -> bool:
        """Whether something behind the fold needs to be seen."""
        return any(one.problems or (one.value and one.kind != "choice") for one in self.more)


def field(
    name: str, label: str, kind: str = "text", help_: str = "", *, required: bool = True, **more: object
) -> FieldShown:
    """Return an empty field; `more` may give value, unit, units, choices and taken."""
    empty = FieldShown(name, say(label), kind, say(help_) if help_ else "", "", "", (), (), required, "", ())
    return replace(empty, **more)  # type: ignore[arg-type]  # the names are those of FieldShown


def mass(
    name: str, label: str, person: Person, help_: str = "", *, required: bool = True, large: bool = False
) -> FieldShown:
    """Return a field for a mass in the person's unit."""
    own = person.preferences.mass
    unit = {"g": "kg", "oz": "lb"}.get(own, own) if large else own
    units = tuple(dict.fromkeys((unit, *MASS_UNITS)))
    return field(name, label, "mass", help_, required=required, unit=unit, units=units)


def filled(form: FormShown, typed: Mapping[str, str], error: InputError | None = None) -> FormShown:
    """Return a form with what was typed kept, and what is wrong beside its field."""
    problems = list(error.problems) if error else []
    names = {one.name for one in (*form.fields, *form.more)}
    own = [_at_home(problem, names) for problem in problems]

    def one(f: FieldShown) -> FieldShown:
        unit = typed.get(f"u.{f.name}", f.unit)
        wrong = tuple(problem for problem in own if problem.field == f.name)
        return replace(f, value=typed.get(f.name, f.value), unit=unit if unit in f.units else f.unit, problems=wrong)

    fields, more = tuple(map(one, form.fields)), tuple(map(one, form.more))
    labels = {f.name: f.label for f in (*fields, *more)}
    on_top = tuple(replace(p, says=f"{labels[p.field]}: {p.says}") for p in own if p.field in names)
    others = tuple(problem for problem in own if problem.field not in names)
    return FormShown(fields, more, typed.get("key", form.key), on_top, others)


def _at_home(problem: Problem, names: Iterable[str]) -> Problem:
    """A problem under the field of the page that it is about."""
    known = set(names)
    inner = problem.field.rpartition(".")[2]
    for name in (problem.field, inner, inner.removesuffix("_mg"), _ALSO.get(inner, "")):
        if name in known:
            return replace(problem, field=name)
    return problem


_ALSO = {
    "id": "name",
    "found_mg": "mass",
    "gross_mg": "mass",
    "uncertainty": "limit",
    "uncertainty_mg": "limit",
    "name": "title",
}


def key() -> str:
    """Return a name for one act, so that a form sent twice is written once."""
    return str(uuid4())


def masses(typed: Mapping[str, str], names: Iterable[str], required: Iterable[str]) -> dict[str, int]:
    """Return masses as typed in mg, those that were left blank not among them.

    Raises
    ------
    InputError : not masses, or one that is needed is missing; all together
    """
    problems: list[Problem] = []
    found = {}
    for name in names:
        written = typed.get(name, "").strip()
        if not written:
            if name in required:
                problems.append(Problem(name, say("nothing"), say("a mass, as 420 g"), say("Missing.")))
            continue
        try:
            found[name] = milligrams(name, joined(written, typed.get(f"u.{name}", "g")))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    return found


def sure(mass_mg: int, method: str, typed: Mapping[str, str]) -> int:
    """Return the standard uncertainty in mg of a mass, from the limit as typed or the usual one.

    Raises
    ------
    InputError : the limit is not a mass
    """
    limit = typed.get("limit", "").strip()
    return spread(mass_mg, method, joined(limit, typed.get("u.limit", "g")) if limit else "")


def moment_of(written: str) -> str | None:
    """Return when something happened, of the shop's own time as a page sends it; None where nothing was typed.

    Raises
    ------
    InputError : no moment
    """
    if not written.strip():
        return None
    try:
        return datetime.fromisoformat(written).astimezone().isoformat()
    except (ValueError, OverflowError) as error:
        allowed = say("day and time, as 2026-07-01T10:00")
        raise InputError([Problem("at", written, allowed, say("Not a moment in time."))]) from error


def accounts_for(ledger: Ledger, kinds: Iterable[str], also: str = "") -> Choices:
    """Return open accounts of some kinds as choices, `also` among them."""
    found = {name: account for name, account in ledger.accounts(tuple(kinds)).items() if not account.closed}
    if also and also not in found:
        found[also] = ledger.account(also)
    return tuple((name, called(account)) for name, account in found.items())


def called(account: Account) -> str:
    """Return an account's name with what one must know to choose it.

    >>> called(Account("A", "cylinder", "R134a", "virgin"))
    'A · cylinder · R134a · virgin'
    """
    kind = say(KINDS[account.kind]) if account.kind != account.id else ""
    state = say(account.state) if account.state else ""
    return " · ".join(part for part in (account.id, account.name, kind, account.refrigerant or "", state) if part)


def move_form(ledger: Ledger, person: Person, source: str = "", target: str = "") -> FormShown:
    """Return the form of a movement."""
    stock = ("supplier", "cylinder", "machine", "hoses", "reclaimer", "outside")
    sources = accounts_for(ledger, stock, source)
    targets = accounts_for(ledger, (*stock, "destruction", "atmosphere"), target)
    methods = tuple((method, say(words)) for method, words in METHODS.items())
    limits = say(
        "Blank: {scale:.0f} g by the scale, {machine:.0f} g by the machine, {label:.0f} g by the label, half of an "
        "estimate.",
        **LIMITS,
    )
    return FormShown(
        fields=(
            field("source", later("From"), "pick", choices=sources, value=source),
            field("target", later("Into"), "pick", choices=targets, value=target),
            mass("mass", later("Mass"), person),
            field("method", later("How it is known"), "choice", choices=methods, value="scale"),
        ),
        more=(
            replace(mass("limit", later("Wrong by at most"), person, required=False), help=limits),
            field(
                "deviation",
                later("Done against a rule, because"),
                help_=later("where the ledger refuses without"),
                required=False,
            ),
            field("refrigerant", later("Refrigerant"), help_=later("where neither account tells it"), required=False),
            field("job", later("Job"), help_=later("its number"), required=False),
            field("at", later("When it happened"), "moment", help_=later("now, where it is blank"), required=False),
            field("note", later("Note"), required=False),
        ),
        key=key(),
    )


def weigh_form(person: Person, account: Account) -> FormShown:
    """Return the form of a weighing."""
    gross = account.cylinder is not None
    ways = (("", say("Record it only")), ("unexplained", say("Book the difference as unexplained")))
    label, help_ = later("Refrigerant found"), later("without what holds it")
    if gross:
        label, help_ = later("On the scale, cylinder and all"), ""
    return FormShown(
        fields=(
            mass("mass", label, person, help_, large=gross),
            field("against", later("And the difference to the books"), "choice", choices=ways, required=True),
        ),
        more=(
            replace(
                mass("limit", later("Wrong by at most"), person, required=False),
                help=say("Blank: {scale:.0f} g.", **LIMITS),
            ),
            field("at", later("When it happened"), "moment", help_=later("now, where it is blank"), required=False),
            field("note", later("Note"), required=False),
        ),
        key=key(),
    )


def open_form(kind: str, person: Person) -> FormShown:
    """Return the form that opens an account of a kind."""
    states: Choices = tuple((state, say(state)) for state in _STATES)
    name = field("name", later("Name"), help_=later("short, as it will stand on a label"))
    title = field("title", later("Full name"), required=False)
    address = field(
        "address", later("Address"), help_=later("the law asks it of facilities and equipment"), required=False
    )
    gas = field("refrigerant", later("Refrigerant"), help_=later("as R134a or R1234yf"))
    if kind == "cylinder":
        types = (("refillable", say("refillable")), ("disposable", say("disposable")))
        return FormShown(
            (
                name,
                gas,
                field("state", later("What it holds"), "choice", choices=states),
                field("type", later("Type"), "choice", choices=types, value="refillable"),
                mass("tare", later("Tare"), person, later("TW on the collar"), large=True),
                mass("water_capacity", later("Water capacity"), person, later("WC on the collar"), large=True),
                field("requalification_due", later("Requalification due"), "date", required=False),
            ),
            (
                mass(
                    "fill_limit",
                    later("Fill limit"),
                    person,
                    later("worked out where it is blank; a marked rating may be lower"),
                    required=False,
                    large=True,
                ),
                field("specification", later("Specification"), required=False),
                field("serial", later("Serial number"), required=False),
            ),
            key(),
        )
    if kind == "machine":
        delivers = tuple((state, say(state)) for state in ("recycled", "recovered"))
        more = (
            field("make", later("Make"), required=False),
            field("model", later("Model"), required=False),
            field("serial", later("Serial number"), required=False),
            field("manufactured", later("Date of manufacture"), required=False),
        )
        standard = field("standard", later("Certified to"), help_=later("as SAE J2788"), required=False)
        return FormShown(
            (name, gas, field("state", later("What it delivers"), "choice", choices=delivers), title, address),
            (*more, standard),
            key(),
        )
    return FormShown((name, gas, title) if kind in ("hoses", "vehicle") else (name, title, address), (), key())


def amend_form(account: Account, person: Person) -> FormShown:
    """Return the form that changes what is known about an account."""
    fields = [
        field("title", later("Full name"), required=False, value=account.name),
        field("address", later("Address"), required=False, value=account.address),
    ]
    if account.kind in ("cylinder", "machine"):
        kept = _STATES if account.kind == "cylinder" else ("recycled", "recovered", "contaminated")
        states = tuple((state, say(state)) for state in kept)
        fields.insert(0, field("state", later("What it holds"), "choice", choices=states, value=account.state or ""))
    if account.cylinder is not None:
        due = account.cylinder.requalification_due
        fields.insert(1, field("requalification_due", later("Requalification due"), "date", required=False, value=due))
        fields.insert(
            2,
            mass(
                "fill_limit",
                later("Fill limit"),
                person,
                later("as it is, where it is blank"),
                required=False,
                large=True,
            ),
        )
    closed = field(
        "closed",
        later("Closed: nothing moves here any more"),
        "flag",
        required=False,
        value="yes" if account.closed else "",
    )
    return FormShown(tuple(fields), (closed, field("note", later("Why"), required=False)), key())
