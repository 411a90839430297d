"""Many sheets judged on all cores: a process each with one thread does more than one process with as many threads."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from typing import TYPE_CHECKING

from loopwright.api.judging import decode, encode
from loopwright.api.workers import end, pool

if TYPE_CHECKING:
    from loopwright.diagnosis.judgement import Judgement
    from loopwright.readings import Refused, Test

__all__ = ["WORTH_IT", "judged_by_processes"]

WORTH_IT = 8  # sheets under which the start of processes costs more than it brings


def judged_by_processes(tests: Sequence[Test | Refused], seed: int, workers: int) -> Iterator[Judgement | Refused]:
    """Judge tests on `workers` processes; answers come in order, the same as `judge` gives. Refused ones pass through.

    The script that calls this must be one that may be imported (`if __name__ == "__main__":`), as for any process pool.
    """
    from loopwright.language import spoken
    from loopwright.readings import Test

    make = partial(_judged, seed, spoken())
    processes = pool(workers)
    try:
        texts = processes.map(make, [test for test in tests if isinstance(test, Test)])
        for test in tests:
            yield decode(next(texts)) if isinstance(test, Test) else test
    finally:
        end(processes)


def _judged(seed: int, language: str, test: Test) -> str:
    """Judge in the worker, on one thread."""
    import numba

    from loopwright.diagnosis import judge
    from loopwright.language import speaking

    numba.set_num_threads(1)
    with speaking(language):
        return encode(judge(test, seed=seed))
