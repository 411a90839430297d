"""From the posterior to a verdict: what a fault costs in cooling delivered, and when nothing can be said."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from loopwright.circuit.points import PLACE
from loopwright.diagnosis.judgement import Verdict
from loopwright.diagnosis.likelihood import TAILS, Evidence, predict_reading
from loopwright.diagnosis.prior import stack
from loopwright.diagnosis.sampler import Posterior, solve_draws
from loopwright.language import say
from loopwright.readings import Test

__all__ = ["Loss", "loss", "misfit", "settled", "verdict"]

LOSS = 0.10  # share of cooling lost from which a vehicle no longer performs: a judgement
SURE = 0.60  # probability asked before saying so
DRAWS = 240
STRANGE = 0.002  # misfit probability under which no class can be said to explain the readings
SETTLE_MINUTES = (
    3.0  # fewer and pressures still move; Army practice waits 5 to 10 (TM 9-2320-387-24-2; TM 5-3805-290-23-1)
)


@dataclass(frozen=True)
class Loss:
    """Cooling delivered now over the same vehicle healthy: draws (n,), and the probability that a tenth is lost."""

    ratio: np.ndarray
    probability: float


def loss(p: Posterior, r: np.ndarray, seed: int) -> Loss:
    """Compare posterior draws with the same vehicles without their fault (same unknowns, no severity)."""
    rng = np.random.default_rng(seed)
    rows = rng.choice(len(p.which), size=DRAWS, p=p.weights)
    healthy = {h.structure: i for i, h in enumerate(p.hypotheses) if h.fault.id == "healthy"}
    twin = np.array([healthy[p.hypotheses[p.which[i]].structure] for i in rows])
    outs, solved = solve_draws(stack(list(p.hypotheses)), r, twin, p.u[rows].copy())
    now, then = p.outputs[rows, PLACE["delivered"]], outs[:, PLACE["delivered"]]
    usable = solved & (then > 50.0)
    ratio = np.clip(now[usable] / then[usable], -1.0, 2.0)
    faulty = np.array([p.hypotheses[p.which[i]].fault.id != "healthy" for i in rows])[usable]
    ratio = np.where(faulty, ratio, 1.0)
    return Loss(ratio, float((ratio < 1.0 - LOSS).mean()) if len(ratio) else 0.0)


def misfit(p: Posterior, e: Evidence, seed: int) -> float:
    """Posterior predictive tail probability of the misfit of all readings (1 where nothing was read).

    The misfit is what the likelihood loses by it, the sum of log t(0) - log t(z): one slipped clip far off must not
    decide here either.
    """
    if not len(e.value):
        return 1.0
    rng = np.random.default_rng(seed)
    rows = rng.choice(len(p.which), size=DRAWS, p=p.weights)
    shown = np.array([[predict_reading(e, k, p.outputs[i]) for k in range(len(e.value))] for i in rows])
    seen = _deviance((e.value - shown) / e.sigma)
    copies = rng.standard_t(TAILS, (4000, len(e.value))) * np.sqrt((TAILS - 2.0) / TAILS)
    distribution = np.sort(_deviance(copies))
    return float((1.0 - np.searchsorted(distribution, seen) / len(distribution)).mean())


def _deviance(z: np.ndarray) -> np.ndarray:
    """Twice the log density of t lost by misfits z (n, readings), summed over the readings (n,)."""
    return np.asarray((TAILS + 1.0) * np.log1p(z * z / (TAILS - 2.0)).sum(1))


def settled(test: Test) -> tuple[bool, str]:
    """Whether the readings were taken on a settled system, and why one thinks so."""
    time = test.conditions.running_time
    if time is None:
        return True, say("Running time not given; taken as settled.")
    if time < SETTLE_MINUTES * 60.0:
        return False, say(
            "Read after {minutes:.0f} min; pressures still move. Wait at least 5 min at test conditions.",
            minutes=time / 60.0,
        )
    return True, say("Read after {minutes:.0f} min of running.", minutes=time / 60.0)


def verdict(
    test: Test, is_settled: tuple[bool, str], cost: Loss, misfit_probability: float, shares: Mapping[str, float]
) -> tuple[Verdict, tuple[str, ...]]:
    """The verdict and its reasons as plain sentences; `shares` are the probabilities of all causes, healthy too."""
    running = [r for r in test.readings if r.phase == "running" and r.quantity in ("pressure", "temperature")]
    if not any(r.point in ("low_side", "high_side") or r.point.startswith("vent") for r in running):
        return "cannot_say", (
            say(
                "No running pressure and no vent temperature was read; standing readings show only that liquid is "
                "present, not how much, and nothing of how it runs."
            ),
        )
    if not is_settled[0]:
        return "cannot_say", (is_settled[1],)
    if misfit_probability < STRANGE:
        return "cannot_say", (
            say(
                "No single fault explains these readings. Check the units, the hoses and the gauges, then read again; "
                "two faults at once look like this too."
            ),
        )
    lost = cost.probability
    expected = 100.0 * (1.0 - float(np.median(cost.ratio)))
    if lost <= 1.0 - SURE:
        if 1.0 - shares["healthy"] - shares["gauge_error"] >= SURE:  # the vehicle itself, not what reads it
            why = say("Less than a tenth of the cooling is probably lost, but something is probably wrong.")
            return "marginal", (why,)
        sentence = say("The readings fit a system that performs in this weather.")
        if shares["healthy"] < 0.5:
            sentence += " " + say("Something may be wrong, but the cooling lost is probably under a tenth.")
        return "performs", (sentence,)
    if lost >= SURE:
        return "does_not_perform", (say("Cooling is probably down by about {share:.0f} %.", share=expected),)
    even = say("About {count:.0f} in 100 that a tenth or more of the cooling is lost.", count=100 * lost)
    return "marginal", (even,)
