"""Whatever is changed behind the ledger's back is found, and the entry or account is named."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
import sqlalchemy as sa
from databases import Maker
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shop import AT, OPENING, draft, lines

from loopwright.ledger import Head
from loopwright.ledger.chain import digest
from loopwright.store import Journal
from loopwright.store.audit import audit_store
from loopwright.store.migrate import downgrade
from loopwright.store.tables import ACCOUNT, ENTRY, LEG

SHOP = (OPENING, "V > M 470 15", "weigh A 9400 20 against U", "reverse 9", "A > V 20 5")  # 12 entries


@pytest.fixture
def journal(url: str) -> Iterator[Journal]:
    """A ledger whose guards have been taken off, as somebody who tampers would."""
    opened = Journal(url, clock=lambda: AT)
    opened.post(draft(line) for line in lines("\n".join(SHOP)))
    downgrade(opened.engine, "0002")
    yield opened
    opened.close()


def _text(seq: int) -> str:
    return f"(SELECT text FROM ledger_entry WHERE seq = {seq})"


TAMPERED = {
    "a mass": (["UPDATE ledger_entry SET text = replace(text, '-500000', '-400000') WHERE seq = 8"], "entry 8"),
    "a hash": (["UPDATE ledger_entry SET hash = replace(hash, '0', '1') WHERE seq = 8"], "entry 8"),
    "a key": (["UPDATE ledger_entry SET key = 'other' WHERE seq = 8"], "entry 8"),
    "a kind": (["UPDATE ledger_entry SET kind = 'moved' WHERE seq = 10"], "entry 10"),
    "a reversal": (["UPDATE ledger_entry SET reverses = NULL WHERE seq = 11"], "entry 11"),
    "reversed by nobody": (["UPDATE ledger_entry SET reverses = 8 WHERE seq = 12"], "entry 12"),
    "a number": (["UPDATE ledger_entry SET seq = 13 WHERE seq = 12"], "entry 13"),
    "an entry gone": (["DELETE FROM ledger_entry WHERE seq = 8"], "entry 9"),
    "an entry and its legs gone": ([f"DELETE FROM ledger_{t} WHERE seq = 8" for t in ("entry", "leg")], "entry 9"),
    "the last entry gone": (["DELETE FROM ledger_entry WHERE seq = 12"], "entry 12"),
    "an entry put in": (
        [f"INSERT INTO ledger_entry VALUES (13, '{'0' * 64}', 'x', 'moved', NULL, {_text(12)})"],
        "entry 13",
    ),
    "an entry before the first": (
        [f"INSERT INTO ledger_entry VALUES (-5, '{'0' * 64}', 'x', 'moved', NULL, {_text(12)})"],
        "entry -5",
    ),
    "all entries gone": (["DELETE FROM ledger_entry"], "entry 7"),
    "a leg's mass": (["UPDATE ledger_leg SET mass_mg = mass_mg - 1 WHERE seq = 8 AND account = 'V'"], "entry 8"),
    "a balance": (["UPDATE ledger_leg SET balance_mg = 0 WHERE seq = 9 AND account = 'V'"], "entry 9"),
    "a refrigerant": (["UPDATE ledger_leg SET refrigerant = 'R22' WHERE seq = 9"], "entry 9"),
    "a leg gone": (["DELETE FROM ledger_leg WHERE seq = 8 AND account = 'V'"], "entry 8"),
    "a leg too many": (["INSERT INTO ledger_leg VALUES (9, 'A', 'R134a', 1, 0, 1, 0)"], "entry 9"),
    "a leg of no entry": (["INSERT INTO ledger_leg VALUES (99, 'A', 'R134a', 1, 0, 1, 0)"], "entry 99"),
    "an account gone": (["DELETE FROM ledger_account WHERE id = 'M'"], "account M"),
    "an account too many": (["INSERT INTO ledger_account VALUES ('X', 1, 'supplier', NULL)"], "account X"),
    "an account's refrigerant": (["UPDATE ledger_account SET refrigerant = 'R22' WHERE id = 'M'"], "account M"),
    "an account's entry": (["UPDATE ledger_account SET seq = 1 WHERE id = 'M'"], "account M"),
}


def _execute(journal: Journal, statements: list[str]) -> None:
    with journal.engine.begin() as connection:
        for statement in statements:
            connection.exec_driver_sql(statement)


@pytest.mark.parametrize("what", TAMPERED)
def test_tampering_is_found_and_named(journal: Journal, what: str) -> None:
    assert journal.verify().sound
    statements, where = TAMPERED[what]
    _execute(journal, statements)
    findings = journal.verify().findings
    assert findings
    assert where in {f.where for f in findings}, findings


def test_what_hides_from_everything_else_does_not_hide_from_a_receipt(journal: Journal) -> None:
    """The last entry and all that was derived from it: nothing left in the database knows of it."""
    receipt = journal.head()
    _execute(journal, [f"DELETE FROM ledger_{table} WHERE seq = 12" for table in ("entry", "leg")])
    assert journal.verify().sound
    (finding,) = journal.verify([receipt]).findings
    assert finding.where == "entry 12"


def test_a_rehashed_entry_is_betrayed_by_the_next(journal: Journal) -> None:
    (_, text) = list(journal.chain())[7]
    forged = text.replace("Ann", "Bob")
    with journal.engine.begin() as connection:
        connection.execute(ENTRY.update().where(ENTRY.c.seq == 8).values(text=forged, hash=digest(forged)))
    (finding,) = journal.verify().findings
    assert finding.where == "entry 9"
    assert "does not follow entry 8" in finding.says
    assert journal.verify([Head(8, digest(text))]).findings[0].where == "entry 8"


def test_a_file_that_is_damaged_is_reported_and_does_not_raise(sqlite: Maker) -> None:
    url = sqlite.ledger()
    journal = Journal(url, clock=lambda: AT)
    journal.post(draft(line) for line in lines("\n".join(SHOP)))
    journal.close()
    with open(url, "r+b") as file:
        content = file.read()
        place = content.index(b'"note"')
        file.seek(place - place % 4096)
        file.write(b"\xff" * 4096)
    damaged = Journal(url)
    report = damaged.verify()
    damaged.close()
    assert not report.sound
    assert "database" in {f.where for f in report.findings}


_CELLS = [(table, column) for table in (ENTRY, LEG, ACCOUNT) for column in table.columns]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60, deadline=None)
@given(data=st.data())
def test_no_changed_cell_goes_unseen(journal: Journal, data: st.DataObject) -> None:
    table, column = data.draw(st.sampled_from(_CELLS))
    with journal.engine.connect() as connection:
        keys = list(table.primary_key.columns)
        rows = [tuple(row) for row in connection.execute(sa.select(*keys, column).order_by(*keys))]
    *key, before = data.draw(st.sampled_from(rows))
    if isinstance(before, int) or column.name == "reverses":
        after: Any = data.draw(st.integers(-(2**40), 2**40).filter(lambda n: n != before))
    else:
        place = data.draw(st.integers(0, max(0, len(before or "") - 1)))
        letter = data.draw(st.characters(codec="utf-8", exclude_characters="\0"))
        after = (before or "")[:place] + letter + (before or "")[place + 1 :]
    if after == before:
        return
    where = sa.and_(*(k == v for k, v in zip(keys, key, strict=True)))
    with journal.engine.connect() as connection, connection.begin() as transaction:
        try:
            connection.execute(table.update().where(where).values({column: after}))
        except sa.exc.IntegrityError:
            return  # the database itself refused
        assert not audit_store(connection).sound
        transaction.rollback()
