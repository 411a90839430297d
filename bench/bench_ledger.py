"""The refrigerant ledger, measured: a million entries, random operations, crashes; writes docs/results/ledger.md.

    python -m bench.bench_ledger [sqlite] [postgresql] [operations] [crashes] [--entries N] [--operations N] [--kills N]

`sqlite` and `postgresql` time a long ledger on that database (a PostgreSQL server is started for it where one is
installed). `operations` and `crashes` run the long form of the tests of those names in tests/store. Each part renews
its own section of the page; without a part, `sqlite`. Exit code 1: a limit was missed, or a test failed.

Limits (what the ledger must reach): a balance within 50 ms, a full verification within 20 s.
"""

from __future__ import annotations

import argparse
import os
import random
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from bench import machine
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
BALANCE_LIMIT_S, VERIFY_LIMIT_S = 0.05, 20.0
QUIET = "Our own processor time is what a machine takes that does nothing else, without the database server's part."
MARK = "> "  # before the lines that a test prints as its result


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


ROOT = Path(__file__).resolve().parent.parent
PAGE = machine.RESULTS / "ledger.md"
TITLES = {
    "sqlite": "A long ledger on SQLite",
    "postgresql": "A long ledger on PostgreSQL",
    "operations": "Random operations",
    "crashes": "Crashes, and several posting at once",
}
FRAME = "# The refrigerant ledger, measured\n\nWritten by `python -m bench.bench_ledger`, each section by itself.\n"


class Table:
    """Rows of what was timed; `missed` is set when a limit was."""

    def __init__(self) -> None:
        self.lines = ["| what | measured | limit | |", "|---|---|---|---|"]
        self.missed = False

    def timed(self, what: str, work: Callable[[], object], times: int = 1, limit_s: float = 0.0) -> None:
        spent, busy = [], time.process_time()
        for _ in range(times):
            begin = time.perf_counter()
            work()
            spent.append(time.perf_counter() - begin)
        busy = time.process_time() - busy
        seconds = max(spent)  # the slowest: the first look into a cold index is one that a person waits for
        late = bool(limit_s) and seconds > limit_s
        self.missed |= late
        verdict = "" if not limit_s else "**missed**" if late else "met"
        name = what if times == 1 else f"{what}, slowest of {times}"
        own = f" ({length(busy)} of our own processor time)" if times == 1 and seconds > 1.0 else ""
        self.row(name, length(seconds) + own, length(limit_s) if limit_s else "-", verdict)

    def row(self, *cells: str) -> None:
        self.lines.append(f"| {' | '.join(cells)} |")
        print(" ".join(cells), flush=True)


def length(seconds: float) -> str:
    if seconds >= 1.0:
        return f"{seconds:.1f} s"
    return f"{seconds * 1e3:.0f} ms" if seconds >= 0.01 else f"{seconds * 1e3:.2g} ms"


@contextmanager
def database(kind: str) -> Iterator[tuple[str, str]]:
    """An empty database and a word on it."""
    if kind == "sqlite":
        with tempfile.TemporaryDirectory() as folder:
            yield str(Path(folder) / "bench.sqlite"), "SQLite in a file, WAL, synchronous = FULL."
        return
    sys.path.insert(0, str(ROOT / "tests" / "store"))
    from databases import BINARIES, MISSING, Server

    if BINARIES is None:
        raise SystemExit(MISSING)
    server = Server(BINARIES)
    try:
        server.execute("CREATE DATABASE bench TEMPLATE template0")
        version = subprocess.run([BINARIES / "postgres", "--version"], capture_output=True, text=True, check=True)
        yield (
            server.url("bench"),
            f"{version.stdout.strip()}, through a socket, fsync off (so posting waits for no disk).",
        )
    finally:
        server.stop()


def speed(kind: str, entries: int) -> tuple[list[str], bool]:
    table = Table()
    with database(kind) as (where, about):
        journal = Journal(where, clock=lambda: AT)
        rows = [(p.hash, p.text) for p in chain(entries)]
        table.timed("loaded into the database, verified before the commit", lambda: journal.load(iter(rows)))
        count, moved = len(rows), sum('"kind":"moved"' in text for _, text in rows)
        rows.clear()
        for name in ("cylinder 0", "machine", "supplier"):
            table.timed(f"balance of {name}", lambda name=name: journal.balance(name, "R134a"), 20, BALANCE_LIMIT_S)
        table.timed("newest 50 lines of the machine", lambda: journal.history("machine"), 5)
        table.timed(f"all {len(journal.balances())} balances", journal.balances)
        fact, legs = move("supplier", "cylinder 0", 1_000, 10)
        numbers = iter(range(10**9))
        table.timed("one posting", lambda: journal.post([Draft(f"p{next(numbers)}", AT, "bench", fact, legs)]), 20)
        table.timed("full verification", journal.verify, 1, VERIFY_LIMIT_S)
        sound = journal.verify().sound
        journal.close()
    text = (
        f"{count:,} entries, {moved:,} of them movements, in {CYLINDERS} cylinders and {VEHICLES:,} vehicles. {about}"
    )
    assert sound
    return [text, "", *table.lines, "", QUIET], not table.missed


def tested(file: str, name: str, **environment: str) -> tuple[list[str], bool]:
    """Run tests of the suite in their long form; what they print is the result."""
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-s",
        "-p",
        "no:cacheprovider",
        str(ROOT / "tests" / "store" / file),
    ]
    begin = time.perf_counter()
    done = subprocess.run(
        [*command, "-k", name], env=os.environ | environment, capture_output=True, text=True, cwd=ROOT, check=False
    )
    minutes = (time.perf_counter() - begin) / 60.0
    print(done.stdout[-4000:], flush=True)
    said = [f"- {line.removeprefix(MARK)}" for line in done.stdout.replace("\r", "\n").splitlines() if MARK in line[:2]]
    end = "passed" if done.returncode == 0 else "**failed**"
    asked = " ".join(f"{key}={value}" for key, value in environment.items())
    return [
        f"`{asked} pytest tests/store/{file} -k {name}`: {end}; {minutes:.0f} min.",
        "",
        *said,
    ], done.returncode == 0


def put(part: str, lines: list[str]) -> None:
    """Renew one section of the page; the others stay."""
    text = PAGE.read_text(encoding="utf-8") if PAGE.exists() else FRAME
    body = "\n".join([f"## {TITLES[part]}", "", *lines, "", *machine.lines("sqlalchemy", "psycopg", "hypothesis")])
    section = f"\n<!-- part: {part} -->\n{body}\n<!-- end -->\n"
    place = re.compile(rf"\n<!-- part: {part} -->\n.*?<!-- end -->\n", re.DOTALL)
    text = place.sub(lambda _: section, text) if place.search(text) else text + section
    PAGE.write_text(text, encoding="utf-8", newline="\n")


def main() -> int:
    parser = argparse.ArgumentParser(
        prog="python -m bench.bench_ledger", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("parts", nargs="*", metavar="PART", help=", ".join(TITLES))
    parser.add_argument("--entries", type=int, default=1_000_000)
    parser.add_argument("--operations", type=int, default=100_000)
    parser.add_argument("--kills", type=int, default=200)
    given = parser.parse_args()
    if wrong := {*given.parts} - {*TITLES}:
        parser.error(f"no such part: {', '.join(sorted(wrong))}")
    good = True
    for part in given.parts or ["sqlite"]:
        if part == "operations":
            asked = {"LOOPWRIGHT_LEDGER_OPERATIONS": str(given.operations)}
            lines, well = tested("test_random_books.py", "random_operations", **asked)
        elif part == "crashes":
            lines, well = tested("test_crash.py", "test", LOOPWRIGHT_LEDGER_KILLS=str(given.kills))
        else:
            lines, well = speed(part, given.entries)
        put(part, lines)
        good = good and well
    return 0 if good else 1


if __name__ == "__main__":
    raise SystemExit(main())
