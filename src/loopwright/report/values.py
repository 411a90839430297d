"""What a report is made of: frozen values, text as the person typed it; what can be derived is derived from them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from loopwright.diagnosis.judgement import Judgement
from loopwright.figures import Terms
from loopwright.readings import Test

__all__ = ["Deviation", "Movement", "Paper", "Person", "Photo", "Refrigerant", "Report", "Run", "Shop", "Step"]

Paper = Literal["a4", "letter"]
Moment = Literal["before", "after", "alone"]


@dataclass(frozen=True)
class Shop:
    """The shop that answers for the work; `address` may have several lines."""

    name: str = ""
    address: str = ""
    phone: str = ""


@dataclass(frozen=True)
class Person:
    """Who did the work, and under which certification."""

    name: str = ""
    certification: str = ""


@dataclass(frozen=True)
class Step:
    """One step of a service, or one act of a test: what, with what result (words), by whom, when."""

    step: str
    result: str = ""
    by: str = ""
    when: datetime | None = None


@dataclass(frozen=True)
class Run:
    """One performance test: what was read, and what the engine said of it.

    `moment` tells when it was made: before or after the service, or alone. `when` carries the shop's time zone or none.
    `acts` are what was done for safety and order (valves, hoses, caps), where that was kept.
    """

    test: Test
    judgement: Judgement
    moment: Moment = "alone"
    when: datetime | None = None
    acts: tuple[Step, ...] = ()

    @property
    def terms(self) -> Terms:
        """The units in which the person wrote the sheet."""
        return Terms.of(self.test)


@dataclass(frozen=True)
class Deviation:
    """A step that was passed over or ended otherwise than written, with the reason as typed."""

    step: str
    reason: str
    by: str = ""
    when: datetime | None = None


@dataclass(frozen=True)
class Movement:
    """Refrigerant that moved: `mass` and its standard `uncertainty` [kg]; `direction` as seen from the vehicle."""

    what: str
    mass: float
    uncertainty: float
    direction: Literal["out", "in", "other"] = "other"
    when: datetime | None = None


@dataclass(frozen=True)
class Refrigerant:
    """Where the refrigerant went: movements in their order, and what the books say of them in a sentence.

    `unexplained` [kg] is what is missing (positive) or too much, None where nothing was weighed against the books.
    """

    movements: tuple[Movement, ...] = ()
    balance: str = ""
    unexplained: float | None = None
    unexplained_uncertainty: float = 0.0


@dataclass(frozen=True)
class Photo:
    """A photograph (JPEG, PNG, GIF or WebP) and what it shows."""

    data: bytes
    caption: str = ""


@dataclass(frozen=True)
class Report:
    """Everything one report says. Every part may be missing; what is missing leaves no hole.

    `made` is the moment of making, which is also the file's own date; `job` is the number on every page. `runs` are in
    the order of time. `cautions` and `sources` (keys of `cards/sources.toml`) are added to those of the judgements.
    """

    made: datetime
    shop: Shop = Shop()
    technician: Person = Person()
    job: str = ""
    customer: str = ""
    vehicle: str = ""
    plate: str = ""
    vin: str = ""
    odometer: str = ""
    runs: tuple[Run, ...] = ()
    steps: tuple[Step, ...] = ()
    deviations: tuple[Deviation, ...] = ()
    refrigerant: Refrigerant = Refrigerant()
    notes: tuple[str, ...] = ()
    photos: tuple[Photo, ...] = ()
    cautions: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    paper: Paper = "a4"
    language: str = "en"
