"""A backup holds everything, whichever database made it; restoring is all or nothing."""

from __future__ import annotations

import hashlib
import json
import threading
import zipfile
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from databases import Maker, SqliteMaker

from loopwright.api.ledger import Ledger
from loopwright.errors import InputError
from loopwright.job import new_entry
from loopwright.store import connect
from loopwright.store.backup import back_up, restore
from loopwright.store.jobs import Jobs, KeptJudgement
from loopwright.store.migrate import HEAD, migrate, version
from loopwright.store.tables import METADATA

AT = "2024-07-01T10:00:00Z"


def fill(where: str) -> None:
    """A shop with a little of everything, and hostile text among it."""
    jobs = Jobs(where, clock=lambda: AT)
    job = jobs.open("Ann")
    hostile = "Bäckerei \u2028 '; DROP TABLE shop_job; -- \x01 \U0001f697"
    wrote = [("vehicle.label", hostile), ("before.running.low_side.pressure", "30,5 psi")]
    jobs.enter(job, [new_entry("wrote", "Ann", AT, field=f, value=v) for f, v in wrote])
    jobs.keep_judgement(job, "before", "en", KeptJudgement("1.0", "aa", "performs", AT, '{"a": 1}'))
    name = jobs.add_photo("image/jpeg", bytes(range(256)) * 100)
    jobs.enter(job, [new_entry("photo", "Ben", AT, photo=name, caption="label")])
    jobs.close()
    ledger = Ledger(where, by="Ann", clock=lambda: AT)
    ledger.start()
    ledger.open("Supplier", "supplier")
    ledger.open("Van", "vehicle", refrigerant="R134a")
    ledger.move("Supplier", "Van", mass_mg=600_000, uncertainty_mg=5_000)
    ledger.close()


def content(where: str) -> dict[str, list[dict[str, Any]]]:
    """Every row of every table."""
    engine = connect(where)
    with engine.connect() as connection:
        found = {
            table.name: [
                dict(row._mapping) for row in connection.execute(sa.select(table).order_by(*table.primary_key))
            ]
            for table in METADATA.sorted_tables
        }
    engine.dispose()
    return found


def backed_up(where: str) -> BytesIO:
    engine, file = connect(where), BytesIO()
    back_up(engine, file, AT)
    engine.dispose()
    return file


def restored(where: str, file: BytesIO) -> None:
    engine = connect(where)
    try:
        restore(engine, file)
    finally:
        engine.dispose()


@pytest.fixture
def elsewhere(request: pytest.FixtureRequest, make: Maker) -> str:
    """An empty database of the other kind."""
    other = "postgresql" if isinstance(make, SqliteMaker) else "sqlite"
    maker: Maker = request.getfixturevalue(other)
    return maker.empty()


def test_everything_comes_back_in_the_other_kind_of_database_and_again_in_the_first(
    url: str, elsewhere: str, make: Maker
) -> None:
    fill(url)
    restored(elsewhere, backed_up(url))
    there = content(elsewhere)
    assert there == content(url)
    assert sum(len(rows) for rows in there.values()) > 15
    back = make.empty()
    restored(back, backed_up(elsewhere))
    assert content(back) == there
    ledger = Ledger(back, by="Ann")
    assert ledger.verify().sound
    assert ledger.holdings("Van")["R134a"].mass_mg == 600_000
    ledger.close()


def test_what_lets_somebody_in_is_not_in_a_backup(url: str) -> None:
    fill(url)
    engine = connect(url)
    with engine.begin() as connection:
        row = {"hash": "s3cret", "kind": "session", "person": "1", "label": "", "made": 1, "seen": 1}
        connection.execute(METADATA.tables["shop_token"].insert(), [row])
    engine.dispose()
    with zipfile.ZipFile(backed_up(url)) as archive:
        assert not [name for name in archive.namelist() if b"s3cret" in archive.read(name)]
        assert not {"shop_token.jsonl", "shop_invitation.jsonl"} & {*archive.namelist()}


def test_a_shop_is_not_restored_over_another(url: str, make: Maker) -> None:
    fill(url)
    file = backed_up(url)
    before = content(url)
    with pytest.raises(InputError, match="not mixed"):
        restored(url, file)
    assert content(url) == before


def changed(file: BytesIO, name: str, text: bytes, *, hashes: bool) -> BytesIO:
    """The backup with one of its files replaced, and with hashes made to fit where asked."""
    out = BytesIO()
    with zipfile.ZipFile(file) as old, zipfile.ZipFile(out, "w") as new:
        for one in old.namelist():
            content_ = text if one == name else old.read(one)
            if one == "manifest.json" and hashes:
                manifest = json.loads(content_)
                about = manifest["tables"][name.removesuffix(".jsonl")]
                about |= {"sha256": hashlib.sha256(text).hexdigest(), "rows": len(text.splitlines())}
                content_ = json.dumps(manifest).encode()
            new.writestr(one, content_)
    return out


def test_a_damaged_backup_leaves_nothing_behind(url: str, make: Maker) -> None:
    fill(url)
    file = backed_up(url)
    with zipfile.ZipFile(file) as archive:
        entries, chain = archive.read("shop_entry.jsonl"), archive.read("ledger_entry.jsonl")
    forged = chain.replace(b"-600000", b"-500000").replace(b":600000", b":500000")
    assert forged != chain
    damaged = {
        "not as it was written": changed(file, "shop_entry.jsonl", entries.replace(b"30,5", b"31,5"), hashes=False),
        "cannot be read": changed(file, "shop_entry.jsonl", entries[:-20], hashes=True),
        "does not fit": changed(file, "shop_entry.jsonl", entries + entries.splitlines()[0] + b"\n", hashes=True),
        "allowed: a sound chain": changed(file, "ledger_entry.jsonl", forged, hashes=True),
        "no backup": changed(file, "manifest.json", b"[]", hashes=False),
        "damaged": BytesIO(b"PK no zip"),
    }
    for says, bad in damaged.items():
        target = make.empty()
        with pytest.raises(InputError, match=says):
            restored(target, bad)
        engine = connect(target)
        migrate(engine)
        engine.dispose()
        assert not any(content(target).values()), says


def test_a_backup_of_an_earlier_version_is_restored_and_brought_up(make: Maker) -> None:
    old = connect(make.empty())
    migrate(old, "0004")
    with old.begin() as connection:
        row = {"id": "j", "number": 1, "vehicle": "v", "title": "", "search": "", "closed": 0, "opened": AT}
        row |= {"changed": AT, "verdict_before": "", "verdict_after": ""}
        connection.execute(METADATA.tables["shop_job"].insert(), [row])
    file = BytesIO()
    back_up(old, file, AT)
    old.dispose()
    for target in (make.empty(), make.ledger()):  # without tables, and with empty ones of today
        restored(target, file)
        new = connect(target)
        with new.connect() as connection:
            assert version(connection) == HEAD
            assert connection.execute(sa.text("SELECT number FROM shop_job")).scalar_one() == 1
        new.dispose()


def test_a_backup_is_one_moment_while_others_write(url: str, tmp_path: Path, make: Maker) -> None:
    jobs = Jobs(url, clock=lambda: AT)
    job = jobs.open("Ann")
    stop = threading.Event()

    def write() -> None:
        while not stop.is_set():
            jobs.enter(job, [new_entry("noted", "Ben", AT, text="more")])
            jobs.open("Ben")

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for number in range(5):
            file = tmp_path / f"{number}.zip"
            back_up(jobs.engine, file, AT)
            target = make.empty()
            restored(target, BytesIO(file.read_bytes()))
            found = content(target)
            # Each job has its opening entry, and the other way round: the two tables are of the same moment.
            opened = {row["job"] for row in found["shop_entry"] if row["kind"] == "opened"}
            assert opened == {row["id"] for row in found["shop_job"]}
    finally:
        stop.set()
        writer.join()
        jobs.close()
