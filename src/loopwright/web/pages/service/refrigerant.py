"""The refrigerant of a job: what each step books in the ledger, what is booked already, and what the test tells."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

from loopwright.api.ledger import Balance, Ledger
from loopwright.api.people import Person
from loopwright.api.service_job import Kept
from loopwright.api.service_ledger import (
    LIMITS,
    METHODS,
    Movement,
    is_open,
    movements_of,
    stores_for,
    vehicle_account,
)
from loopwright.api.shop import Shop, StoredJob
from loopwright.language import say, spoken
from loopwright.ledger import Account
from loopwright.quantities import show
from loopwright.service.procedure import Opened, derive
from loopwright.web.books import weighed

__all__ = ["BlockShown", "MovementShown", "RefrigerantShown", "refrigerant_of"]

Choices = tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class BlockShown:
    """What one step books: from where, to where, how much of it was written down, and what is booked already."""

    step: str
    title: str
    sources: Choices
    targets: Choices
    mass: str
    method: str
    booked: tuple[str, ...]
    caution: str


@dataclass(frozen=True)
class MovementShown:
    """One line of the job's account."""

    entry: int
    says: str
    mass: str
    by: str
    reversed: bool


@dataclass(frozen=True)
class RefrigerantShown:
    """The refrigerant of a job.

    `inside` is what the books say the vehicle holds, `escaped` that this cannot be, with the address where to book it,
    `told` what the test tells of the charge.
    """

    may_book: bool
    may_open: bool
    account: str
    refrigerant: str
    inside: str
    escaped: str
    escaped_address: str
    blocks: Mapping[str, BlockShown]
    movements: tuple[MovementShown, ...]
    methods: Choices
    limits: str
    told: str
    label: str


def refrigerant_of(ledger: Ledger, shop: Shop, stored: StoredJob, kept: Kept, person: Person) -> RefrigerantShown:
    """Return the refrigerant of a job as its service page shows it."""
    first = kept.events[0]
    assert isinstance(first, Opened)
    unit, refrigerant, vehicle = person.preferences.mass, first.job.refrigerant, vehicle_account(stored.vehicle)
    known = is_open(ledger, vehicle)
    held = ledger.holdings(vehicle).get(refrigerant) if known else None
    movements = movements_of(ledger, stored)
    stores = {name: account for name, (account, _) in stores_for(ledger, refrigerant).items()}
    written = {record: value for (_, record), value in kept.written.items()}
    standing = {name for step in derive(kept.events).steps for name in step.records}
    masses = {name: value for name, value in written.items() if name in standing}
    left = _left(movements, held, vehicle)
    query = {"source": vehicle, "target": "atmosphere", "method": "estimate", "job": str(stored.number)}
    return RefrigerantShown(
        may_book=person.may("technician"),
        may_open=person.may("owner"),
        account=vehicle,
        refrigerant=refrigerant,
        inside="" if held is None else weighed(held.mass_mg, unit, held.uncertainty_mg),
        escaped=_escaped(left, unit) if left else "",
        escaped_address=f"/ledger/move?{urlencode({**query, 'mass': show(left / 1e6, 'mass', 'g')})}",
        blocks={block.step: block for block in _blocks(vehicle, stores, masses, movements, unit)},
        movements=tuple(_movement(one, vehicle, unit) for one in movements),
        methods=tuple((method, say(words)) for method, words in METHODS.items()),
        limits=say(
            "Blank: {scale:.0f} g by the scale, {machine:.0f} g by the machine, {label:.0f} g by the label, half of an "
            "estimate.",
            **LIMITS,
        ),
        told=_told(shop, stored, unit),
        label=show(first.job.label_charge, "mass", unit),
    )


def _left(movements: list[Movement], held: Balance | None, vehicle: str) -> int:
    """What the books still see in a vehicle [mg] that was emptied last and not charged since; else 0."""
    own = [one for one in movements if not one.reversed and vehicle in (one.source, one.target)]
    emptied = bool(own) and own[-1].source == vehicle and own[-1].target != "atmosphere"
    surely = held is not None and held.mass_mg > 2.0 * held.uncertainty_mg
    return held.mass_mg if held is not None and emptied and surely else 0


def _escaped(left_mg: int, unit: str) -> str:
    return say(
        "By the books {mass} more went in than came out. If it was recovered down to a vacuum, they escaped.",
        mass=weighed(left_mg, unit),
    )


def _blocks(
    vehicle: str, stores: Mapping[str, Account], masses: Mapping[str, str], movements: list[Movement], unit: str
) -> list[BlockShown]:
    own: Choices = ((vehicle, say("the vehicle")),)
    keeps = tuple((name, _called(account)) for name, account in stores.items() if account.kind != "hoses")
    hoses = tuple((name, _called(account)) for name, account in stores.items() if account.kind == "hoses")
    air: Choices = (("atmosphere", say("the air, as an estimate")),)
    charging = tuple((n, words) for n, words in keeps if stores[n].state in ("virgin", "reclaimed", "recycled"))
    taking = tuple((n, words) for n, words in keeps if _takes(stores[n]))
    kinds = {name: account.kind for name, account in stores.items()}

    def booked(step: str) -> tuple[str, ...]:
        found = (one for one in movements if not one.reversed and _step_of(one, vehicle, kinds) == step)
        return tuple(
            say(
                "Booked: {mass}, {source} to {target} (entry {entry}).",
                mass=weighed(one.mass_mg, unit),
                source=_short(one.source, vehicle),
                target=_short(one.target, vehicle),
                entry=one.entry,
            )
            for one in found
        )

    venting = say("Releasing refrigerant on purpose is unlawful in most places; book what escaped as well as you know.")
    recovered, charged = masses.get("recovered_mass", ""), masses.get("charged_mass", "")
    found = [
        BlockShown("recover", say("What was recovered"), own, taking, recovered, "machine", booked("recover"), ""),
        BlockShown("charge", say("What was charged"), charging, (*own, *hoses), charged, "scale", booked("charge"), ""),
        BlockShown(
            "clear_hoses", say("What the hoses held"), hoses, (*own, *taking), "", "estimate", booked("clear_hoses"), ""
        ),
        BlockShown("close_out", say("What escaped"), (*own, *hoses), air, "", "estimate", booked("close_out"), venting),
    ]
    return [block for block in found if (block.sources and block.targets) or block.booked]


def _takes(account: Account) -> bool:
    """Whether recovered refrigerant may go there: into a machine, or where it makes nothing less pure."""
    return account.kind == "machine" or account.state in ("recovered", "contaminated")


def _step_of(one: Movement, vehicle: str, kinds: Mapping[str, str]) -> str:
    """Which step a movement belongs to, by where it leads."""
    if one.target == "atmosphere":
        return "close_out"
    if kinds.get(one.source) == "hoses":
        return "clear_hoses"
    if one.source == vehicle:
        return "recover"
    return "charge" if one.source in kinds else ""


def _movement(one: Movement, vehicle: str, unit: str) -> MovementShown:
    says = say("{source} to {target}", source=_short(one.source, vehicle), target=_short(one.target, vehicle))
    if (one.source, one.target) == ("outside", vehicle):
        says = say("came with the vehicle")
    known = f"{says}, {say(METHODS[one.method])}"
    return MovementShown(one.entry, known, weighed(one.mass_mg, unit, one.uncertainty_mg), one.by, one.reversed)


def _short(name: str, vehicle: str) -> str:
    plain = {vehicle: say("the vehicle"), "atmosphere": say("the air"), "outside": say("outside")}
    return plain.get(name, name)


def _called(account: Account) -> str:
    state = f", {say(account.state)}" if account.state else ""
    return f"{account.id}{state}"


def _told(shop: Shop, stored: StoredJob, unit: str) -> str:
    """The charge that the test before tells, so that it stands beside what is charged."""
    judgement = shop.view(stored, "before", spoken()).judgement
    charge = None if judgement is None else judgement.states.get("charge")
    if charge is None:
        return ""
    low, middle, high = (weighed(value * 1e6, unit) for value in (charge.low, charge.median, charge.high))
    return say(
        "The test before tells {middle}; in {share:.0f} of 10 cases between {low} and {high}.",
        middle=middle,
        share=10.0 * charge.level,
        low=low,
        high=high,
    )
