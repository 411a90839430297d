"""A process that types into a job without end, and says what the shop acknowledged: python typist.py URL JOB NAME."""

from __future__ import annotations

import sys
from itertools import count

from loopwright.job import Entry
from loopwright.store.jobs import Jobs

AT = "2026-05-04T10:00:00Z"


def batch(name: str, number: int) -> list[Entry]:
    """What one sending of a phone holds: a reading, an act, a note; each may be sent again under the same id."""
    facts = (
        ("wrote", {"field": "before.running.low_side.pressure", "value": f"{number} kPa"}),
        ("did", {"act": "protected", "test": "before", "done": number % 2 == 0}),
        ("noted", {"text": f"{name} {number}"}),
    )
    return [Entry(f"{name}-{number:06d}-{kind}", AT, name, kind, data) for kind, data in facts]


if __name__ == "__main__":
    _, url, job, name = sys.argv
    jobs = Jobs(url)
    for number in count():
        jobs.enter(job, batch(name, number))
        print(number, flush=True)
