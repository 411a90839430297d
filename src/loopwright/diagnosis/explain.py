"""What speaks for and against each cause, reading by reading, and which causes the readings cannot tell apart."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from loopwright.diagnosis.judgement import Cause, Interval, Severity, Speaks
from loopwright.diagnosis.likelihood import Evidence, log_t, log_word, predict_reading
from loopwright.diagnosis.prior import severity_value
from loopwright.diagnosis.sampler import Posterior
from loopwright.faults import catalogue
from loopwright.language import say
from loopwright.readings import Observation, Reading

__all__ = ["causes", "class_probabilities", "effective", "quantile"]

ALIKE = 0.8  # nats of evidence within which two causes count as equal
WORTH = 0.02  # probability under which a cause is listed without its reasons
SHOWN = 0.15  # nats under which a reading is not worth a sentence


def quantile(values: np.ndarray, weights: np.ndarray, level: float = 0.9, worth: np.ndarray | float = 1.0) -> Interval:
    """Central interval of weighted values (n,).

    Of n draws in rising order, one more draw falls under the k-th with probability k / (n + 1) (Gumbel 1958, from
    memory; type 6 of Hyndman and Fan 1996, from memory), so few draws need levels further out than the level asked for.
    n is the effective number of samples; one that was copied and moved apart is `worth` ((n,) or one for all) less than
    one.
    """
    order = np.argsort(values)
    v, w = values[order], weights[order] / weights.sum()
    n = max(effective(weights, worth), 2.0)
    place = np.cumsum(w) - 0.5 * w
    asked = np.array([0.5 - level / 2, 0.5, 0.5 + level / 2])
    low, median, high = np.interp((asked * (n + 1.0) - 0.5) / n, place, v)
    return Interval(float(low), float(median), float(high), level)


def effective(weights: np.ndarray, worth: np.ndarray | float = 1.0) -> float:
    """Effective number of weighted samples (n,), each `worth` so many (Kish 1965, from memory).

    >>> effective(np.ones(4)), effective(np.ones(4), worth=0.25)
    (4.0, 1.0)
    """
    w = weights / weights.sum()
    return 1.0 / float((w * w / worth).sum())


def class_probabilities(p: Posterior) -> dict[str, float]:
    """Probability of each fault id, over its variants and structures; adds up to one."""
    total = dict.fromkeys(catalogue(), 0.0)
    for h, share in zip(p.hypotheses, p.probabilities, strict=True):
        total[h.fault.id] += float(share)
    return total


def class_evidence(p: Posterior) -> dict[str, float]:
    """Log evidence of each fault id, its variants and structures weighed by their priors."""
    found: dict[str, float] = {}
    for fault in {h.fault.id for h in p.hypotheses}:
        rows = [i for i, h in enumerate(p.hypotheses) if h.fault.id == fault]
        log_prior = np.array([p.hypotheses[i].log_prior for i in rows])
        share = log_prior - _log_sum(log_prior)
        found[fault] = _log_sum(p.log_evidence[rows] + share)
    return found


def _log_sum(values: np.ndarray) -> float:
    top = float(np.max(values))
    return top + math.log(float(np.exp(values - top).sum()))


def causes(
    p: Posterior, e: Evidence, readings: tuple[Reading, ...], words: tuple[Observation, ...]
) -> tuple[Cause, ...]:
    """Every cause with its probability, most probable first; the likely ones with severity and reasons."""
    shares = class_probabilities(p)
    evidence = class_evidence(p)
    fault_of = np.array([p.hypotheses[h].fault.id for h in p.which])
    density = densities(e, p.outputs)
    named: list[Reading | Observation] = [*readings, *words]
    found = []
    for fault, share in sorted(shares.items(), key=lambda item: -item[1]):
        mine = fault_of == fault
        severity: Severity | None = None
        reasons: tuple[Speaks, ...] = ()
        if mine.any() and share > WORTH:
            severity = _severity(p, mine)
            reasons = _reasons(p, density, named, mine)
        found.append(
            Cause(
                fault,
                share,
                severity,
                tuple(s for s in reasons if s.nats > 0.0),
                tuple(s for s in reasons if s.nats < 0.0),
                _alike(fault, shares, evidence),
            )
        )
    return tuple(found)


def _alike(fault: str, shares: dict[str, float], evidence: dict[str, float]) -> tuple[str, ...]:
    """Other causes that the readings support as well as this one: probable, and within `ALIKE` nats of evidence."""
    if shares[fault] < 0.04 or fault not in evidence:
        return ()
    near = [
        other
        for other in shares
        if other != fault and shares[other] >= 0.04 and abs(evidence[other] - evidence[fault]) < ALIKE
    ]
    return tuple(sorted(near, key=lambda f: -shares[f]))


def _severity(p: Posterior, mine: np.ndarray) -> Severity | None:
    """Severity of one fault over its variants; a gauge offset is that of its likelier gauge."""
    rows = np.flatnonzero(mine)
    by_point: dict[str, float] = {}
    for i in rows:
        point = p.hypotheses[p.which[i]].variant.point
        by_point[point] = by_point.get(point, 0.0) + p.weights[i]
    point = max(by_point, key=lambda k: by_point[k])
    rows = np.array([i for i in rows if p.hypotheses[p.which[i]].variant.point == point])
    card = p.hypotheses[p.which[rows[0]]].fault.severity
    if card is None:
        return None
    values = np.empty(len(rows))
    for h in np.unique(p.which[rows]):
        part = p.which[rows] == h
        values[part] = severity_value(p.hypotheses[h], p.u[rows[part], : len(p.hypotheses[h].names)])
    return Severity(card.quantity, card.unit, quantile(values, p.weights[rows], worth=p.worth[rows]), point or None)


@njit(cache=True)
def densities(e: Evidence, outputs: np.ndarray) -> np.ndarray:
    """Log density of each reading and word (columns) under each sample of `outputs` (rows)."""
    n, m = e.value.shape[0], e.word.shape[0]
    table = np.empty((outputs.shape[0], n + m))
    for i in range(outputs.shape[0]):
        for k in range(n):
            table[i, k] = log_t((e.value[k] - predict_reading(e, k, outputs[i])) / e.sigma[k])
        for k in range(m):
            table[i, n + k] = log_word(e.word_kind[k], e.word_place[k], e.word[k], outputs[i])
    return table


def _reasons(
    p: Posterior, density: np.ndarray, named: list[Reading | Observation], mine: np.ndarray
) -> tuple[Speaks, ...]:
    """Nats by which each reading favours this cause over the mixture of all others, strongest first."""
    if mine.all() or p.weights[~mine].sum() <= 0.0:
        return ()
    own = p.weights[mine] / p.weights[mine].sum()
    rest = p.weights[~mine] / p.weights[~mine].sum()
    nats = np.log(own @ np.exp(density[mine])) - np.log(rest @ np.exp(density[~mine]) + 1e-300)
    spoken = [
        Speaks(what.point, what.phase, float(v), _sentence(what, float(v)))
        for what, v in zip(named, nats, strict=True)
        if abs(v) > SHOWN
    ]
    return tuple(sorted(spoken, key=lambda s: -abs(s.nats)))


def _sentence(what: Reading | Observation, nats: float) -> str:
    """One sentence for what a reading says, as a technician would say it."""
    strength = say("slightly") if abs(nats) < 0.7 else (say("clearly") if abs(nats) < 2.0 else say("much"))
    way = say("better") if nats > 0 else say("worse")
    point = say(what.point.replace("_", " "))
    if isinstance(what, Observation):
        kind, value = say(what.kind), say(what.value.replace("_", " "))
        subject = say("{point} {kind} {value}", point=point.capitalize(), kind=kind, value=value)
    else:
        phase = say("after the stop") if what.phase == "after_stop" else say(what.phase)
        quantity = say(what.quantity.replace("_", " "))
        subject = say("The {point} {quantity} {phase}", point=point, quantity=quantity, phase=phase)
    return _capital(
        say("{subject} fits this {strength} {way} than the other causes.", subject=subject, strength=strength, way=way)
    )


def _capital(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]
