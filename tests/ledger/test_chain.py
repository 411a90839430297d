"""The text that is hashed, and what verification finds in a chain that was tampered with."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable

import pytest
import rfc8785
from hypothesis import example, given
from hypothesis import strategies as st
from shop import AT, OPENING, kept, legs, rows

from loopwright.ledger import GENESIS, Books, Entry, Head, Moved, audit
from loopwright.ledger.chain import canonical, digest, read_entry

SHOP = (OPENING, "V > M 470 15", "weigh A 9400 20 against U", "reverse 9", "A > V 20 5")  # 12 entries
Rows = list[tuple[str, str]]


@given(note=st.text(max_size=50), mass=st.integers(1, 10**9))
@example(note='\u0000\u001f"\\/\b\t\n\f\r\u007f\u2028é😀', mass=1)
def test_canonical_json_is_that_of_rfc_8785(note: str, mass: int) -> None:
    """Against `rfc8785`, an independent implementation of the JSON Canonicalization Scheme."""
    entry = Entry(1, GENESIS.hash, "k", AT, AT, "Ann", Moved("R134a", "scale"), legs("A", "B", mass), note)
    text = canonical(entry)
    assert rfc8785.dumps(json.loads(text)) == text.encode()
    assert read_entry(text) == entry


def test_anyone_can_check_the_chain_with_three_lines_of_another_language() -> None:
    """What docs/ledger.md says of the chain, done without the ledger's code."""
    _, postings = kept(*SHOP)
    before = "0" * 64
    for stored, text in rows(postings):
        assert json.loads(text)["previous"] == before
        before = hashlib.sha256(text.encode("utf-8")).hexdigest()
        assert before == stored


def test_a_whole_chain_is_sound_and_gives_the_same_books() -> None:
    books, postings = kept(*SHOP)
    report = audit(rows(postings), receipts=[Head(5, postings[4].hash)])
    assert report.sound
    assert (report.entries, report.head) == (12, books.head())
    again = Books()
    for posting in postings:
        again.add(posting.entry)
    assert (again.head(), again.holdings("V")) == (books.head(), books.holdings("V"))


def _changed(text: str, old: str, new: str) -> str:
    assert old in text
    return text.replace(old, new, 1)


def _text(chain: Rows, seq: int, old: str, new: str) -> Rows:
    stored, text = chain[seq - 1]
    return [*chain[: seq - 1], (stored, _changed(text, old, new)), *chain[seq:]]


def _text_and_hash(chain: Rows, seq: int, old: str, new: str) -> Rows:
    text = _changed(chain[seq - 1][1], old, new)
    return [*chain[: seq - 1], (digest(text), text), *chain[seq:]]


def _rehashed(chain: Rows, seq: int, old: str, new: str) -> Rows:
    """Forge the whole chain from entry `seq` on: only a receipt, or a broken rule, shows it."""
    forged = chain[: seq - 1]
    for i, (_, text) in enumerate(chain[seq - 1 :]):
        after = _changed(text, old, new) if i == 0 else _changed(text, chain[seq - 2 + i][0], forged[-1][0])
        forged.append((digest(after), after))
    return forged


TAMPERED: dict[str, tuple[Callable[[Rows], Rows], str, str]] = {
    "a mass": (lambda c: _text(c, 8, "-500000", "-400000"), "entry 8", "does not match its hash"),
    "a name": (lambda c: _text(c, 9, '"by":"Ann"', '"by":"Bob"'), "entry 9", "does not match its hash"),
    "a mass and its hash": (lambda c: _text_and_hash(c, 8, "-500000", "-400000"), "entry 9", "does not follow entry 8"),
    "the last and its hash": (lambda c: _text_and_hash(c, 12, "-20000", "-10000"), "entry 12", "do not balance"),
    "taken out": (lambda c: c[:7] + c[8:], "entry 8", "Its text says that it is entry 9"),
    "put in": (lambda c: [*c[:8], c[7], *c[8:]], "entry 9", "Its text says that it is entry 8"),
    "swapped": (lambda c: [*c[:7], c[8], c[7], *c[9:]], "entry 8", "Its text says that it is entry 9"),
    "the first gone": (lambda c: c[1:], "entry 1", "does not follow the beginning"),
    "written otherwise": (
        lambda c: _text_and_hash(c, 12, '"schema":1', '"schema": 1'),
        "entry 12",
        "not in canonical form",
    ),
    "no entry": (lambda c: _text_and_hash(c, 12, '"schema":1', '"schema":2'), "entry 12", "Its text is no entry"),
    "forged to mix": (lambda c: _rehashed(c, 9, "R134a", "R1234yf"), "entry 9", "never mixed"),
    "forged out of balance": (lambda c: _rehashed(c, 8, "-500000", "-600000"), "entry 8", "do not balance"),
}


@pytest.mark.parametrize("how", TAMPERED)
def test_tampering_is_found_and_named(how: str) -> None:
    tamper, where, says = TAMPERED[how]
    _, postings = kept(*SHOP)
    report = audit(tamper(rows(postings)))
    assert not report.sound
    assert any(f.where == where and says in f.says for f in report.findings), report.findings


def test_a_chain_forged_with_every_rule_kept_is_betrayed_by_a_receipt_alone() -> None:
    _, postings = kept(*SHOP)
    forged = _rehashed(rows(postings), 9, '"by":"Ann"', '"by":"Bob"')
    assert audit(forged).sound
    (finding,) = audit(forged, receipts=[Head(12, postings[-1].hash)]).findings
    assert finding.where == "entry 12"
    assert "rewritten" in finding.says


def test_a_chain_cut_short_is_betrayed_by_a_receipt_alone() -> None:
    _, postings = kept(*SHOP)
    short = rows(postings)[:-1]
    assert audit(short).sound
    (finding,) = audit(short, receipts=[Head(12, postings[-1].hash)]).findings
    assert "the chain ends at entry 11" in finding.says


@given(st.data())
def test_no_changed_character_goes_unseen(data: st.DataObject) -> None:
    chain = CHAIN
    seq = data.draw(st.integers(0, len(chain) - 1))
    column = data.draw(st.sampled_from([0, 1]))
    cell = chain[seq][column]
    place = data.draw(st.integers(0, len(cell) - 1))
    other = data.draw(st.characters(codec="utf-8").filter(lambda c: c != cell[place]))
    changed = cell[:place] + other + cell[place + 1 :]
    row = (changed, chain[seq][1]) if column == 0 else (chain[seq][0], changed)
    report = audit([*chain[:seq], row, *chain[seq + 1 :]])
    assert report.findings[0].where == f"entry {seq + 1}"


CHAIN = rows(kept(*SHOP)[1])
