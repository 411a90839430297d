"""How fast the ledger answers with a million entries: balance of a cylinder, history, posting, full verification.

    python -m bench.bench_ledger [--entries 1000000] [--url postgresql://...]

Limits (what the ledger must reach): a balance within 50 ms, a full verification within 20 s.
"""

from __future__ import annotations

import argparse
import random
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from loopwright.ledger.books import Books
from loopwright.ledger.post import Posting, prepare
from loopwright.ledger.values import (
    Account,
    Cylinder,
    Draft,
    Fact,
    Leg,
    Moved,
    Opened,
    Reversed,
    Weighed,
)
from loopwright.store import Journal

AT = "2026-07-01T08:00:00Z"
CYLINDERS, VEHICLES = 40, 2000
BALANCE_LIMIT_MS, VERIFY_LIMIT_S = 50.0, 20.0


def move(source: str, target: str, mass_mg: int, uncertainty_mg: int) -> tuple[Fact, tuple[Leg, ...]]:
    variance = uncertainty_mg**2
    return Moved("R134a", "scale"), (Leg(source, -mass_mg, variance), Leg(target, mass_mg, variance))


def acts(count: int, seed: int) -> Iterator[tuple[Fact, tuple[Leg, ...]]]:
    """A busy shop: cylinders are bought, vehicles are recovered and charged; one in 100 is mended, some weighed."""
    yield Opened(Account("supplier", "supplier")), ()
    yield Opened(Account("lost", "unexplained")), ()
    cylinder = Cylinder("refillable", 5_000_000, 12_000_000)
    for i in range(CYLINDERS):
        yield Opened(Account(f"cylinder {i}", "cylinder", "R134a", "virgin", cylinder=cylinder)), ()
    for i in range(VEHICLES):
        yield Opened(Account(f"vehicle {i}", "vehicle", "R134a")), ()
    yield Opened(Account("machine", "machine", "R134a", "recycled")), ()
    draw = random.Random(seed)
    written = 3 + CYLINDERS + VEHICLES
    while written < count:
        source, vehicle = f"cylinder {draw.randrange(CYLINDERS)}", f"vehicle {draw.randrange(VEHICLES)}"
        yield move("supplier", source, 700_000, 1_000)
        yield move(source, vehicle, 600_000, 5_000)
        yield move(vehicle, "machine", 590_000, 15_000)
        yield move("machine", vehicle, 500_000, 5_000)
        written += 4
        if draw.random() < 0.04:
            yield Reversed(written), ()
            written += 1
        if draw.random() < 0.004:
            yield Weighed("machine", "R134a", 100_000 * (1 + draw.randrange(9)), 10_000, against="lost"), ()
            written += 1


def chain(count: int, seed: int = 0) -> list[Posting]:
    books, postings = Books(), []
    for i, (fact, legs) in enumerate(acts(count, seed)):
        posting = prepare(books, Draft(f"bench {i}", AT, "bench", fact, legs, note="bench"), AT)
        books.add(posting.entry, posting.hash)
        postings.append(posting)
    return postings


def timed(what: str, work: object, times: int = 1) -> float:
    assert callable(work)
    begin = time.perf_counter()
    for _ in range(times):
        work()
    seconds = (time.perf_counter() - begin) / times
    print(f"{what:<44}{seconds * 1e3:12.3f} ms")
    return seconds


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--entries", type=int, default=1_000_000)
    parser.add_argument("--url", help="an empty PostgreSQL database; a SQLite file otherwise")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        journal = Journal(arguments.url or Path(folder) / "bench.sqlite", clock=lambda: AT)
        begin = time.perf_counter()
        rows = [(p.hash, p.text) for p in chain(arguments.entries)]
        print(f"{len(rows)} entries made in memory in {time.perf_counter() - begin:.1f} s")
        timed("loaded into the database, verified", lambda: journal.load(iter(rows)))
        rows.clear()
        balance = max(
            timed(f"balance of {name}", lambda name=name: journal.balance(name, "R134a"), times=20)
            for name in ("cylinder 0", "machine", "supplier")
        )
        timed("newest 50 lines of the machine", lambda: journal.history("machine"), times=5)
        timed("every balance", journal.balances)
        fact, legs = move("supplier", "cylinder 0", 1_000, 10)
        numbers = iter(range(10**9))
        timed("one posting", lambda: journal.post([Draft(f"p{next(numbers)}", AT, "bench", fact, legs)]), times=20)
        verify = timed("full verification", journal.verify)
        journal.close()
    good = balance * 1e3 < BALANCE_LIMIT_MS and verify < VERIFY_LIMIT_S
    print("within the limits" if good else "NOT within the limits")
    return 0 if good else 1


if __name__ == "__main__":
    raise SystemExit(main())
