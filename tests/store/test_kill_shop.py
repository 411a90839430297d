"""Whoever types into a job and is killed loses nothing that was acknowledged, and leaves no half of a sending.

LOOPWRIGHT_SHOP_KILLS sets how many processes are killed on each database; docs/results/shop_browser.md tells of 200.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

from databases import Maker
from typist import batch

from loopwright.job import derive
from loopwright.store.jobs import Jobs

TYPIST = str(Path(__file__).with_name("typist.py"))
KILLS = int(os.environ.get("LOOPWRIGHT_SHOP_KILLS", "3"))


def _killed(url: str, job: str, name: str, after_s: float) -> list[int]:
    """Let a process type and kill it; tell which of its sendings it had acknowledged."""
    with subprocess.Popen([sys.executable, TYPIST, url, job, name], stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        first = process.stdout.readline()
        time.sleep(after_s)
        process.kill()
        return [int(line) for line in [first, *process.stdout] if line.endswith("\n")]


def test_killed_at_any_moment_what_was_acknowledged_is_there_once_and_whole(make: Maker) -> None:
    url = make.empty()
    jobs = Jobs(url)
    told, untold = 0, 0
    for run in range(KILLS):
        name = f"typist{run:04d}"
        job = jobs.open("Ann")  # a job of its own: what a page reads after each sending stays short
        acknowledged = _killed(url, job, name, random.Random(run).uniform(0, 0.1))
        assert acknowledged == list(range(len(acknowledged)))
        stored = jobs.job(job)
        by_sending = Counter(entry.id.split("-")[1] for entry in stored.entries if entry.kind != "opened")
        # Whole sendings only, each entry once; perhaps the last one was written before anybody could be told of it.
        assert set(by_sending.values()) == {3}
        assert len(by_sending) - len(acknowledged) in (0, 1)
        assert stored.state == derive(stored.entries)
        # The phone, which knows nothing, sends its last again: it is kept once.
        again = jobs.enter(job, batch(name, len(by_sending) - 1))
        assert len(again.entries) == len(stored.entries)
        told, untold = told + len(acknowledged), untold + len(by_sending) - len(acknowledged)
    # The lists agree with the entries that they are made from.
    assert [row.number for row in sorted(jobs.jobs(), key=lambda row: row.number)][-1] == KILLS
    print(
        f"\n> {jobs.engine.dialect.name}: {KILLS} processes killed while typing; all {told} acknowledged sendings of "
        f"three entries are there, once and whole, and {untold} that were written but not yet told."
    )
    jobs.close()
