"""Which check to make next: expected information about the cause, per minute of the technician's time."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from loopwright.circuit.points import PLACE
from loopwright.circuit.record import CIRCUIT, FIELDS
from loopwright.diagnosis.checks import Check, Gives, checks
from loopwright.diagnosis.judgement import NextCheck
from loopwright.diagnosis.likelihood import WORDS, log_word, model_error, place_of, predicted
from loopwright.diagnosis.prior import Table, bend, stack
from loopwright.diagnosis.sampler import Posterior
from loopwright.language import say
from loopwright.readings import Test

__all__ = ["next_checks"]

DRAWS = 260
LEAST_BITS = 0.02  # information under which a check is not worth listing
WORD_KIND = {"felt": 0, "airflow": 1, "sight_glass": 2, "condenser_fan": 3, "clutch": 4}
WORD_PLACE = {
    "airflow": "vent_air_fraction",
    "sight_glass": "bubbles",
    "condenser_fan": "condenser_air_fraction",
    "clutch": "duty",
}


def next_checks(test: Test, p: Posterior, seed: int) -> tuple[NextCheck, ...]:
    """Checks not yet made, best information per minute first.

    The information of a check is the mutual information between the cause and what the check would show, in bits, from
    `DRAWS` posterior draws: each in turn plays the truth, its result is drawn with noise, and the others are scored
    by it.
    """
    rng = np.random.default_rng(seed)
    rows = rng.choice(len(p.which), size=DRAWS, p=p.weights)
    fault = np.array([p.hypotheses[h].fault.id for h in p.which[rows]])
    names, label = np.unique(fault, return_inverse=True)
    if len(names) < 2:
        return ()
    outs = p.outputs[rows]
    fields = _fields(stack(list(p.hypotheses)), p.which[rows], p.u[rows])
    found = []
    for check in checks().values():
        if not _open(check, test):
            continue
        log_density = _log_densities(check, outs, fields, rng)
        if log_density is None:
            continue
        bits, by_class = _information(log_density, label, len(names))
        if bits < LEAST_BITS:
            continue
        splits = tuple(str(names[c]) for c in np.argsort(-by_class)[:3] if by_class[c] > 0.05 * bits)
        found.append(
            NextCheck(say(check.name), check.point, _minutes(check), bits, splits, _how(check), say(check.caution))
        )
    return tuple(sorted(found, key=lambda c: -c.information / c.minutes))


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


def _fields(table: Table, which: np.ndarray, u: np.ndarray) -> np.ndarray:
    """Circuit rows (n, fields) of draws."""
    rows = np.empty((len(which), len(CIRCUIT.names or ())))
    _bend_all(table, which, np.ascontiguousarray(u), rows)
    return rows


def _log_densities(check: Check, outs: np.ndarray, fields: np.ndarray, rng: np.random.Generator) -> np.ndarray | None:
    """Log density (truth, candidate) of the check's noisy result under every draw; None where the model is silent."""
    total = np.zeros((len(outs), len(outs)))
    silent = True
    for g in check.gives:
        part = _word(g, outs, rng) if check.kind == "observation" else _value(check, g, outs, fields, rng)
        if part is not None:
            silent = False
            total += part
    return None if silent else total


def _value(check: Check, g: Gives, outs: np.ndarray, fields: np.ndarray, rng: np.random.Generator) -> np.ndarray | None:
    if check.kind == "direct":
        if g.quantity not in FIELDS:
            return None
        values = fields[:, FIELDS[g.quantity].place]
        sigma = g.sigma
    else:
        found = place_of(check.phase, g.point, g.quantity, "mean")
        if found is None:
            return None
        values = np.array([predicted(row, found[0], found[1], 60.0) for row in outs])
        sigma = math.hypot(g.sigma, model_error(check.phase, g.point, g.quantity, "mean", float(np.median(values))))
    seen = values + sigma * rng.standard_normal(len(values))
    z = (seen[:, None] - values[None, :]) / sigma
    out: np.ndarray = -0.5 * z * z
    return out


def _word(g: Gives, outs: np.ndarray, rng: np.random.Generator) -> np.ndarray | None:
    """A word drawn from each truth's own distribution, scored by every draw."""
    kind = g.quantity if g.quantity in ("felt", "airflow") else g.point
    if kind not in WORD_KIND:
        return None
    place = PLACE.get(WORD_PLACE.get(kind, g.point))
    if place is None:
        return None
    count = len(WORDS[kind]) - (1 if kind == "felt" else 0)  # a cold spot is not one of the degrees of warmth
    table = np.array([[log_word(WORD_KIND[kind], place, w, row) for w in range(count)] for row in outs])
    share = np.exp(table)
    share /= share.sum(1, keepdims=True)
    pick = (share.cumsum(1) > rng.random((len(outs), 1))).argmax(1)
    out: np.ndarray = np.log(share)[:, pick].T
    return out


def _information(log_density: np.ndarray, label: np.ndarray, count: int) -> tuple[float, np.ndarray]:
    """Mutual information [bit] between cause and result, and each cause's part of it (count,).

    A draw does not score itself. I = mean over truths of log p(y | its cause) / p(y).
    """
    n = len(label)
    weight = np.exp(log_density - log_density.max(1, keepdims=True))
    np.fill_diagonal(weight, 0.0)
    sizes = np.bincount(label, minlength=count)
    by_class = np.stack([weight[:, label == c].sum(1) for c in range(count)], 1)
    own_size = sizes[label] - 1
    own = by_class[np.arange(n), label] / np.maximum(own_size, 1)
    everyone = by_class.sum(1) / (n - 1)
    usable = (own_size > 2) & (own > 0.0) & (everyone > 0.0)
    gain = np.zeros(n)
    gain[usable] = np.log2(own[usable] / everyone[usable])
    parts = np.array([gain[label == c].sum() / n for c in range(count)])
    return float(max(gain.mean(), 0.0)), parts
