"""People in a database: joining, roles, tokens, and the record, on both databases."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Literal

import pytest
import sqlalchemy as sa
from argon2 import PasswordHasher
from knocking import PASSWORD, QUICK, Clock

from loopwright.api.people import IDLE_S, JOIN_S, LONGEST_S, SETUP_S, People, Person, hashed
from loopwright.errors import InputError
from loopwright.store import connect
from loopwright.store.migrate import downgrade, migrate, version


@pytest.fixture
def people(url: str, clock: Clock) -> Iterator[People]:
    engine = connect(url)
    yield People(engine, clock, QUICK)
    engine.dispose()


@pytest.fixture
def owner(people: People) -> Person:
    return _joined(people, people.setup_link() or "", "Olga")


def _joined(people: People, secret: str, name: str, password: str = PASSWORD) -> Person:
    person = people.join(secret, name, password)
    assert person is not None
    return person


def test_the_set_up_link_makes_one_owner_and_then_no_other(people: People) -> None:
    secret = people.setup_link() or ""
    assert people.invitation(secret) is not None
    owner = _joined(people, secret, "Olga")
    assert (owner.role, people.invitation(secret), people.join(secret, "Eve", PASSWORD)) == ("owner", None, None)
    assert people.setup_link() is None


def test_a_new_set_up_link_ends_the_one_before(people: People) -> None:
    first, second = people.setup_link() or "", people.setup_link() or ""
    assert people.join(first, "Eve", PASSWORD) is None
    assert _joined(people, second, "Olga").role == "owner"


@pytest.mark.parametrize(("role", "seconds"), [("owner", SETUP_S), ("trainee", JOIN_S)])
def test_links_expire(people: People, clock: Clock, owner: Person, role: str, seconds: int) -> None:
    secret = people.invite(owner, role) if role == "trainee" else people._invite("setup", "owner", "start", SETUP_S, 1)
    clock.now += seconds - 1
    assert people.invitation(secret) is not None
    clock.now += 1
    assert people.invitation(secret) is None
    assert people.join(secret, "Late", PASSWORD) is None


def test_whoever_worked_without_an_account_takes_it_along(people: People) -> None:
    local = people.local_owner()
    assert people.local_owner() == local
    assert people.check_password("Owner", "") is None
    owner = _joined(people, people.setup_link() or "", "Olga")
    assert (owner.id, people.local_owner().id, people.local_owner().name) == (local.id, local.id, "Olga")


def test_a_link_is_used_once_though_two_hurry(people: People, owner: Person) -> None:
    secret = people.invite(owner, "technician")
    with ThreadPoolExecutor(4) as pool:
        made = list(pool.map(lambda n: people.join(secret, f"Ted {n}", PASSWORD), range(4)))
    assert sum(person is not None for person in made) == 1
    assert len(people.all()) == 2


def test_a_class_joins_by_one_link_and_no_more_than_was_said(people: People, owner: Person) -> None:
    secret = people.invite(owner, "trainee", uses=3)
    made = [people.join(secret, f"Tia {n}", PASSWORD) for n in range(4)]
    assert [person is not None for person in made] == [True, True, True, False]


def test_a_refused_name_does_not_use_the_link_up(people: People, owner: Person) -> None:
    secret = people.invite(owner, "trainee")
    for name in ("OLGA", " olga ", "Ｏlga"):  # the last begins with a full-width letter
        with pytest.raises(InputError, match="has that name"):
            people.join(secret, name, PASSWORD)
    assert _joined(people, secret, "Tia").role == "trainee"


@pytest.mark.parametrize("name", ["", "   ", "x" * 61, "a\x00b", "right\u202eleft"])
def test_names_that_cannot_be_shown_are_refused(people: People, owner: Person, name: str) -> None:
    with pytest.raises(InputError, match="cannot be taken"):
        people.join(people.invite(owner, "trainee"), name, PASSWORD)


@pytest.mark.parametrize("password", ["", "short", "aaaaaaaaaaaa", "x" * 201, "olga olga", "Maximilian"])
def test_weak_passwords_are_refused(people: People, owner: Person, password: str) -> None:
    with pytest.raises(InputError, match="password"):
        people.join(people.invite(owner, "trainee"), "Maximilian", password)


def test_who_may_give_which_role(people: People, owner: Person) -> None:
    trainer = _joined(people, people.invite(owner, "trainer"), "Tom")
    technician = _joined(people, people.invite(trainer, "technician"), "Ted")
    for by, role in ((trainer, "trainer"), (trainer, "owner"), (technician, "trainee"), (owner, "king")):
        with pytest.raises(InputError, match="cannot invite"):
            people.invite(by, role)
    with pytest.raises(InputError, match="Only an owner"):
        people.set_role(trainer, technician.id, "trainer")
    with pytest.raises(InputError, match="Only an owner"):
        people.set_active(trainer, technician.id, False)


def test_a_trainer_cannot_withdraw_an_owners_invitation(people: People, owner: Person) -> None:
    trainer = _joined(people, people.invite(owner, "trainer"), "Tom")
    secret = people.invite(owner, "owner")
    people.withdraw(trainer, hashed(secret))
    assert people.invitation(secret) is not None
    people.withdraw(owner, hashed(secret))
    assert people.invitation(secret) is None


def test_a_shop_keeps_an_owner(people: People, owner: Person) -> None:
    for change in (
        lambda: people.set_role(owner, owner.id, "trainee"),
        lambda: people.set_active(owner, owner.id, False),
    ):
        with pytest.raises(InputError, match="needs an owner"):
            change()
    assert people.get(owner.id).role == "owner"
    second = _joined(people, people.invite(owner, "owner"), "Oda")
    people.set_role(second, owner.id, "trainee")
    assert people.get(owner.id).role == "trainee"


def test_sessions_end_when_idle_when_old_and_when_told(people: People, clock: Clock, owner: Person) -> None:
    key = people.sign_in(owner)
    clock.now += IDLE_S
    assert people.by_session(key) is not None  # used just in time
    clock.now += IDLE_S + 1
    assert people.by_session(key) is None
    key = people.sign_in(owner)
    for _ in range(LONGEST_S // IDLE_S):
        clock.now += IDLE_S
        assert people.by_session(key) is not None
    clock.now += 60
    assert people.by_session(key) is None
    first, second = people.sign_in(owner), people.sign_in(owner)
    people.sign_out(owner, first)
    assert (people.by_session(first), people.by_session(second)) == (None, owner)
    assert people.sign_out_everywhere(owner) >= 1
    assert people.by_session(second) is None


@pytest.mark.parametrize("what", ["role", "locked", "password"])
def test_changes_end_sessions(people: People, owner: Person, what: str) -> None:
    ted = _joined(people, people.invite(owner, "technician"), "Ted")
    key, token = people.sign_in(ted), people.make_token(ted, "bench")
    if what == "role":
        people.set_role(owner, ted.id, "trainee")
    elif what == "locked":
        people.set_active(owner, ted.id, False)
        assert people.check_password("Ted", PASSWORD) is None
        assert people.by_token(token) is None
    else:
        people.change_password(ted, PASSWORD, "another good one")
        assert people.check_password("Ted", PASSWORD) is None
        assert people.check_password("Ted", "another good one") is not None
    assert people.by_session(key) is None


def test_a_password_is_changed_only_by_who_knows_it(people: People, owner: Person) -> None:
    with pytest.raises(InputError, match="not your password"):
        people.change_password(owner, "a guess at it", "another good one")
    assert people.check_password("olga", PASSWORD) is not None


def test_tokens_are_kept_as_hashes_end_and_are_ones_own(people: People, owner: Person) -> None:
    tia = _joined(people, people.invite(owner, "trainee"), "Tia")
    token = people.make_token(owner, "night report")
    assert people.by_token(token) == owner
    people.end_token(tia, hashed(token))
    assert people.by_token(token) == owner
    people.end_token(owner, hashed(token))
    assert people.by_token(token) is None
    assert people.by_session(people.make_token(owner, "x")) is None  # a token is no session, and the other way round
    assert people.by_token(people.sign_in(owner)) is None


def test_nothing_in_the_database_lets_anybody_in(people: People, owner: Person) -> None:
    secrets = [people.sign_in(owner), people.make_token(owner, "x"), people.invite(owner, "trainee"), PASSWORD]
    with people.store.engine.connect() as connection:
        names = sa.inspect(connection).get_table_names()
        kept = "\n".join(str(row) for name in names for row in connection.execute(sa.text(f"SELECT * FROM {name}")))
    assert "Olga" in kept
    assert not [secret for secret in secrets if secret in kept]
    assert "$argon2id$" in kept


def test_the_record_tells_who_changed_what_and_cannot_be_changed(people: People, owner: Person) -> None:
    tia = _joined(people, people.invite(owner, "trainee"), "Tia")
    people.set_role(owner, tia.id, "technician")
    people.prefer(tia, {"language": "es", "pressure": "bar"})
    people.change_password(tia, PASSWORD, "another good one")
    told = [(line.by, line.what, line.subject) for line in people.audit()]
    assert told == [
        ("Tia", "password changed", "Tia"),
        ("Tia", "settings changed", "Tia"),
        ("Olga", "role changed", "Tia"),
        ("Tia", "person joined", "Tia"),
        ("Olga", "invitation made", "join"),
        ("Olga", "person joined", "Olga"),
        ("first start", "invitation made", "setup"),
    ]
    assert people.audit()[1].data == {"language": "es", "pressure": "bar"}
    assert people.audit()[3].data == {"name": "Tia", "role": "trainee", "invited_by": "Olga"}
    assert all(PASSWORD not in str(line) and "argon2" not in str(line) for line in people.audit())
    for statement in ("UPDATE shop_audit SET what = 'nothing'", "DELETE FROM shop_audit"):
        with pytest.raises(Exception, match="append-only"), people.store.engine.begin() as connection:
            connection.execute(sa.text(statement))
    assert people.audit(1) == []


def test_preferences_are_kept_and_wrong_ones_refused_together(people: People, owner: Person) -> None:
    kept = people.prefer(owner, {"pressure": "kgf/cm2", "gauge": "Blue set", "gauge_accuracy": "± 1 psi", "role": "x"})
    assert (kept.role, kept.preferences.pressure, kept.preferences.gauge_accuracy) == ("owner", "kgf/cm2", "± 1 psi")
    with pytest.raises(InputError) as refused:
        people.prefer(owner, {"language": "fr", "theme": "pink", "gauge_accuracy": "good", "mass": "lb"})
    assert [problem.field for problem in refused.value.problems] == ["language", "theme", "gauge_accuracy"]
    assert people.get(owner.id) == kept


def test_a_name_is_changed_and_belongs_to_one(people: People, owner: Person) -> None:
    tia = _joined(people, people.invite(owner, "trainee"), "Tia")
    with pytest.raises(InputError, match="has that name"):
        people.rename(tia, " OLGA ")
    with pytest.raises(InputError, match="cannot be taken"):
        people.rename(tia, "")
    people.rename(tia, "Tia  Berg")
    assert (people.get(tia.id).name, people.audit()[0].data) == ("Tia Berg", {"before": "Tia", "now": "Tia Berg"})
    assert people.check_password("Tia", PASSWORD) is None
    assert people.check_password("tia berg", PASSWORD) is not None
    people.rename(people.get(tia.id), "TIA Berg")  # the same name in other letters is the person's own
    assert people.get(tia.id).name == "TIA Berg"


def test_down_is_refused_while_anybody_is_there(people: People, owner: Person) -> None:
    engine = people.store.engine
    with pytest.raises(InputError, match="lose the people"):
        downgrade(engine, "0004")
    assert people.get(owner.id) == owner


def test_down_and_up_again_when_nobody_is(people: People) -> None:
    engine = people.store.engine
    downgrade(engine, "0004")
    with engine.connect() as connection:
        assert version(connection) == "0004"
    migrate(engine)
    assert people.local_owner().role == "owner"


class Counting(PasswordHasher):
    """Remembers the settings of every hash that a password was tried on."""

    def __init__(self) -> None:
        super().__init__(time_cost=1, memory_cost=8, parallelism=1)
        self.tried: list[str] = []

    def verify(self, hash: str | bytes, password: str | bytes) -> Literal[True]:
        self.tried.append(str(hash)[: str(hash).index("p=1") + 3])
        return super().verify(hash, password)


def test_an_unknown_name_costs_as_much_as_a_wrong_password(url: str) -> None:
    """Counted, not timed: each tries the password on one hash of the same settings, and makes no hash."""
    engine, hasher = connect(url), Counting()
    people = People(engine, hasher=hasher)
    people.local_owner()  # has no password: nobody signs in as "Owner"
    owner = _joined(people, people.setup_link() or "", "Olga")
    people.set_active(owner, _joined(people, people.invite(owner, "owner"), "Oda").id, False)
    for name in ("Olga", "Nobody", "", "Oda", "x" * 500):
        assert people.check_password(name, "a wrong password") is None
    assert hasher.tried == ["$argon2id$v=19$m=8,t=1,p=1"] * 5
    engine.dispose()
