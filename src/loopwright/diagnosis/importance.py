"""Importance sampling of one hypothesis at a time, from Gaussians at its peaks and, as it goes, where they fall short.

The first draws come from a mixture: a part at each peak (`stand_part`), and a share of the prior. Then, while too few
draws are effective, the draw with the largest weight shows where the mixture is thinnest: a further part is put at the
peak of the model as it looks from there, at that severity (one Gauss-Newton step), drawn from and added (incremental
mixture importance sampling, Raftery and Bao 2010, Biometrics 66:1162-1173; there the covariance comes from near draws,
here from the curvature, which the loop's derivatives give). A last part stands where the draws say the posterior is.
Draws that helped to build the mixture flatter it, so it is drawn from anew, in batches; after each the last part
follows what all of them say (adaptive importance sampling, Cappé et al. 2004, J. Comput. Graph. Stat. 13:907-929).
Every draw of a batch is weighed by the whole mixture as it was then, whichever part it came from (Veach and Guibas
1995); the mean of all weights, those of lone draws trimmed (Ionides 2008), is the evidence; resampled and moved about
the draws are the posterior's. All from memory.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numba import njit

from loopwright.circuit.record import CIRCUIT
from loopwright.circuit.steady import CONVERGED
from loopwright.diagnosis.likelihood import Evidence, log_likelihood
from loopwright.diagnosis.posterior import FAR, N_OUT, climb, leanings, log_prior_density, outputs_at
from loopwright.diagnosis.prior import Table, bend

__all__ = ["EFFECTIVE", "PRIOR_SHARE", "Building", "Drawing", "Part", "build", "sample", "stand_part"]

REACHES = (0.35, 0.7)  # lengths of a move in units of its Gaussian's spread, in turn
SLIDE = 1.2  # length of a move along one unknown in units of its part's spread
FREEDOM = 12.0  # of the t distributions: their tails must not be thinner than the posterior's
PRIOR_SHARE = 0.12  # share of the first draws from the prior itself, so that no corner is left out
PRIOR_STAYS = 0.06  # share of the last draws from the prior, which cost more each and are wanted only against surprise
AT_MEAN = 0.65  # share of the last draws from the part at their mean
FEW_MEAN = 20.0  # effective draws that tell the mean of a posterior as well as its highest peak does
FEW_SPREAD = 60.0  # effective draws that tell its covariance as well as the curvature at that peak does
MOST = 12.0  # weight of one draw, in mean weights times the root of their number
EFFECTIVE = 1  # place of the effective draws among the figures of a sampling
HIGHEST = 0  # part that stands at the highest peak
TOLD = 0.5  # of what the slopes at one place say the readings tell of an unknown, how much they do over a posterior
OPEN = 0.9  # variance, in units of the prior's, from which on an axis counts as one the readings tell nothing of
SLIGHT = 1e-7  # share of all weights under which a draw says nothing of their mean
ROUGH = 0.08  # variance, in units of the prior's, by which the loop's bends and kinks blur what readings tell
FARTHEST = np.array([15.0, 20.0, 0.8, 1.0])  # [K, K, 1, 1] a start leans from its anchor at most
LOG_2PI = 1.8378770664093453


class Part(NamedTuple):
    """The mixture's parts: centre (k, d), how many axes the readings tell of (k,), these axes (k, d, d; the first rows)
    with the spread along each (k, d), log density at the centre (k,), draws (k,).

    A part is a Student's t along its axes and the prior's own normal across them: a t of thirty dimensions would be too
    far out in all of them at once, and across the axes nothing says that the posterior's tails are longer.

    A draw's loop is solved from `start` (k, 4), the solver's unknowns at `anchor` (k, d), moved along `lean` (k, 4, d),
    their derivatives there, with the balances' derivatives `slopes` (k, 4, 4).
    """

    centre: np.ndarray
    told: np.ndarray
    axes: np.ndarray
    spread: np.ndarray
    log_top: np.ndarray
    drawn: np.ndarray
    anchor: np.ndarray
    start: np.ndarray
    lean: np.ndarray
    slopes: np.ndarray


class Building(NamedTuple):
    """`first` draws to begin with, `more` for each part added, until `wanted` are effective."""

    first: int
    more: int
    wanted: float


class Drawing(NamedTuple):
    """`fresh` draws from the mixture, again until there are `least` and `wanted` of them are effective, `most`
    in all; `kept` of them by weight, moved `turns` times (not at all where its share of that rounds to none). To stop
    once enough seem effective, however few there are, would be to stop before a heavy one.
    """

    fresh: int
    least: int
    most: int
    wanted: float
    kept: int
    turns: int


class Draws(NamedTuple):
    """Draws: unknowns u, solver state x and jac, what each would show, log target, log of the mixture's density."""

    u: np.ndarray
    x: np.ndarray
    jac: np.ndarray
    outs: np.ndarray
    log_pi: np.ndarray
    log_q: np.ndarray


@njit(cache=True, fastmath=True)  # lets sums run in any order: much of the time of a draw is spent here
def _distances(u: np.ndarray, d: int, part: Part, k: int) -> tuple[float, float]:
    """Squared distance of `u` from the k-th centre along its axes, in spreads, and across them."""
    centre, spread = part.centre[k], part.spread[k]
    along, across = 0.0, 0.0
    for j in range(d):
        away = u[j] - centre[j]
        across += away * away
    for i in range(part.told[k]):
        axis, z = part.axes[k, i], 0.0
        for j in range(d):
            z += axis[j] * (u[j] - centre[j])
        across -= z * z
        along += z * z / (spread[i] * spread[i])
    return along, max(across, 0.0)


@njit(cache=True, fastmath=True)
def _colour(d: int, part: Part, k: int, stretch: float, z: np.ndarray) -> None:
    """Turn standard normal numbers `z` (d) into a draw about nought of the k-th part, its axes stretched."""
    for i in range(part.told[k]):
        axis, along = part.axes[k, i], 0.0
        for j in range(d):
            along += axis[j] * z[j]
        along *= stretch * part.spread[k, i] - 1.0
        for j in range(d):
            z[j] += along * axis[j]


@njit(cache=True)
def _empty(n: int, width: int) -> Draws:
    return Draws(
        np.zeros((n, width)), np.empty((n, 4)), np.empty((n, 4, 4)), np.empty((n, N_OUT)), np.empty(n), np.empty(n)
    )


@njit(cache=True)
def _log_part(u: np.ndarray, d: int, part: Part, k: int) -> float:
    """Log density of the k-th part at `u`."""
    along, across = _distances(u, d, part, k)
    return part.log_top[k] - 0.5 * (FREEDOM + part.told[k]) * math.log1p(along / FREEDOM) - 0.5 * across


@njit(cache=True)
def _add(a: float, b: float) -> float:
    """Log of the sum of two exponentials."""
    high = max(a, b)
    return high + math.log1p(math.exp(min(a, b) - high))


@njit(cache=True)
def _log_mixture(u: np.ndarray, d: int, part: Part, parts: int, from_prior: int) -> float:
    """Log of the sum over parts of draws times density."""
    total = math.log(from_prior) + log_prior_density(u, d)
    for k in range(parts):
        if part.drawn[k] > 0:
            total = _add(total, math.log(part.drawn[k]) + _log_part(u, d, part, k))
    return total


@njit(cache=True)
def _draw_part(d: int, part: Part, k: int, u: np.ndarray) -> None:
    u[:d] = np.random.standard_normal(d)
    _colour(d, part, k, 1.0 / math.sqrt(np.random.chisquare(FREEDOM) / FREEDOM), u)
    for j in range(d):
        u[j] += part.centre[k, j]


@njit(cache=True)
def _set_out(d: int, part: Part, k: int, s: Draws, i: int) -> None:
    """The solver's start for the i-th draw: the unknowns as they lean from the k-th part's anchor."""
    _lean(d, part, k, s.u[i], part.anchor[k], part.start[k], s.x[i])
    s.jac[i] = part.slopes[k]


@njit(cache=True)
def _lean(d: int, part: Part, k: int, u: np.ndarray, before: np.ndarray, x: np.ndarray, into: np.ndarray) -> None:
    """Fill `into` (4) with `x`, the unknowns at `before`, moved to `u` along the k-th part's derivatives."""
    for m in range(4):
        row, far = part.lean[k, m], 0.0
        for j in range(d):
            far += row[j] * (u[j] - before[j])
        into[m] = x[m] + min(max(far, -FARTHEST[m]), FARTHEST[m])


@njit(cache=True)
def _score(table: Table, h: int, r: Any, e: Evidence, record: np.ndarray, s: Draws, i: int) -> None:
    """Solve the i-th draw from the state it holds and fill what it shows and the log of likelihood times prior."""
    bend(table, h, s.u[i], record.view(np.float64))
    s.log_pi[i] = FAR
    if outputs_at(record[0], r, s.x[i], s.jac[i], s.jac[i, 0, 0] != 0.0, s.outs[i]) == CONVERGED:
        s.log_pi[i] = log_likelihood(e, s.outs[i]) + log_prior_density(s.u[i], table.parameters[h])


@njit(cache=True)
def _draw_all(
    table: Table, h: int, r: Any, e: Evidence, part: Part, parts: int, record: np.ndarray, s: Draws, n: int, fresh: int
) -> tuple[int, int]:  # fmt: skip
    """`fresh` draws from every part and the prior, appended to the `n` there are; returns how many there are now and
    how many of the fresh ones are from the prior."""
    d, i = table.parameters[h], n
    for k in range(parts):
        for _ in range(part.drawn[k]):
            _draw_part(d, part, k, s.u[i])
            _set_out(d, part, k, s, i)
            i += 1
    from_prior = n + fresh - i
    for _ in range(from_prior):
        s.u[i, :d] = np.random.standard_normal(d)
        _set_out(d, part, 0, s, i)
        i += 1
    for j in range(n, i):
        _score(table, h, r, e, record, s, j)
        s.log_q[j] = _log_mixture(s.u[j], d, part, parts, from_prior)
    return i, from_prior


@njit(cache=True)
def _effective(s: Draws, n: int) -> tuple[float, float, int]:
    """Log of the sum of weights, effective draws, the heaviest draw."""
    heaviest, top = 0, -1e300
    for i in range(n):
        if s.log_pi[i] > FAR and s.log_pi[i] - s.log_q[i] > top:
            heaviest, top = i, s.log_pi[i] - s.log_q[i]
    total, squares = 0.0, 0.0
    for i in range(n):
        if s.log_pi[i] > FAR:
            w = math.exp(s.log_pi[i] - s.log_q[i] - top)
            total += w
            squares += w * w
    if squares == 0.0:
        return FAR, 0.0, 0
    return top + math.log(total), total * total / squares, heaviest


@njit(cache=True)
def stand_part(part: Part, k: int, d: int, centre: np.ndarray, hessian: np.ndarray, drawn: int) -> None:
    """Stand the k-th part, of `drawn` draws, at `centre` (d), with axes and spreads by the curvature `hessian` there.

    Along each axis of the curvature, 1 + g, the readings tell g. Over the posterior they tell less: the loop bends and
    has kinks, so slopes turn within its spread, and a Student's t is twice as sharp at its top as a normal. With
    p = `TOLD` and s = `ROUGH` the variance there is 1 / (1 + 1 / (1 / (p g) + s)), which long chains ask for
    (docs/inference.md). Where it is over `OPEN`, the readings tell too little to speak of.
    """
    curvature, directions = np.linalg.eigh(np.ascontiguousarray(hessian[:d, :d]))
    part.centre[k, :d] = centre[:d]
    n = 0
    for i in range(d):
        told = max(TOLD * (curvature[i] - 1.0), 1e-9)
        variance = 1.0 / (1.0 + 1.0 / (1.0 / told + ROUGH))
        if variance < OPEN:
            part.axes[k, n, :d] = directions[:, i]
            part.spread[k, n] = math.sqrt(variance)
            n += 1
    part.told[k] = n
    part.drawn[k] = drawn
    constant = math.lgamma(0.5 * (FREEDOM + n)) - math.lgamma(0.5 * FREEDOM) - 0.5 * n * math.log(FREEDOM * math.pi)
    part.log_top[k] = constant - 0.5 * (d - n) * LOG_2PI - np.log(part.spread[k, :n]).sum()


@njit(cache=True)
def _put_part(table: Table, h: int, r: Any, e: Evidence, s: Draws, i: int, part: Part, k: int, count: int) -> None:
    """Make the k-th part at the peak as it looks from the i-th draw, one Gauss-Newton step on.

    The last unknown, the severity where there is one, stays: along it posteriors bend, and a free step from far out in
    such a tail leads back to the peak that has a part.
    """
    d = table.parameters[h]
    u, x, hessian = s.u[i].copy(), s.x[i].copy(), np.zeros((s.u.shape[1], s.u.shape[1]))
    climb(table, h, r, e, u, x, 1, hessian, d - 1)
    stand_part(part, k, d, u, hessian, count)
    part.anchor[k], part.start[k] = u, x
    leanings(table, h, r, u, x, np.empty(1, CIRCUIT), part.slopes[k], part.lean[k])


@njit(cache=True, fastmath=True)  # for the sums, as in `_distances`
def _put_mean_part(s: Draws, n: int, log_total: float, effective: float, part: Part, k: int) -> None:
    """Make the k-th part at the mean of the weighed draws and with their covariance along the highest peak's axes,
    both as far as so few tell them."""
    d, told = s.u.shape[1], part.told[HIGHEST]
    axes, mean, covariance = part.axes[HIGHEST], np.zeros(d), np.zeros((told, told))
    weight = np.zeros(n)
    for i in range(n):
        if s.log_pi[i] > FAR:
            weight[i] = math.exp(s.log_pi[i] - s.log_q[i] - log_total)
        if weight[i] > SLIGHT:
            for j in range(d):
                mean[j] += weight[i] * s.u[i, j]
    by_draws = effective / (effective + FEW_MEAN)
    part.centre[k] = (1.0 - by_draws) * part.centre[HIGHEST] + by_draws * mean
    z = np.empty(told)
    for i in range(n):
        if weight[i] > SLIGHT:
            for a in range(told):
                z[a] = 0.0
                for j in range(d):
                    z[a] += axes[a, j] * (s.u[i, j] - part.centre[k, j])
                for b in range(a + 1):
                    covariance[a, b] += weight[i] * z[a] * z[b]
    by_draws = effective / (effective + FEW_SPREAD)
    for a in range(told):
        for b in range(a):
            covariance[b, a] = covariance[a, b]
    covariance = by_draws * covariance + (1.0 - by_draws) * np.diag(part.spread[HIGHEST, :told] ** 2)
    variance, turn = np.linalg.eigh(covariance)
    part.told[k] = told
    part.axes[k, :told] = turn.T @ part.axes[HIGHEST, :told]
    part.spread[k, :told] = np.sqrt(variance)
    part.log_top[k] = part.log_top[HIGHEST] + np.log(part.spread[HIGHEST, :told] / part.spread[k, :told]).sum()
    part.anchor[k], part.start[k] = part.anchor[HIGHEST], part.start[HIGHEST]
    part.lean[k], part.slopes[k] = part.lean[HIGHEST], part.slopes[HIGHEST]


@njit(cache=True)
def _shared_out(part: Part, parts: int, fresh: int) -> Part:
    """The mixture with its draws for `fresh` in all: `AT_MEAN` from the last part, the rest as they were before."""
    drawn = np.zeros(parts, np.int64)
    before = part.drawn[: parts - 1].sum()
    for k in range(parts - 1):
        drawn[k] = int(part.drawn[k] * (1.0 - PRIOR_STAYS - AT_MEAN) * fresh / before)
    drawn[parts - 1] = int(AT_MEAN * fresh)
    return Part(
        part.centre, part.told, part.axes, part.spread, part.log_top, drawn, part.anchor, part.start, part.lean,
        part.slopes,
    )  # fmt: skip


@njit(cache=True)
def _draw_more(
    table: Table, h: int, r: Any, e: Evidence, part: Part, parts: int, from_prior: int, record: np.ndarray, s: Draws,
    n: int,
) -> int:  # fmt: skip
    """Draws from the newest part, appended to the `n` there are, all weighed anew; returns how many there are now."""
    d, k = table.parameters[h], parts - 1
    log_count = math.log(part.drawn[k])
    for i in range(n):
        s.log_q[i] = _add(s.log_q[i], log_count + _log_part(s.u[i], d, part, k))
    for i in range(n, n + part.drawn[k]):
        _draw_part(d, part, k, s.u[i])
        _set_out(d, part, k, s, i)
        _score(table, h, r, e, record, s, i)
        s.log_q[i] = _log_mixture(s.u[i], d, part, parts, from_prior)
    return n + int(part.drawn[k])


@njit(cache=True)
def _trimmed(s: Draws, n: int, log_total: float) -> tuple[float, float]:
    """Log of the most that one draw may weigh, and of the sum of weights so trimmed.

    A lone draw far out in a tail can outweigh all others together. So no weight passes `MOST` times the mean times
    sqrt(n), the mean being that of trimmed weights. Source: Ionides 2008, J. Comput. Graph. Stat. 17:295-311 (from
    memory).
    """
    most = log_total
    for _ in range(3):
        most = min(most, log_total + math.log(MOST) - 0.5 * math.log(n))
        top, total = FAR, 0.0
        for i in range(n):
            if s.log_pi[i] > FAR:
                top = max(top, min(s.log_pi[i] - s.log_q[i], most))
        for i in range(n):
            if s.log_pi[i] > FAR:
                total += math.exp(min(s.log_pi[i] - s.log_q[i], most) - top)
        log_total = top + math.log(total) if total > 0.0 else FAR
    return most, log_total


@njit(cache=True)
def _resample(s: Draws, n: int, log_total: float, into: Draws) -> None:
    """Fill `into` with draws by their trimmed weights, systematically."""
    kept = into.log_pi.shape[0]
    most, log_total = _trimmed(s, n, log_total)
    position = np.random.random() / kept
    running, k, last = 0.0, 0, 0
    for i in range(n):
        if s.log_pi[i] <= FAR:
            continue
        last = i
        running += math.exp(min(s.log_pi[i] - s.log_q[i], most) - log_total)
        while k < kept and position < running:
            _copy(s, i, into, k)
            k += 1
            position += 1.0 / kept
    for j in range(k, kept):
        _copy(s, last, into, j)


@njit(cache=True)
def _copy(source: Draws, i: int, into: Draws, k: int) -> None:
    into.u[k], into.x[k], into.jac[k], into.outs[k] = source.u[i], source.x[i], source.jac[i], source.outs[i]
    into.log_pi[k] = source.log_pi[i]


@njit(cache=True)
def _swing(d: int, part: Part, k: int, reach: float, u: np.ndarray, into: np.ndarray) -> None:
    """Fill `into` with a move about the k-th part's centre that leaves its Gaussian as it is."""
    keep = math.sqrt(1.0 - reach * reach)
    into[:d] = np.random.standard_normal(d)
    _colour(d, part, k, 1.0, into)
    for j in range(d):
        into[j] = part.centre[k, j] + keep * (u[j] - part.centre[k, j]) + reach * into[j]


@njit(cache=True)
def _picked(cumulative: np.ndarray) -> int:
    """A place drawn by cumulative shares."""
    k, pick = 0, np.random.random()
    while k < cumulative.shape[0] - 1 and cumulative[k] < pick:
        k += 1
    return k


@njit(cache=True)
def _told(d: int, part: Part, k: int) -> np.ndarray:
    """Cumulative shares (d,) of the unknowns by how much the readings tell of each.

    That is 1 less its variance in the k-th part. The last, the severity where there is one, counts three times.
    """
    share = np.full(d, 0.01)
    for j in range(d):
        for i in range(part.told[k]):
            share[j] += (1.0 - part.spread[k, i] ** 2) * part.axes[k, i, j] ** 2
    share[d - 1] *= 3.0
    return np.cumsum(share) / share.sum()


@njit(cache=True)
def _slide(d: int, part: Part, k: int, along: int, u: np.ndarray, into: np.ndarray) -> None:
    """Fill `into` with a move of one unknown; the others follow by the k-th part's covariance.

    Up and down are equally likely, so the move needs no correction.
    """
    row = np.zeros(d)
    row[along] = 1.0
    for i in range(part.told[k]):
        row -= (1.0 - part.spread[k, i] ** 2) * part.axes[k, i, along] * part.axes[k, i, :d]
    step = SLIDE * np.random.standard_normal() / math.sqrt(row[along])
    for j in range(d):
        into[j] = u[j] + step * row[j]


@njit(cache=True)
def _stir(
    table: Table, h: int, r: Any, e: Evidence, part: Part, parts: int, turns: int, record: np.ndarray, s: Draws
) -> float:
    """Move every draw `turns` times, leaving the posterior as it is; returns the share of moves accepted.

    Draws that stand for many come apart. Each move takes one part's Gaussian N(c, C), picked by its share of the
    draws, and goes to c + sqrt(1 - a^2) (u - c) + a C^1/2 z, which leaves that Gaussian as it is; Metropolis and
    Hastings do the rest. Every second turn slides along one unknown instead (`_slide`), picked by `_told`: where the
    readings bend with it, no Gaussian reaches far enough. Source: Cotter et al. 2013, Stat. Sci. 28:424-446 (from
    memory).
    """
    d, n = table.parameters[h], s.log_pi.shape[0]
    spare = _empty(1, s.u.shape[1])
    share = np.cumsum(part.drawn[:parts]) / part.drawn[:parts].sum()
    told = _told(d, part, parts - 1)
    accepted = 0
    for turn in range(turns):
        reach = REACHES[(turn // 2) % len(REACHES)]
        for i in range(n):
            k = _picked(share)
            along = turn % 2 == 1
            if along:
                _slide(d, part, k, _picked(told), s.u[i], spare.u[0])
            else:
                _swing(d, part, k, reach, s.u[i], spare.u[0])
            _lean(d, part, k, spare.u[0], s.u[i], s.x[i], spare.x[0])
            spare.jac[0] = s.jac[i]
            _score(table, h, r, e, record, spare, 0)
            if spare.log_pi[0] <= FAR:
                continue
            gain = spare.log_pi[0] - s.log_pi[i]
            if not along:
                gain += 0.5 * (sum(_distances(spare.u[0], d, part, k)) - sum(_distances(s.u[i], d, part, k)))
            if math.log(np.random.random()) < gain:
                _copy(spare, 0, s, i)
                accepted += 1
    return accepted / max(turns * n, 1)


@njit(cache=True, nogil=True)
def build(
    table: Table, h: int, r: np.ndarray, e: Evidence, seed: int, part: Part, parts: int, effort: Building
) -> tuple[int, float]:  # fmt: skip
    """Build one hypothesis' mixture, in place, the part at the mean last.

    The first `parts` of `part` are filled, with room for those to be added. Returns how many there are then, and the
    log evidence as the draws that helped to build it have it.
    """
    np.random.seed(seed)
    width = part.centre.shape[1]
    rounds = part.drawn.shape[0] - parts - 1
    record = np.empty(1, CIRCUIT)
    s = _empty(effort.first + rounds * effort.more, width)
    n, from_prior = _draw_all(table, h, r[0], e, part, parts, record, s, 0, effort.first)
    log_total, effective, heaviest = _effective(s, n)
    used, stood = parts, np.zeros(s.log_pi.shape[0], np.bool_)
    while used < parts + rounds and effective < effort.wanted and log_total > FAR and not stood[heaviest]:
        _put_part(table, h, r[0], e, s, heaviest, part, used, effort.more)
        used, stood[heaviest] = used + 1, True
        n = _draw_more(table, h, r[0], e, part, used, from_prior, record, s, n)
        log_total, effective, heaviest = _effective(s, n)
    _put_mean_part(s, n, log_total, effective, part, used)
    return used + 1, _trimmed(s, n, log_total)[1]


@njit(cache=True, nogil=True)
def sample(
    table: Table, h: int, r: np.ndarray, e: Evidence, seed: int, part: Part, parts: int, effort: Drawing,
    share: float, u: np.ndarray, outs: np.ndarray, stats: np.ndarray,
) -> float:  # fmt: skip
    """Draw one hypothesis from its mixture, as `build` left it, with `share` of the effort; returns the log evidence.

    Fills `u` (n, d) and `outs` (n, outputs) of the draws kept and moved, `stats` (3,): fresh draws, how many of them
    are effective, share of moves accepted.
    """
    np.random.seed(seed)
    width = u.shape[1]
    record = np.empty(1, CIRCUIT)
    s, kept = _empty(effort.most, width), _empty(effort.kept, width)
    part = _shared_out(part, parts, effort.fresh)
    n, effective, log_total = 0, 0.0, FAR
    least, wanted = share * effort.least, share * effort.wanted
    while n + effort.fresh <= effort.most and (n == 0 or n < least or effective < wanted):
        n, _ = _draw_all(table, h, r[0], e, part, parts, record, s, n, effort.fresh)
        log_total, effective, _ = _effective(s, n)
        if log_total > FAR:
            _put_mean_part(s, n, log_total, effective, part, parts - 1)
    _resample(s, n, log_total, kept)
    stats[0], stats[EFFECTIVE] = n, effective
    stats[2] = _stir(table, h, r[0], e, part, parts, round(share * effort.turns), record, kept)
    u[:], outs[:] = kept.u, kept.outs
    if log_total <= FAR:
        return FAR
    return _trimmed(s, n, log_total)[1] - math.log(n / effort.fresh)
