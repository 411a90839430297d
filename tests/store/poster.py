"""A process that posts to a ledger and, where asked to, dies like a process that was killed.

python poster.py URL crash N      dies at the N-th moment of one posting (see `moments`)
python poster.py URL move NAME G  moves G grams from A to V again and again, NAME in every key; says what came of each
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable
from itertools import count
from pathlib import Path

import sqlalchemy as sa

sys.path.insert(0, str(Path(__file__).parent.parent / "ledger"))

from shop import AT, OPENING, Books, draft, kept

from loopwright.errors import InputError
from loopwright.ledger import Draft
from loopwright.store import Journal


def crashing_drafts() -> list[Draft]:
    """One posting that writes to every table: an account opened, one amended, a movement, a weighing, a reversal."""
    books: Books = kept(OPENING)[0]
    acts = (
        "open cylinder B R134a recovered",
        "mark A recovered",
        "V > M 100 5",
        "weigh A 9400 20 against U",
        "reverse 11",
    )
    return [draft(line, books, key=f"crash {i}") for i, line in enumerate(acts)]


def moments(engine: sa.Engine, reached: Callable[[str], None]) -> None:
    """Call `reached` before and after every statement that writes, and before and after the commit."""

    def before(connection: object, cursor: object, statement: str, *rest: object) -> None:
        if statement.startswith(("INSERT", "UPDATE")):
            reached("before " + statement.split("(", maxsplit=1)[0])

    def after(connection: object, cursor: object, statement: str, *rest: object) -> None:
        if statement.startswith(("INSERT", "UPDATE")):
            reached("after " + statement.split("(", maxsplit=1)[0])

    sa.event.listen(engine, "before_cursor_execute", before)
    sa.event.listen(engine, "after_cursor_execute", after)
    sa.event.listen(engine, "commit", lambda connection: reached("before the commit"))


def die() -> None:
    os.kill(os.getpid(), getattr(signal, "SIGKILL", signal.SIGTERM))


def crash(journal: Journal, at: int) -> None:
    numbers = count()

    def reached(_what: str) -> None:
        if next(numbers) == at:
            die()

    moments(journal.engine, reached)
    journal.post(crashing_drafts())
    die()  # committed, but nobody was told


def move(journal: Journal, name: str, grams: str) -> None:
    for number in count():
        try:
            (posting,) = journal.post([draft(f"A > V {grams} 0", key=f"{name} {number}")])
        except InputError:
            print("refused", flush=True)
            break
        print(posting.entry.seq, flush=True)


if __name__ == "__main__":
    _, url, what, *arguments = sys.argv
    opened = Journal(url, clock=lambda: AT)
    crash(opened, int(arguments[0])) if what == "crash" else move(opened, *arguments)
