"""Compiled work on many threads, linear algebra on one."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager
from functools import cache
from typing import TypeVar

import scipy.linalg  # noqa: F401  numba's linear algebra is SciPy's: its threads are to be found beside NumPy's
from numba import get_num_threads
from threadpoolctl import ThreadpoolController

__all__ = ["algebra_on_one", "shared"]

Given = TypeVar("Given")
Found = TypeVar("Found")


def shared(work: Callable[[Given], Found], given: Iterable[Given]) -> list[Found]:
    """What `work` returns for each, on as many threads as numba would take: who is done takes the next.

    `work` must spend its time in compiled functions that let go of the interpreter (`nogil`). Hypotheses take very
    different times, so equal shares, as numba's own loops deal them out, keep one thread waiting for the other.

    >>> shared(abs, [-1, 2])
    [1, 2]
    """
    threads = get_num_threads()
    return list(_pool(threads).map(work, given) if threads > 1 else map(work, given))


def algebra_on_one() -> AbstractContextManager[object]:
    """A context in which NumPy and SciPy keep to one thread.

    After a product that they shared out, their threads go on waiting busily for the next one, and take a tenth of the
    time of a judgement from the loops. The setting is the process's: judgements at once on threads of one process may
    leave it at one.
    """
    return _algebra().limit(limits=1, user_api="blas")


@cache
def _algebra() -> ThreadpoolController:
    return ThreadpoolController()


@cache
def _pool(threads: int) -> ThreadPoolExecutor:
    return ThreadPoolExecutor(threads, "loop")
