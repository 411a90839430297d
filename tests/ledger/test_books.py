"""What is refused, what is booked, and that every refusal says what to do."""

from __future__ import annotations

import subprocess
import sys

import msgspec
import pytest
from shop import AT, CYLINDER, OPENING, draft, kept, legs, post

from loopwright.errors import InputError
from loopwright.ledger import (
    Account,
    Amended,
    Balance,
    Books,
    Draft,
    Leg,
    Moved,
    Opened,
    Operator,
    Registered,
    Reversed,
    Weighed,
    prepare,
)


def grams(books: Books, account: str, refrigerant: str = "R134a") -> tuple[float, float]:
    balance = books.balance(account, refrigerant)
    return balance.mass_mg / 1000, balance.uncertainty_mg / 1000


def test_every_gram_is_somewhere() -> None:
    books, _ = kept(OPENING, "V > M 470 15", "V > air 20 10", "M > V 450 5")
    assert {name: grams(books, name)[0] for name in books.accounts} == {
        "S": -10000,
        "A": 9500,
        "V": 460,
        "M": 20,
        "U": 0,
        "air": 20,
    }
    # Independent errors: 5 into V, 15 and 10 out of it, 5 into it again.
    assert grams(books, "V")[1] == pytest.approx((25 + 225 + 100 + 25) ** 0.5)


def test_a_weighing_replaces_the_balance_and_what_was_lost_is_as_sure_as_both() -> None:
    books, _ = kept(OPENING, "weigh A 9400 20 against U")
    assert grams(books, "A") == (9400, 20)
    assert grams(books, "U") == (100, pytest.approx((15**2 + 5**2 + 20**2) ** 0.5))


def test_a_weighing_that_is_not_booked_moves_nothing() -> None:
    books, postings = kept(OPENING, "weigh A 9400 20")
    assert postings[-1].entry.legs == ()
    assert grams(books, "A")[0] == 9500


def test_reversing_takes_back_mass_and_uncertainty() -> None:
    books, _ = kept(OPENING, "reverse 8")
    assert grams(books, "V") == (0, 0)
    assert grams(books, "A") == (10000, 15)


def test_a_reversed_weighing_gives_the_old_balance_back() -> None:
    books, _ = kept(OPENING, "weigh A 9400 20 against U", "reverse 9", "reverse 8")
    assert grams(books, "A") == (10000, 15)
    assert books.balance("U", "R134a") == Balance(0, 0)


REFUSED = {
    "more than it holds": ("V > M 600 15", "V holds 500.0 g ± 5.0 g of R134a, so 600.0 g cannot leave it."),
    "another refrigerant": ("S > A 100 1 R1234yf", "A is for R134a; refrigerants are never mixed."),
    "no such account": ("B > A 100 1", "There is no such account."),
    "to itself": ("A > A 100 1", "It does not move anything."),
    "no mass": ("A > V 0 1", "Wrong mass for A."),
    "taken twice": ("open supplier S", "There is an account of that name."),
    "recovered into virgin": ("V > A 100 1", "What comes from V would make A no longer virgin; amend its state first."),
    "recycled into virgin": ("M > A 0.001 1", "What comes from M would make A no longer virgin"),
    "out of the air": ("air > M 1 1", "Nothing comes back from there."),
    "an opening": ("reverse 1", "That entry cannot be reversed."),
    "the future": ("reverse 9", "That entry cannot be reversed."),
    "what is spent": ("reverse 7", "so 10000 g cannot leave it"),
    "weighed nowhere": ("weigh S 1 1", "It cannot be weighed."),
    "less than nothing": ("weigh A -50 20", "Is the tare right?"),
    "booked to a cylinder": ("weigh A 9400 20 against M", "The difference cannot be booked there."),
}


@pytest.mark.parametrize("what", REFUSED)
def test_refused(what: str) -> None:
    line, says = REFUSED[what]
    books, _ = kept(OPENING)
    with pytest.raises(InputError) as caught:
        post(books, line)
    assert says in str(caught.value)
    assert books.head().seq == 8


def test_less_than_nothing_is_allowed_within_its_uncertainty_only() -> None:
    # V: 500 g ± 5 g; u after taking m ± 15 is 15.81 g, twice that 31.6 g.
    books, _ = kept(OPENING, "V > M 531 15")
    assert grams(books, "V")[0] == -31
    books, _ = kept(OPENING)
    with pytest.raises(InputError, match=r"at most 2 standard uncertainties \(31\.6 g\) below nothing"):
        post(books, "V > M 532 15")


def test_what_a_weighing_has_closed_is_not_reversed_behind_it() -> None:
    books, _ = kept(OPENING, "weigh A 9400 20 against U")
    with pytest.raises(InputError, match="A was weighed and booked since; reverse entry 9 first"):
        post(books, "reverse 8")


def test_reversed_once_only() -> None:
    books, _ = kept(OPENING, "reverse 8")
    with pytest.raises(InputError, match="Entry 9 has reversed it already"):
        post(books, "reverse 8")
    with pytest.raises(InputError, match="cannot be reversed"):
        post(books, "reverse 9")


def test_a_reversal_says_why() -> None:
    books, _ = kept(OPENING)
    with pytest.raises(InputError, match="A reversal says why"):
        post(books, Draft("k", AT, "Ann", Reversed(8)))


def test_mixed_refrigerant_is_booked_after_the_cylinder_is_marked_and_goes_to_waste_only() -> None:
    books, _ = kept(OPENING, "open cylinder X R134a recovered", "V > X 300 5")
    with pytest.raises(InputError, match="mark the account as contaminated first"):
        post(books, "S > X 100 1 R22")
    post(books, "mark X contaminated")
    post(books, "S > X 100 1 R22")
    with pytest.raises(InputError, match="it goes to a reclaimer, to destruction"):
        post(books, "X > V 50 1")
    with pytest.raises(InputError, match="A scale does not tell refrigerants apart"):
        post(books, "weigh X 380 5 against U")
    with pytest.raises(InputError, match="does not become purer by being called so"):
        post(books, "mark X recovered")
    post(books, "open reclaimer R")
    post(books, "X > R 300 5")
    post(books, "X > R 100 1 R22")
    assert grams(books, "X")[0] == grams(books, "X", "R22")[0] == 0
    post(books, "mark X recovered")


def test_recovered_refrigerant_is_recycled_before_it_charges_a_vehicle() -> None:
    books, _ = kept(OPENING, "open cylinder X R134a recovered", "V > X 300 5")
    with pytest.raises(InputError, match="recycled or reclaimed before it charges a vehicle"):
        post(books, "X > V 100 1")
    post(books, "X > V 100 1", deviation="charged by mistake on 1 July")
    post(books, "mark X recycled")
    post(books, "X > V 100 1")


def _cylinder(books: Books, **facts: object) -> None:
    stamped = msgspec.structs.replace(CYLINDER, **facts)
    post(books, Draft("cylinder C", AT, "Ann", Opened(Account("C", "cylinder", "R134a", "recycled", cylinder=stamped))))


@pytest.mark.parametrize(
    ("stamped", "line", "says"),
    [
        ({"fill_limit_mg": 9_000_000}, "S > C 9001 1", "overfilled"),
        ({"requalification_due": "2026-06-30"}, "M > C 5 1", "requalification is overdue"),
        ({"type": "disposable"}, "M > C 5 1", "never refilled"),
    ],
)
def test_what_can_hurt_is_written_only_with_the_reason_why_it_was_done(
    stamped: dict[str, object], line: str, says: str
) -> None:
    books, _ = kept(OPENING, "V > M 400 5")
    _cylinder(books, **stamped)
    with pytest.raises(InputError, match=says) as caught:
        post(books, line)
    assert caught.value.problems[0].field == "deviation"
    post(books, line, deviation="found so when the cylinder came in")


def test_a_new_disposable_cylinder_is_filled_by_its_supplier_and_on_its_last_day_one_may_still_fill() -> None:
    books, _ = kept(OPENING, "V > M 400 5")
    _cylinder(books, type="disposable", requalification_due="2026-07-01")
    post(books, "S > C 5000 5")


def test_an_account_that_holds_something_keeps_its_refrigerant_and_stays_open() -> None:
    books, _ = kept(OPENING)
    for changed in (
        Account("A", "cylinder", "R1234yf", "virgin", cylinder=CYLINDER),
        Account("A", "cylinder", "R134a", "virgin", cylinder=CYLINDER, closed=True),
    ):
        with pytest.raises(InputError, match="It is not empty"):
            post(books, Draft("k", AT, "Ann", Amended(changed)))


def test_a_closed_account_takes_nothing_and_gives_nothing_back() -> None:
    books, _ = kept(OPENING, "V > M 500 5")
    closed = Account("V", "vehicle", "R134a", closed=True)
    post(books, Draft("k", AT, "Ann", Amended(closed)))
    for line in ("A > V 5 1", "reverse 9"):
        with pytest.raises(InputError, match="It was closed"):
            post(books, line)


@pytest.mark.parametrize(
    "account",
    [
        Account("B", "cylinder", "R134a", "virgin"),
        Account("B", "cylinder", "R134a", cylinder=CYLINDER),
        Account("B", "vehicle"),
        Account("B", "supplier", "R134a"),
        Account("B", "vehicle", "R134a", "virgin"),
        Account("B", "machine", "R134a"),
        Account("B", "vehicle", "R134A"),
        Account("B", "vehicle", "mixed"),
        Account(" B", "vehicle", "R134a"),
        Account("B\u200b", "vehicle", "R134a"),
        Account("", "vehicle", "R134a"),
        Account("B" * 41, "vehicle", "R134a"),
        Account("B", "vehicle", "R134a", name="x" * 201),
        Account("B", "fridge", "R134a"),  # type: ignore[arg-type]
        Account("B", "vehicle", "R134a", name="\ud800"),
    ],
)
def test_an_account_that_does_not_fit_is_not_opened(account: Account) -> None:
    with pytest.raises(InputError):
        prepare(Books(), Draft("k", AT, "Ann", Opened(account)), AT)


@pytest.mark.parametrize(
    "at",
    ["2026-07-01", "2026-07-01T08:00:00", "2026-13-01T08:00:00Z", "2026-07-01 08:00:00Z", "2026-07-01T10:00+02:00"],
)
def test_a_moment_is_written_in_one_way(at: str) -> None:
    with pytest.raises(InputError):
        prepare(Books(), Draft("k", at, "Ann", Opened(Account("S", "supplier"))), AT)


@pytest.mark.parametrize("issued", ["2026-7-1", "2026-02-30", "20260701"])
def test_a_day_is_written_in_one_way(issued: str) -> None:
    with pytest.raises(InputError):
        prepare(Books(), Draft("k", AT, "Ann", Registered(Operator("Ann", issued=issued))), AT)


@pytest.mark.parametrize(
    ("sides", "says"),
    [
        ((Leg("S", -100, 0), Leg("A", 99, 0)), "the legs do not balance"),
        ((Leg("S", -100, 4), Leg("A", 100, 9)), "their uncertainties belong together"),
        ((Leg("S", -100, 5), Leg("A", 100, 5)), "Wrong uncertainty"),
        ((Leg("S", -100, -1), Leg("A", 100, -1)), "Wrong uncertainty"),
        ((Leg("S", -(10**10), 0), Leg("A", 10**10, 0)), "Wrong mass"),
        ((Leg("S", -100, 0), Leg("S", 100, 0)), "does not move anything"),
        ((Leg("S", 0, 0),), "does not move anything"),
    ],
)
def test_legs_that_do_not_belong_together(sides: tuple[Leg, ...], says: str) -> None:
    books, _ = kept(OPENING)
    with pytest.raises(InputError, match=says):
        post(books, Draft("k", AT, "Ann", Moved("R134a", "scale"), sides))


def test_three_legs_share_one_uncertainty_as_a_triangle() -> None:
    books, _ = kept(OPENING, "open hoses H R134a")
    sides = (Leg("A", -620_000, 25_000_000), Leg("V", 600_000, 16_000_000), Leg("H", 20_000, 9_000_000))
    post(books, Draft("k", AT, "Ann", Moved("R134a", "scale"), sides))  # 5 <= 4 + 3
    assert grams(books, "H") == (20, 3)


def test_a_weighing_shows_its_arithmetic() -> None:
    books, _ = kept(OPENING)
    with pytest.raises(InputError, match="Gross less tare is not what was found"):
        post(books, Draft("k", AT, "Ann", Weighed("A", "R134a", 9_400_000, 20_000, 14_400_000, 5_100_000)))


def test_sent_twice_written_once() -> None:
    books, _ = kept(OPENING)
    first = post(books, draft("A > V 5 1", key="once"))
    again = prepare(books, draft("A > V 5 1", key="once"), AT)
    assert (again.entry, again.new) == (first.entry, False)
    with pytest.raises(InputError, match="This key stands for another entry"):
        prepare(books, draft("A > V 6 1", key="once"), AT)


def test_problems_are_gathered() -> None:
    books, _ = kept(OPENING)
    with pytest.raises(InputError) as caught:
        post(books, Draft("k", AT, " Ann", Moved("R1234yf", "scale"), legs("A", "B", 0)))
    assert len(caught.value.problems) >= 5


def test_the_ledger_needs_no_database() -> None:
    loads = "import loopwright.ledger, sys; print(sorted({'sqlalchemy', 'alembic', 'numba', 'pint'} & {*sys.modules}))"
    answer = subprocess.run([sys.executable, "-c", loads], capture_output=True, text=True, check=True, timeout=60)
    assert answer.stdout.strip() == "[]"
