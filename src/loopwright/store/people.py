"""People in a database: every change is one transaction together with the note of who made it."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy import Connection, Engine

from loopwright.errors import InputError, Problem
from loopwright.language import say
from loopwright.ledger.names import moment
from loopwright.store.engine import reading, writing
from loopwright.store.people_tables import SHOP_AUDIT, SHOP_INVITATION, SHOP_PERSON, SHOP_TOKEN

__all__ = ["ROLES", "Audited", "Invitation", "Kept", "PeopleStore", "Person", "Preferences", "Token"]

ROLES = ("trainee", "technician", "trainer", "owner")  # each may do what those before it may
PAGE = 50  # rows of a list


@dataclass(frozen=True)
class Preferences:
    """How a person wants to see and write things; an empty `language` is that of the browser.

    `gauge` is the person's own gauge set in words, `gauge_accuracy` how far it errs, as typed ("1 psi").
    """

    language: str = ""
    pressure: str = "psi"
    temperature: str = "°F"
    mass: str = "g"
    theme: str = "auto"
    gauge: str = ""
    gauge_accuracy: str = ""


@dataclass(frozen=True)
class Person:
    """Somebody of the shop; `signs_in` tells whether a password was set."""

    id: str
    name: str
    role: str
    active: bool = True
    signs_in: bool = False
    preferences: Preferences = field(default_factory=Preferences)

    def may(self, role: str) -> bool:
        """Whether this person may do what `role` may.

        >>> Person("1", "Ann", "trainer").may("technician"), Person("2", "Ben", "trainee").may("trainer")
        (True, False)
        """
        return self.active and ROLES.index(self.role) >= ROLES.index(role)


class Kept(NamedTuple):
    """A person with the hash of the password."""

    person: Person
    password: str


class Token(NamedTuple):
    """A session or a token for programs: known by its hash alone; moments in seconds since 1970."""

    hash: str
    kind: str
    person: str
    label: str
    made: int
    seen: int


class Invitation(NamedTuple):
    """Who holds its secret may join in a role: so many times, until it expires."""

    hash: str
    kind: str
    role: str
    by: str
    made: int
    expires: int
    uses: int


class Audited(NamedTuple):
    """One line of the record: who did what to whom, and when."""

    seq: int
    at: str
    by: str
    what: str
    subject: str
    data: dict[str, Any]


class PeopleStore:
    """The people of one database, whose tables are up to date. `clock` gives seconds since 1970."""

    def __init__(self, engine: Engine, clock: Callable[[], float] = time.time) -> None:
        self.engine = engine
        self.clock = clock

    def people(self) -> list[Person]:
        """Return everybody, by name."""
        with reading(self.engine) as connection:
            return [_person(row) for row in connection.execute(sa.select(SHOP_PERSON).order_by(SHOP_PERSON.c.login))]

    def find(self, **where: str) -> Kept | None:
        """Return the person whose `id` or `login` is that, with the password's hash."""
        with reading(self.engine) as connection:
            row = connection.execute(sa.select(SHOP_PERSON).filter_by(**where)).first()
        return None if row is None else Kept(_person(row), row.password)

    def first_owner(self) -> Person | None:
        """Return the oldest active owner."""
        query = sa.select(SHOP_PERSON).filter_by(role="owner", active=1).order_by(SHOP_PERSON.c.made, SHOP_PERSON.c.id)
        with reading(self.engine) as connection:
            row = connection.execute(query.limit(1)).first()
        return None if row is None else _person(row)

    def add(self, person: Person, login: str, password: str, invited_by: str) -> None:
        """Keep a new person.

        Raises
        ------
        InputError : somebody has that name already
        """
        with writing(self.engine, SHOP_PERSON) as connection:
            self._add(connection, person, login, password, invited_by)

    def change(
        self,
        person: str,
        values: Mapping[str, Any],
        by: str,
        what: str,
        told: Mapping[str, Any],
        end: tuple[str, ...] = (),
    ) -> None:
        """Change columns of a person, end the person's tokens of the kinds in `end`, and record `what` with `told`.

        Raises
        ------
        InputError : there is no such person, no active owner would be left, or somebody has the name in `values`
        """
        with writing(self.engine, SHOP_PERSON) as connection:
            if "login" in values:
                _free(connection, values["login"], person)
            changed = connection.execute(SHOP_PERSON.update().filter_by(id=person).values(**values))
            if not changed.rowcount:
                raise InputError(
                    [Problem("person", person, say("a person of this shop"), say("There is no such person."))]
                )
            if not connection.execute(sa.select(SHOP_PERSON.c.id).filter_by(role="owner", active=1)).first():
                raise InputError(
                    [Problem("role", person, say("another active owner first"), say("A shop needs an owner."))]
                )
            same = sa.and_(SHOP_TOKEN.c.person == person, SHOP_TOKEN.c.kind.in_(end))
            connection.execute(SHOP_TOKEN.delete().where(same))
            self._note(connection, by, what, person, told)

    def let_in(self, token: Token, instead_of: str = "") -> None:
        """Keep a session or a token for programs, in place of a session that ends."""
        with writing(self.engine, SHOP_PERSON) as connection:
            connection.execute(SHOP_TOKEN.delete().filter_by(hash=instead_of))
            connection.execute(SHOP_TOKEN.insert(), [token._asdict()])
            if token.kind == "api":
                self._note(connection, token.person, "token made", token.person, {"label": token.label})

    def who(self, hashed: str, kind: str) -> tuple[Person, Token] | None:
        """Return the active person whom a token lets in."""
        query = (
            sa.select(SHOP_PERSON, *[column.label(f"token_{column.name}") for column in SHOP_TOKEN.c])
            .join(SHOP_TOKEN, SHOP_TOKEN.c.person == SHOP_PERSON.c.id)
            .where(SHOP_TOKEN.c.hash == hashed, SHOP_TOKEN.c.kind == kind, SHOP_PERSON.c.active == 1)
        )
        with reading(self.engine) as connection:
            row = connection.execute(query).first()
        if row is None:
            return None
        return _person(row), Token(*[getattr(row, f"token_{name}") for name in Token._fields])

    def seen(self, hashed: str, at: int) -> None:
        """Note that a token was used."""
        with writing(self.engine, SHOP_PERSON) as connection:
            connection.execute(SHOP_TOKEN.update().filter_by(hash=hashed).values(seen=at))

    def tokens(self, person: str, kind: str) -> list[Token]:
        """Return a person's tokens of a kind, newest first."""
        query = sa.select(SHOP_TOKEN).filter_by(person=person, kind=kind).order_by(SHOP_TOKEN.c.made.desc())
        with reading(self.engine) as connection:
            return [Token(*row) for row in connection.execute(query)]

    def end(self, person: str, kind: str, hashed: str = "") -> int:
        """End one token of a person, or all of a kind; return how many ended."""
        which = {"person": person, "kind": kind} | ({"hash": hashed} if hashed else {})
        with writing(self.engine, SHOP_PERSON) as connection:
            ended = connection.execute(SHOP_TOKEN.delete().filter_by(**which)).rowcount
            if ended and (kind == "api" or not hashed):
                self._note(connection, person, f"{kind} ended", person, {"count": ended})
        return ended

    def forget_stale(self, sessions_seen_before: int, sessions_made_before: int) -> None:
        """Drop sessions and invitations that no longer hold."""
        old = sa.or_(SHOP_TOKEN.c.seen < sessions_seen_before, SHOP_TOKEN.c.made < sessions_made_before)
        with writing(self.engine, SHOP_PERSON) as connection:
            connection.execute(SHOP_TOKEN.delete().where(SHOP_TOKEN.c.kind == "session", old))
            gone = sa.or_(SHOP_INVITATION.c.expires < self.clock(), SHOP_INVITATION.c.uses < 1)
            connection.execute(SHOP_INVITATION.delete().where(gone))

    def invite(self, invitation: Invitation) -> None:
        """Keep an invitation; a new set-up link ends those before it."""
        with writing(self.engine, SHOP_PERSON) as connection:
            if invitation.kind == "setup":
                connection.execute(SHOP_INVITATION.delete().filter_by(kind="setup"))
            connection.execute(SHOP_INVITATION.insert(), [invitation._asdict()])
            told = {"role": invitation.role, "uses": invitation.uses}
            self._note(connection, invitation.by, "invitation made", invitation.kind, told)

    def invitation(self, hashed: str) -> Invitation | None:
        """Return an invitation that still holds."""
        with reading(self.engine) as connection:
            return self._invitation(connection, hashed)

    def invitations(self) -> list[Invitation]:
        """Return the invitations that still hold."""
        query = sa.select(SHOP_INVITATION).where(SHOP_INVITATION.c.expires > self.clock(), SHOP_INVITATION.c.uses > 0)
        with reading(self.engine) as connection:
            return [Invitation(*row) for row in connection.execute(query.order_by(SHOP_INVITATION.c.made))]

    def withdraw(self, hashed: str, by: str) -> None:
        """End an invitation before its time."""
        with writing(self.engine, SHOP_PERSON) as connection:
            if connection.execute(SHOP_INVITATION.delete().filter_by(hash=hashed)).rowcount:
                self._note(connection, by, "invitation withdrawn", "join", {})

    def join(self, hashed: str, person: Person, login: str, password: str) -> Person | None:
        """Use an invitation once: keep the person in its role. None: it does not hold (any more).

        By the set-up link, an owner who was made for use without accounts is taken over, with all that bears the id.

        Raises
        ------
        InputError : somebody has that name already
        """
        with writing(self.engine, SHOP_PERSON) as connection:
            found = self._invitation(connection, hashed)
            if found is None:
                return None
            connection.execute(SHOP_INVITATION.update().filter_by(hash=hashed).values(uses=found.uses - 1))
            query = sa.select(SHOP_PERSON.c.id).filter_by(role="owner", password="")
            local = connection.execute(query).scalar() if found.kind == "setup" else None
            id_ = person.id if local is None else local
            joined = Person(id_, person.name, found.role, signs_in=True, preferences=person.preferences)
            if local is None:
                self._add(connection, joined, login, password, found.by)
            else:
                _free(connection, login, id_)
                values = {"name": joined.name, "login": login, "password": password}
                connection.execute(SHOP_PERSON.update().filter_by(id=id_).values(**values))
                self._note(connection, id_, "set up", id_, {"name": joined.name})
            return joined

    def note(self, by: str, what: str, subject: str, data: Mapping[str, Any]) -> None:
        """Append a line to the record of who changed what."""
        with writing(self.engine, SHOP_PERSON) as connection:
            self._note(connection, by, what, subject, data)

    def audit(self, page: int = 0) -> list[Audited]:
        """Return the record, newest first, fifty lines a page."""
        query = sa.select(SHOP_AUDIT).order_by(SHOP_AUDIT.c.seq.desc()).limit(PAGE).offset(PAGE * page)
        with reading(self.engine) as connection:
            rows = connection.execute(query).all()
        return [Audited(r.seq, r.at, r.by, r.what, r.subject, json.loads(r.data)) for r in rows]

    def latest(self, what: str) -> Mapping[str, Any]:
        """Return what was recorded last under `what`; empty where nothing was."""
        query = sa.select(SHOP_AUDIT.c.data).filter_by(what=what).order_by(SHOP_AUDIT.c.seq.desc()).limit(1)
        with reading(self.engine) as connection:
            found = connection.execute(query).scalar()
        return {} if found is None else dict(json.loads(found))

    def _add(self, connection: Connection, person: Person, login: str, password: str, invited_by: str) -> None:
        _free(connection, login, person.id)
        row = {
            "id": person.id,
            "login": login,
            "name": person.name,
            "role": person.role,
            "active": int(person.active),
            "password": password,
            "preferences": json.dumps(asdict(person.preferences), ensure_ascii=False),
            "made": self._moment(),
        }
        connection.execute(SHOP_PERSON.insert(), [row])
        told = {"name": person.name, "role": person.role, "invited_by": invited_by}
        self._note(connection, person.id, "person joined", person.id, told)

    def _invitation(self, connection: Connection, hashed: str) -> Invitation | None:
        row = connection.execute(sa.select(SHOP_INVITATION).filter_by(hash=hashed)).first()
        found = None if row is None else Invitation(*row)
        return found if found and found.uses > 0 and found.expires > self.clock() else None

    def _note(self, connection: Connection, by: str, what: str, subject: str, data: Mapping[str, Any]) -> None:
        last = connection.execute(sa.select(sa.func.coalesce(sa.func.max(SHOP_AUDIT.c.seq), 0))).scalar_one()
        text = json.dumps(dict(data), ensure_ascii=False, sort_keys=True)
        row = {"seq": last + 1, "at": self._moment(), "by": by, "what": what, "subject": subject, "data": text}
        connection.execute(SHOP_AUDIT.insert(), [row])

    def _moment(self) -> str:
        return moment(datetime.fromtimestamp(self.clock(), UTC))


def _person(row: Any) -> Person:
    kept = json.loads(row.preferences)
    preferences = Preferences(**{key: kept[key] for key in asdict(Preferences()) if key in kept})
    return Person(row.id, row.name, row.role, bool(row.active), bool(row.password), preferences)


def _free(connection: Connection, login: str, person: str) -> None:
    """Refuse a name that another person has."""
    query = sa.select(SHOP_PERSON.c.id).where(SHOP_PERSON.c.login == login, SHOP_PERSON.c.id != person)
    if connection.execute(query).first():
        raise InputError(
            [Problem("name", login, say("a name that nobody here has"), say("Somebody has that name already."))]
        )
