"""The compiled formulas as plain Python again, so that they can be run on other properties, or counted.

The very source of the model is used: each compiled function gives back its Python body, whose names are bound anew. So
the reference cannot drift from the model.
"""

from __future__ import annotations

import dis
import math
from collections import Counter
from collections.abc import Callable, Mapping
from types import FunctionType, SimpleNamespace
from typing import Any

COUNTED = ("exp", "expm1", "log", "log1p", "sqrt")


def plain(
    compiled: Any, swapped: Mapping[str, Any], memo: dict[Any, Any] | None = None, powers: Counter[str] | None = None
) -> Callable[..., Any]:
    """The Python body of a compiled function with everything it calls made plain, and `swapped` names bound to others.

    Where `powers` is given, each run of a function adds the `**` in its code to it (branches not taken included).
    """
    memo = {} if memo is None else memo
    if compiled in memo:
        return memo[compiled]  # type: ignore[no-any-return]
    body = compiled.py_func
    names = dict(body.__globals__)
    made = FunctionType(body.__code__, names, body.__name__, body.__defaults__, body.__closure__)
    memo[compiled] = made if powers is None else _counting_powers(made, powers)
    for name in body.__code__.co_names:
        if name in swapped:
            names[name] = swapped[name]
        elif hasattr(names.get(name), "py_func"):
            names[name] = plain(names[name], swapped, memo, powers)
    return memo[compiled]  # type: ignore[no-any-return]


def _counting_powers(function: FunctionType, powers: Counter[str]) -> Callable[..., Any]:
    inside = sum(step.argrepr == "**" for step in dis.get_instructions(function.__code__))

    def run(*arguments: Any) -> Any:
        powers["pow"] += inside
        return function(*arguments)

    return run


def circuit(row: Any) -> SimpleNamespace:
    """A circuit record as a plain object."""
    return SimpleNamespace(**{name: float(row[name]) for name in row.dtype.names})


class CountingMath:
    """The `math` module, counting its costly functions."""

    def __init__(self) -> None:
        self.counts: Counter[str] = Counter()

    def __getattr__(self, name: str) -> Any:
        function = getattr(math, name)
        if name not in COUNTED:
            return function

        def counting(*arguments: float) -> float:
            self.counts[name] += 1
            return float(function(*arguments))

        return counting


def counted(compiled: Any, properties: tuple[str, ...], calls: list[tuple[Any, ...]]) -> dict[str, float]:
    """Mean number of property look-ups and costly functions in one call of `compiled`, over `calls`.

    Properties stay compiled and are counted as one each.
    """
    seen: Counter[str] = Counter()
    mathematics = CountingMath()
    swapped: dict[str, Any] = {"math": mathematics}

    def counting(name: str, function: Any) -> Any:
        def run(*arguments: Any) -> Any:
            seen[name] += 1
            return function(*arguments)

        return run

    for name in properties:
        swapped[name] = counting(name, compiled.py_func.__globals__.get(name) or _find(compiled, name))
    made = plain(compiled, swapped, {}, seen)
    for one in calls:
        made(*one)
    return {k: v / len(calls) for k, v in (seen + mathematics.counts).items()}


def _find(compiled: Any, name: str) -> Any:
    """The compiled function of that name among the callees of `compiled`."""
    for other in compiled.py_func.__code__.co_names:
        callee = compiled.py_func.__globals__.get(other)
        if hasattr(callee, "py_func"):
            found = callee.py_func.__globals__.get(name) or _find(callee, name)
            if found is not None:
                return found
    return None
