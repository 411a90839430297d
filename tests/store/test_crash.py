"""A posting that dies on the way loses nothing that was acknowledged and leaves no half of itself.

Each crash is a process that kills itself (or is killed) with its database open. What a crash of the machine itself does
is the databases' own promise (SQLite: WAL with synchronous = FULL; PostgreSQL: its log), not tested here.
LOOPWRIGHT_LEDGER_KILLS sets how many processes are killed at random moments on each database.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
from contextlib import ExitStack
from pathlib import Path

from databases import Maker
from poster import crashing_drafts, moments
from shop import AT, OPENING, draft, lines

from loopwright.store import Journal

POSTER = str(Path(__file__).with_name("poster.py"))
KILLS = int(os.environ.get("LOOPWRIGHT_LEDGER_KILLS", "3"))


def _opened(url: str) -> Journal:
    return Journal(url, clock=lambda: AT)


def _begun(url: str) -> Journal:
    journal = _opened(url)
    journal.post(draft(line) for line in lines(OPENING))
    return journal


def _moments_of_a_posting(url: str) -> list[str]:
    journal = _begun(url)
    reached: list[str] = []
    moments(journal.engine, reached.append)
    journal.post(crashing_drafts())
    journal.close()
    return [*reached, "after the commit"]


def test_a_crash_at_every_write(make: Maker) -> None:
    places = _moments_of_a_posting(make.ledger())
    # 5 entries, 2 accounts, 3 times legs; before and after each; before and after the commit.
    assert len(places) == 2 * (5 + 2 + 3) + 2
    # In threes, for the suite's time; the long run takes every one.
    chosen = range(len(places)) if KILLS >= 100 else [*range(0, len(places) - 2, 3), len(places) - 2, len(places) - 1]
    url = make.ledger()
    journal = _begun(url)
    before = journal.head()
    for place in chosen:
        subprocess.run([sys.executable, POSTER, url, "crash", str(place)], check=False, timeout=60)
        report = journal.verify([before])
        assert report.sound, places[place]
        # The last moment lies after the commit: then all of it is there, though nobody was told.
        assert report.entries == (before.seq + 5 if place == len(places) - 1 else before.seq), places[place]
    # Whoever sends it again, knowing nothing, gets it written once.
    assert [p.new for p in journal.post(crashing_drafts())] == [False] * 5
    assert journal.head().seq == before.seq + 5
    assert [journal.balance(name, "R134a").mass_mg for name in ("A", "M", "V")] == [9_400_000, 0, 500_000]
    print(f"\n> {journal.engine.dialect.name}: killed at {len(chosen)} moments of one posting, nothing half written.")
    journal.close()


def _killed(url: str, name: str, after_s: float) -> list[int]:
    """Let a process post and kill it; tell which entries it had acknowledged."""
    command = [sys.executable, POSTER, url, "move", name, "0.1"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        first = process.stdout.readline()
        time.sleep(after_s)
        process.kill()
        whole = [line for line in [first, *process.stdout] if line.endswith("\n")]
    return [int(line) for line in whole]


def test_killed_at_any_moment_what_was_acknowledged_is_there(url: str) -> None:
    journal = _begun(url)
    untold = 0
    for number in range(KILLS):
        told = _killed(url, f"run {number}", random.Random(number).uniform(0, 0.05))
        report = journal.verify()
        assert report.sound, report.findings
        assert told == list(range(told[0], told[-1] + 1))
        # It died after its last word, perhaps with one posting more in the database, never with less.
        assert report.entries - told[-1] in (0, 1)
        untold += report.entries - told[-1]
        keys = [line.entry.key for line in journal.history("V", newest=len(told) + 1)]
        assert keys[-1 - len(told) :].count(f"run {number} 0") == 1
    moved = journal.head().seq - len(list(lines(OPENING)))
    assert journal.balance("V", "R134a").mass_mg == 500_000 + 100 * moved
    print(
        f"\n> {journal.engine.dialect.name}: {KILLS} processes killed while posting; all {moved - untold} acknowledged "
        f"entries are there, and {untold} that were committed but not yet told; the chain is sound after each."
    )
    journal.close()


def test_processes_that_post_at_once_make_one_chain_and_take_no_gram_twice(url: str) -> None:
    """Three processes take 10 g each time from a cylinder that holds 600 g: sixty of them succeed, whoever they are."""
    journal = _opened(url)
    few = OPENING.replace("10000 15", "601 0").replace("500 5", "1 0")
    journal.post(draft(line) for line in lines(few))
    with ExitStack() as stack:
        posters = [
            stack.enter_context(
                subprocess.Popen([sys.executable, POSTER, url, "move", name, "10"], stdout=subprocess.PIPE, text=True)
            )
            for name in ("one", "two", "three")
        ]
        while any(poster.poll() is None for poster in posters):
            report = journal.verify()  # a reader sees a sound ledger at every moment, and is never in the way
            assert report.sound, report.findings
            time.sleep(0.1)
        told = [line for poster in posters for line in poster.communicate(timeout=60)[0].split()]
    assert [poster.returncode for poster in posters] == [0, 0, 0]
    numbers = sorted(int(line) for line in told if line != "refused")
    first = len(list(lines(OPENING))) + 1
    assert numbers == list(range(first, first + 60))
    assert told.count("refused") == 3
    print(
        f"\n> {journal.engine.dialect.name}: three processes at once made one chain; 60 postings, no gram taken twice."
    )
    assert journal.balance("A", "R134a").mass_mg == 0
    assert journal.verify().sound
    journal.close()
