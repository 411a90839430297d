"""One test sheet to one judgement: bend, solve, sense, weigh; then put it in words."""

from __future__ import annotations

import time

import numpy as np

from loopwright._version import __version__
from loopwright.circuit.points import PLACE
from loopwright.diagnosis.bands import cycle_of, expected, healthy_draws
from loopwright.diagnosis.explain import causes, class_evidence, class_probabilities, effective, quantile
from loopwright.diagnosis.information import next_checks
from loopwright.diagnosis.judgement import Cause, Fit, Interval, Judgement
from loopwright.diagnosis.likelihood import evidence
from loopwright.diagnosis.prior import hypotheses, prior_cards
from loopwright.diagnosis.sampler import Posterior, infer
from loopwright.diagnosis.threads import algebra_on_one
from loopwright.diagnosis.verdict import loss, misfit, settled, verdict
from loopwright.faults import catalogue, cautions
from loopwright.fluids import refrigerant_array
from loopwright.readings import Test

__all__ = ["judge"]

STATES = {
    "evaporating_temperature": "evaporating_temperature",
    "condensing_temperature": "condensing_temperature",
    "superheat": "superheat",
    "subcooling": "subcooling",
    "cooling_capacity": "cooling",
    "charge": "charge",
}
PALE = 24  # healthy cycles handed to the picture
CAUTIONS = 5  # cautions stand at their acts too; here only the first few


def judge(test: Test, seed: int = 0) -> Judgement:
    """Judge one test.

    Parameters: a `Test` (SI, absolute), and the `seed` of the sampler; the same sheet and seed give the same judgement.

    Returns a frozen `Judgement`. Bad input was refused before, in `readings`; what cannot be explained is answered with
    the verdict "cannot_say" and its reason.
    """
    with algebra_on_one():
        return _judged(test, seed)


def _judged(test: Test, seed: int) -> Judgement:
    begun = time.perf_counter()
    r = refrigerant_array(test.vehicle.refrigerant)
    found = hypotheses(test)
    e, readings, words = evidence(test)
    posterior = infer(found, r, e, seed)
    cost = loss(posterior, r, seed + 1)
    healthy = healthy_draws(found, r, 7)
    is_settled = settled(test)
    misfit_probability = misfit(posterior, e, seed + 2)
    shares = class_probabilities(posterior)
    answer, reasons = verdict(test, is_settled, cost, misfit_probability, shares)
    listed = causes(posterior, e, readings, words)
    order = np.argsort(healthy.outputs[:, PLACE["p_discharge"]])
    pale = healthy.outputs[order[np.linspace(0, len(order) - 1, PALE).astype(int)]]
    return Judgement(
        id=test.id,
        engine=__version__,
        seed=seed,
        seconds=time.perf_counter() - begun,
        verdict=answer,
        reasons=reasons,
        settled=is_settled[0],
        settled_why=is_settled[1],
        causes=listed,
        states=_states(posterior),
        expected=expected(test, healthy),
        next_checks=next_checks(test, posterior),
        fit=Fit(effective(posterior.weights, posterior.worth), class_evidence(posterior), misfit_probability),
        cautions=_cautions(test, listed),
        ambient_pressure=test.weather.atmosphere,
        refrigerant=test.vehicle.refrigerant,
        cycle=cycle_of(_typical(posterior)),
        healthy_cycle=cycle_of(np.median(healthy.outputs, axis=0)),
        healthy_cycles=tuple(cycle_of(row) for row in pale),
        sources=tuple(sorted({s for card in prior_cards().values() for s in card.source})),
        warnings=test.warnings,
    )


def _states(p: Posterior) -> dict[str, Interval]:
    return {name: quantile(p.outputs[:, PLACE[output]], p.weights, worth=p.worth) for name, output in STATES.items()}


def _typical(p: Posterior) -> np.ndarray:
    """Weighted mean of the outputs under the likeliest fault: the cycle that the readings tell of."""
    shares = class_probabilities(p)
    likeliest = max(shares, key=lambda k: shares[k])
    mine = np.array([p.hypotheses[h].fault.id == likeliest for h in p.which])
    if not mine.any():
        mine[:] = True
    mean: np.ndarray = p.weights[mine] @ p.outputs[mine] / p.weights[mine].sum()
    return mean


def _cautions(test: Test, listed: tuple[Cause, ...]) -> tuple[str, ...]:
    """Cautions of the likeliest fault and of any that is nearly as likely, once each, at most `CAUTIONS`."""
    faults = [c for c in listed if c.fault != "healthy"]
    likely = [c for c in faults[:3] if c.probability > 0.5 * faults[0].probability and c.probability > 0.1]
    keys = dict.fromkeys(k for c in likely for k in catalogue()[c.fault].cautions)
    table = cautions()
    fitting = [str(table[k]) for k in keys if table[k].applies(test.vehicle.refrigerant, test.vehicle.compressor)]
    return tuple(fitting[:CAUTIONS])
