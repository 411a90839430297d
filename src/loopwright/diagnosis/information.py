"""Which check to make next: expected information about the cause, per minute of the technician's time."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit

from loopwright.circuit.points import PLACE
from loopwright.circuit.record import FIELDS
from loopwright.diagnosis.checks import Check, Gives, checks
from loopwright.diagnosis.judgement import NextCheck
from loopwright.diagnosis.likelihood import (
    WORD_OUTPUT,
    WORDS,
    in_scale,
    log_word,
    model_error,
    place_of,
    predicted,
    scaled,
)
from loopwright.diagnosis.prior import Table, bend, stack
from loopwright.diagnosis.sampler import Posterior
from loopwright.language import say
from loopwright.readings import Test

__all__ = ["information", "next_checks"]

PER_CAUSE = 100  # draws of each cause, however unlikely it is
LEAST_SHARE = 0.002  # probability under which a cause plays no part
WIDTH = 1.06 * PER_CAUSE**-0.2  # of the density about one draw of a cause, in spreads of that cause
LEVELS = 96  # values among which a reading's are told apart
LEAST_BITS = 0.02  # information under which a check is not worth listing


class _Draws(NamedTuple):
    """As many draws of each cause: its id (c,) and probability (c,), what draws show (c, n, outputs) and the circuit
    records behind that (c, n, fields)."""

    names: tuple[str, ...]
    share: np.ndarray
    outs: np.ndarray
    fields: np.ndarray


def next_checks(test: Test, p: Posterior) -> tuple[NextCheck, ...]:
    """Checks not yet made, best information per minute first.

    The information of a check is the mutual information between the cause and what the check would show, in bits.
    """
    draws = _draws(p)
    found = []
    for check in checks().values():
        if not _open(check, test):
            continue
        chances = [c for g in check.gives if (c := _chances(check, g, draws)) is not None]
        if not chances:
            continue  # the model says nothing of it
        by_cause = information(_joint(chances), draws.share)
        bits = float(by_cause.sum())
        if bits < LEAST_BITS:
            continue
        splits = tuple(draws.names[c] for c in np.argsort(-by_cause)[:3] if by_cause[c] > 0.05 * bits)
        found.append(
            NextCheck(say(check.name), check.point, _minutes(check), bits, splits, _how(check), say(check.caution))
        )
    return tuple(sorted(found, key=lambda c: -c.information / c.minutes))


def information(chances: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Each cause's part (c,) of the mutual information [bit] between cause and result.

    `chances` (c, results) of each result under each cause, `share` (c,) the causes' probabilities, both adding up to
    one. I = sum over causes of p(c) sum over results of p(y | c) log2 p(y | c) / p(y). Source: Cover and Thomas,
    Elements of Information Theory, eq. 2.28 (from memory).

    >>> information(np.array([[1.0, 0.0], [0.0, 1.0]]), np.array([0.5, 0.5]))
    array([0.5, 0.5])
    """
    ratio = np.divide(chances, share @ chances, out=np.ones_like(chances), where=chances > 0.0)
    parts: np.ndarray = share * (chances * np.log2(ratio)).sum(1)
    return parts


def _minutes(check: Check) -> float:
    """Minutes until the answer is there: the technician's, those of checks it needs first, and the wait."""
    return check.minutes + check.wait_minutes + sum(_minutes(checks()[name]) for name in check.requires)


def _how(check: Check) -> str:
    """The steps as one text, opening with what must have been done before."""
    before = [say("First: {check}.", check=say(checks()[name].name).lower()) for name in check.requires]
    return " ".join([*before, *map(say, check.how)])


def _open(check: Check, test: Test) -> bool:
    """Whether a check still stands to be made on this vehicle: some of what it gives has not been read."""
    if not check.applies_to.includes(test.vehicle.expansion, test.vehicle.compressor):
        return False
    read = {(r.phase, r.point, r.quantity) for r in test.readings} | {
        (o.phase, o.point, o.kind) for o in test.observations
    }
    return any((check.phase, g.point, g.quantity) not in read for g in check.gives)


@njit(cache=True)
def _bend_all(table: Table, which: np.ndarray, u: np.ndarray, rows: np.ndarray) -> None:
    for i in range(which.shape[0]):
        bend(table, which[i], u[i], rows[i])


@njit(cache=True)
def _predicted_all(outs: np.ndarray, place: int, form: int, time: float, values: np.ndarray) -> None:
    for i in range(outs.shape[0]):
        values[i] = predicted(outs[i], place, form, time)


@njit(cache=True)
def _log_words(kind: int, place: int, outs: np.ndarray, table: np.ndarray) -> None:
    for i in range(outs.shape[0]):
        for word in range(table.shape[1]):
            table[i, word] = log_word(kind, place, word, outs[i])


def _draws(p: Posterior) -> _Draws:
    """`PER_CAUSE` draws of every cause that has `LEAST_SHARE`, evenly spread over its weights."""
    of = np.array([p.hypotheses[h].fault.id for h in p.which])
    names = [str(n) for n in np.unique(of) if p.weights[of == n].sum() >= LEAST_SHARE]
    share = np.array([p.weights[of == n].sum() for n in names])
    rows = np.concatenate([_spread(np.flatnonzero(of == n), p.weights) for n in names])
    fields = np.empty((len(rows), len(FIELDS)))
    _bend_all(stack(list(p.hypotheses)), p.which[rows], np.ascontiguousarray(p.u[rows]), fields)
    each = (len(names), PER_CAUSE, -1)
    return _Draws(tuple(names), share / share.sum(), p.outputs[rows].reshape(each), fields.reshape(each))


def _spread(mine: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """`PER_CAUSE` of these rows by their weights, systematically."""
    running = np.cumsum(weights[mine])
    at = (np.arange(PER_CAUSE) + 0.5) / PER_CAUSE * running[-1]
    picked: np.ndarray = mine[np.minimum(np.searchsorted(running, at), len(mine) - 1)]
    return picked


def _joint(chances: list[np.ndarray]) -> np.ndarray:
    """Chance (c, results) of each joint result under each cause, from those (c, n, results) of its parts under each
    draw: given the draw, the errors of the parts are each their own."""
    results = "xyz"[: len(chances)]
    parts = ",".join(f"cn{result}" for result in results)
    mean: np.ndarray = np.einsum(f"{parts}->c{results}", *chances, optimize=True) / chances[0].shape[1]
    return mean.reshape(len(mean), -1)


def _chances(check: Check, g: Gives, draws: _Draws) -> np.ndarray | None:
    """Chance (c, n, results) of each result under each draw; None where the model is silent."""
    return _word(g, draws) if check.kind == "observation" else _value(check, g, draws)


def _value(check: Check, g: Gives, draws: _Draws) -> np.ndarray | None:
    """A reading's error about the draw's own value, over `LEVELS` values.

    Beside it stands the width by which a density is told from so few draws of a cause, without which each draw would
    seem a cause of its own (Silverman 1986, Density Estimation, eq. 3.28); the draws come closer by as much, so that
    each cause keeps its spread (West 1993, J. R. Stat. Soc. B 55:409-422). Both from memory.
    """
    if check.kind == "direct":
        values = draws.fields[:, :, FIELDS[g.quantity].place]
        sigma = g.sigma
    else:
        found = place_of(check.phase, g.point, g.quantity, "mean")
        if found is None:
            return None
        values = np.empty(draws.outs.shape[:2])
        _predicted_all(draws.outs.reshape(-1, draws.outs.shape[2]), *found, g.time or 0.0, values.reshape(-1))
        middle, form = float(np.median(values)), found[1]
        sigma = math.hypot(g.sigma, model_error(check.phase, g.point, g.quantity, "mean", middle))
        _, sigma = scaled(form, middle, sigma)
        values = in_scale(form, values)
    mean, width = values.mean(1, keepdims=True), WIDTH * values.std(1, keepdims=True)
    values = mean + math.sqrt(1.0 - WIDTH**2) * (values - mean)
    spread = np.maximum(np.hypot(sigma, width), np.ptp(values) / LEVELS)[:, :, None]  # none falls between two levels
    reach = 3.0 * spread.max()
    levels = np.linspace(values.min() - reach, values.max() + reach, LEVELS)
    density = np.exp(-0.5 * ((levels - values[:, :, None]) / spread) ** 2)
    share: np.ndarray = density / density.sum(2, keepdims=True)
    return share


def _word(g: Gives, draws: _Draws) -> np.ndarray | None:
    """The chance of each word under each draw."""
    kind = g.quantity if g.quantity in ("felt", "airflow") else g.point
    if kind not in WORDS:
        return None
    place = PLACE.get(WORD_OUTPUT.get(kind, g.point))
    if place is None:
        return None
    count = len(WORDS[kind]) - (1 if kind == "felt" else 0)  # a cold spot is not one of the degrees of warmth
    table = np.empty((*draws.outs.shape[:2], count))
    _log_words(list(WORDS).index(kind), place, draws.outs.reshape(-1, draws.outs.shape[2]), table.reshape(-1, count))
    share: np.ndarray = np.exp(table)
    return share / share.sum(2, keepdims=True)
