"""The people of a shop: joining, signing in, what each may do, and how each wants to see things.

Secrets (sessions, tokens for programs, invitations) are random and kept as hashes only; passwords are kept as Argon2id
hashes (RFC 9106). Whoever reads the database cannot sign in with what is in it.
"""

from __future__ import annotations

import hashlib
import json
import secrets
import threading
import time
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING
from uuid import uuid4

from loopwright.errors import InputError, Problem
from loopwright.language import languages, later, say
from loopwright.store.people import ROLES, Audited, Invitation, PeopleStore, Person, Preferences, Token

if TYPE_CHECKING:
    from argon2 import PasswordHasher
    from sqlalchemy import Engine

__all__ = [
    "CHOICES",
    "ROLES",
    "ROLE_WORDS",
    "Audited",
    "Invitation",
    "Letterhead",
    "People",
    "Person",
    "Preferences",
    "Token",
    "hashed",
]

CHOICES: dict[str, tuple[str, ...]] = {  # what a person may choose from; the rest of the preferences is typed
    "language": ("", *languages(), "es-MX"),
    "pressure": ("psi", "kPa", "bar", "kgf/cm2"),
    "temperature": ("°F", "°C"),
    "mass": ("g", "oz", "lb"),
    "theme": ("auto", "light", "dark"),
}
IDLE_S = 12 * 3600  # a session that nobody used: longer than a shift, shorter than to the next one
LONGEST_S = 7 * 24 * 3600  # a session, however much it is used
SETUP_S = 3600  # the link that the first start prints
JOIN_S = 24 * 3600  # an invitation: a class or a new colleague joins within the day
_SEEN_EVERY_S = 60  # a session's last use is written this often, so that reading a page seldom writes
_SHORTEST_PASSWORD, _LONGEST_PASSWORD = 10, 200
_LONGEST_NAME, _LONGEST_TEXT = 60, 80
_LETTERHEAD = "letterhead changed"
_HASHING_AT_ONCE = threading.Semaphore(2)  # Argon2 takes 64 MiB and a core; a flood of sign-ins must not take them all


@dataclass(frozen=True)
class Letterhead:
    """The shop as its reports name it; `address` may have several lines."""

    name: str = ""
    address: str = ""
    phone: str = ""


def hashed(secret: str) -> str:
    """Return what is kept of a random secret; its 256 bits need no slow hash.

    >>> hashed("a")[:8]
    'ca978112'
    """
    return hashlib.sha256(secret.encode()).hexdigest()


class People:
    """The people of one shop. `clock` gives seconds since 1970; `hasher` hashes passwords (tests take a quick one)."""

    def __init__(
        self, engine: Engine, clock: Callable[[], float] = time.time, hasher: PasswordHasher | None = None
    ) -> None:
        self.store = PeopleStore(engine, clock)
        self._given = hasher
        self._nobody = ""

    # --- who is there

    def all(self) -> list[Person]:
        """Return everybody, by name."""
        return self.store.people()

    def get(self, person: str) -> Person:
        """Return one person.

        Raises
        ------
        InputError : there is none of that id
        """
        found = self.store.find(id=person)
        if found is None:
            raise InputError([Problem("person", person, say("a person of this shop"), say("There is no such person."))])
        return found.person

    def local_owner(self) -> Person:
        """Return the owner who works on this machine without signing in; made at the first call."""
        owner = self.store.first_owner()
        if owner is None:
            owner = Person(str(uuid4()), "Owner", "owner")
            self.store.add(owner, "owner", "", "first start")
        return owner

    def anybody_signs_in(self) -> bool:
        """Whether there is an account at all."""
        return any(person.signs_in and person.active for person in self.all())

    # --- joining

    def setup_link(self) -> str | None:
        """Return the secret of a one-time link that makes the first owner; None where somebody can sign in already."""
        if any(person.signs_in and person.may("owner") for person in self.all()):
            return None
        return self._invite("setup", "owner", "first start", SETUP_S, 1)

    def invite(self, by: Person, role: str, uses: int = 1) -> str:
        """Return the secret of an invitation to join in a role.

        Raises
        ------
        InputError : the inviter may not give that role, or the number of uses is not 1 to 60
        """
        problems = []
        if role not in self.gives(by):
            allowed = ", ".join(self.gives(by))
            problems.append(Problem("role", role, allowed, say("You cannot invite to this role.")))
        if not 1 <= uses <= 60:
            problems.append(Problem("uses", str(uses), "1–60", say("So many cannot join by one link.")))
        if problems:
            raise InputError(problems)
        return self._invite("join", role, by.name, JOIN_S, uses)

    def gives(self, by: Person) -> tuple[str, ...]:
        """Return the roles that a person may give: an owner all, a trainer those below, others none.

        >>> People(None).gives(Person("1", "Ann", "trainer"))
        ('trainee', 'technician')
        """
        if by.may("owner"):
            return ROLES
        return ROLES[: ROLES.index("trainer")] if by.may("trainer") else ()

    def invitation(self, secret: str) -> Invitation | None:
        """Return the invitation that a secret belongs to, while it holds."""
        return self.store.invitation(hashed(secret))

    def invitations(self) -> list[Invitation]:
        """Return the invitations that hold."""
        return self.store.invitations()

    def withdraw(self, by: Person, invitation: str) -> None:
        """End an invitation, named by its hash; a trainer's reach ends at the roles that a trainer gives."""
        found = next((one for one in self.invitations() if one.hash == invitation), None)
        if found is not None and found.role in self.gives(by):
            self.store.withdraw(invitation, by.id)

    def join(self, secret: str, name: str, password: str) -> Person | None:
        """Join by an invitation; None where it does not hold any more.

        Raises
        ------
        InputError : the name or the password cannot be taken
        """
        name = " ".join(name.split())
        problems = [*_name_problems(name), *_password_problems(password, name)]
        if problems:
            raise InputError(problems)
        if self.invitation(secret) is None:
            return None
        person = Person(str(uuid4()), name, "trainee", signs_in=True)
        return self.store.join(hashed(secret), person, _login(name), self._hash(password))

    def _invite(self, kind: str, role: str, by: str, seconds: int, uses: int) -> str:
        secret, made = secrets.token_urlsafe(32), self._now()
        self.store.invite(Invitation(hashed(secret), kind, role, by, made, made + seconds, uses))
        return secret

    # --- signing in

    def check_password(self, name: str, password: str) -> Person | None:
        """Return the person with that name and password; an unknown name takes as long as a wrong password."""
        kept, nobodys = self.store.find(login=_login(name)[:_LONGEST_NAME]), self._nobodys()
        able = kept is not None and kept.person.active and kept.password != ""
        right = self._verify(kept.password if kept and able else nobodys, password[: _LONGEST_PASSWORD + 1])
        return kept.person if kept and able and right else None

    def sign_in(self, person: Person, agent: str = "", instead_of: str = "") -> str:
        """Begin a session, in place of another one; return its secret. It is new at every sign-in."""
        secret, now = secrets.token_urlsafe(32), self._now()
        self.store.let_in(Token(hashed(secret), "session", person.id, agent[:120], now, now), hashed(instead_of))
        return secret

    def by_session(self, secret: str) -> Person | None:
        """Return whose session it is, while it lasts."""
        found = self.store.who(hashed(secret), "session")
        if found is None:
            return None
        person, token = found
        now = self._now()
        if now - token.seen > IDLE_S or now - token.made > LONGEST_S:
            return None
        if now - token.seen >= _SEEN_EVERY_S:
            self.store.seen(token.hash, now)
        return person

    def sign_out(self, person: Person, secret: str) -> None:
        """End one session."""
        self.store.end(person.id, "session", hashed(secret))

    def sign_out_everywhere(self, person: Person) -> int:
        """End every session of a person; return how many there were."""
        return self.store.end(person.id, "session")

    def change_password(self, person: Person, old: str, new: str) -> None:
        """Set a new password; every session of the person ends.

        Raises
        ------
        InputError : the old password is wrong, or the new one cannot be taken
        """
        problems = _password_problems(new, person.name, "new_password")
        if self.check_password(person.name, old) is None:
            problems.insert(0, Problem("old_password", "…", say("your password"), say("This is not your password.")))
        if problems:
            raise InputError(problems)
        self.store.change(person.id, {"password": self._hash(new)}, person.id, "password changed", {}, ("session",))

    def forget_stale(self) -> None:
        """Drop sessions and invitations that no longer hold; done at every start."""
        now = self._now()
        self.store.forget_stale(now - IDLE_S, now - LONGEST_S)

    # --- tokens for programs

    def make_token(self, person: Person, label: str) -> str:
        """Return a new secret by which a program acts for a person; it is shown once.

        Raises
        ------
        InputError : no label, or one too long
        """
        label = " ".join(label.split())
        if not 1 <= len(label) <= _LONGEST_TEXT:
            says = say("Say what the token is for.")
            raise InputError([Problem("label", label, say("1 to {n} characters", n=_LONGEST_TEXT), says)])
        secret, now = "lw_" + secrets.token_urlsafe(32), self._now()
        self.store.let_in(Token(hashed(secret), "api", person.id, label, now, now))
        return secret

    def by_token(self, secret: str) -> Person | None:
        """Return the person for whom a program acts."""
        found = self.store.who(hashed(secret), "api")
        if found is None:
            return None
        if self._now() - found[1].seen >= _SEEN_EVERY_S:
            self.store.seen(found[1].hash, self._now())
        return found[0]

    def tokens(self, person: Person) -> list[Token]:
        """Return the tokens of a person, newest first."""
        return self.store.tokens(person.id, "api")

    def end_token(self, person: Person, token: str) -> None:
        """End one token, named by its hash; only the person's own."""
        self.store.end(person.id, "api", token or "-")

    # --- changing

    def prefer(self, person: Person, written: Mapping[str, str]) -> Person:
        """Set some of a person's preferences; return the person as kept now.

        Raises
        ------
        InputError : a choice that there is not, or a gauge accuracy that is no pressure
        """
        known = {key: value.strip() for key, value in written.items() if key in asdict(person.preferences)}
        problems = [problem for key, value in known.items() for problem in _preference_problems(key, value)]
        if problems:
            raise InputError(problems)
        before = asdict(self.get(person.id).preferences)
        text = json.dumps({**before, **known}, ensure_ascii=False)
        changed = {key: value for key, value in known.items() if value != before[key]}
        if changed:
            self.store.change(person.id, {"preferences": text}, person.id, "settings changed", changed)
        return self.get(person.id)

    def letterhead(self) -> Letterhead:
        """Return what the shop's reports carry at their head, as last recorded."""
        kept = self.store.latest(_LETTERHEAD)
        return Letterhead(**{key: str(kept.get(key, "")) for key in asdict(Letterhead())})

    def set_letterhead(self, by: Person, letterhead: Letterhead) -> None:
        """Change what the shop's reports carry at their head.

        Raises
        ------
        InputError : `by` is no owner, or a field is too long
        """
        self._owner_only(by)
        limits = {"name": _LONGEST_TEXT, "address": 3 * _LONGEST_TEXT, "phone": _LONGEST_TEXT}
        plain = Letterhead(**{key: value.strip() for key, value in asdict(letterhead).items()})
        problems = [
            Problem(key, f"{len(value)}", say("at most {n} characters", n=limits[key]), say("Too long."))
            for key, value in asdict(plain).items()
            if len(value) > limits[key]
        ]
        if problems:
            raise InputError(problems)
        if plain != self.letterhead():
            self.note(by, _LETTERHEAD, "shop", **asdict(plain))

    def rename(self, person: Person, name: str) -> None:
        """Give a person another name, to sign in with too; what was entered before keeps the old one.

        Raises
        ------
        InputError : the name cannot be taken, or somebody has it
        """
        name = " ".join(name.split())
        if name == person.name:
            return
        if problems := _name_problems(name):
            raise InputError(problems)
        told = {"before": person.name, "now": name}
        self.store.change(person.id, {"name": name, "login": _login(name)}, person.id, "name changed", told)

    def set_role(self, by: Person, person: str, role: str) -> None:
        """Give a person another role; the person signs in anew.

        Raises
        ------
        InputError : `by` is no owner, there is no such role or person, or no owner would be left
        """
        self._owner_only(by)
        if role not in ROLES:
            raise InputError([Problem("role", role, ", ".join(ROLES), say("There is no such role."))])
        self.store.change(person, {"role": role}, by.id, "role changed", {"role": role}, ("session",))

    def set_active(self, by: Person, person: str, active: bool) -> None:
        """Lock a person out, or let the person in again; what the person did stays.

        Raises
        ------
        InputError : `by` is no owner, there is no such person, or no owner would be left
        """
        self._owner_only(by)
        what = "let in" if active else "locked out"
        self.store.change(person, {"active": int(active)}, by.id, what, {}, ("session",))

    def note(self, by: Person, what: str, subject: str, **data: object) -> None:
        """Append a line to the record: who did what to what."""
        self.store.note(by.id, what, subject, data)

    def audit(self, page: int = 0) -> list[Audited]:
        """Return the record of who changed what, newest first, fifty lines a page; people by name where known."""
        names = {person.id: person.name for person in self.all()}
        found = self.store.audit(page)
        return [
            line._replace(by=names.get(line.by, line.by), subject=names.get(line.subject, line.subject))
            for line in found
        ]

    def _owner_only(self, by: Person) -> None:
        if not by.may("owner"):
            raise InputError([Problem("person", by.name, say("an owner"), say("Only an owner can do this."))])

    # --- passwords

    def _hash(self, password: str) -> str:
        with _HASHING_AT_ONCE:
            return self._hasher().hash(_password(password))

    def _verify(self, kept: str, password: str) -> bool:
        from argon2.exceptions import Argon2Error, InvalidHashError

        with _HASHING_AT_ONCE:
            try:
                return self._hasher().verify(kept, _password(password))
            except (Argon2Error, InvalidHashError):
                return False

    def _nobodys(self) -> str:
        """A hash that no password fits, to spend the same time on."""
        if not self._nobody:
            self._nobody = self._hash(secrets.token_urlsafe(32))
        return self._nobody

    def _hasher(self) -> PasswordHasher:
        if self._given is None:
            from argon2 import PasswordHasher

            self._given = PasswordHasher()  # Argon2id with 64 MiB, the second choice of RFC 9106
        return self._given

    def _now(self) -> int:
        return int(self.store.clock())


ROLE_WORDS = {
    "trainee": later("Trainee"),
    "technician": later("Technician"),
    "trainer": later("Trainer"),
    "owner": later("Owner"),
}


def _login(name: str) -> str:
    """A name as it is compared: spelling variants, capitals and spaces do not make it another."""
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def _password(written: str) -> str:
    return unicodedata.normalize("NFC", written)


def _name_problems(name: str) -> list[Problem]:
    fits = 1 <= len(name) <= _LONGEST_NAME and name.isprintable()
    allowed = say("1 to {n} characters", n=_LONGEST_NAME)
    return [] if fits else [Problem("name", name[:_LONGEST_NAME], allowed, say("This name cannot be taken."))]


def _password_problems(password: str, name: str, field: str = "password") -> list[Problem]:
    allowed = say("{shortest} to {longest} characters", shortest=_SHORTEST_PASSWORD, longest=_LONGEST_PASSWORD)
    if not _SHORTEST_PASSWORD <= len(password) <= _LONGEST_PASSWORD:
        return [Problem(field, "…", allowed, say("A few words make a good password."))]
    if len(set(password)) < 5 or _login(password) in (_login(name) * 2, _login(name)):
        return [Problem(field, "…", say("something harder to guess"), say("This password is too easy to guess."))]
    return []


def _preference_problems(key: str, value: str) -> list[Problem]:
    if key in CHOICES:
        allowed = ", ".join(word for word in CHOICES[key] if word)
        return [] if value in CHOICES[key] else [Problem(key, value, allowed, say("Choose one of these."))]
    if len(value) > _LONGEST_TEXT or not value.isprintable():
        allowed = say("up to {n} characters", n=_LONGEST_TEXT)
        return [Problem(key, value[:_LONGEST_TEXT], allowed, say("This is too long."))]
    if key == "gauge_accuracy" and value:
        return _accuracy_problems(key, value)
    return []


def _accuracy_problems(key: str, value: str) -> list[Problem]:
    from loopwright.quantities import parse

    try:
        fine = parse(value.lstrip("±+ "), "pressure_difference").value > 0
    except InputError:
        fine = False
    says = say("Write how far the gauge may be off, with its unit.")
    return [] if fine else [Problem(key, value, say("a pressure, such as 1 psi"), says)]
