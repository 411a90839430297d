"""A small simulation-based calibration; the long one is `python -m bench.calibrate`.

Source: Talts, Betancourt, Simpson, Vehtari and Gelman 2018, arXiv:1804.06788. Sixty draws see gross faults only: a
wrong factor in the likelihood or the prior, an unsampled corner. Seeds are fixed: a pass stays one until code changes.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pytest
from bench.calibration.population import Case, draw_case
from bench.calibration.ranks import KEPT, rank, surprise, uniformity
from scipy.stats import binom

from loopwright.diagnosis.explain import class_probabilities, quantile
from loopwright.diagnosis.likelihood import evidence
from loopwright.diagnosis.prior import hypotheses, severity_value
from loopwright.diagnosis.sampler import infer
from loopwright.fluids import refrigerant_array

DRAWS = 60
JUDGED = 27  # of them under all causes too, which takes longer
SEED = 60
WATCHED = ("condenser_size", "condenser_air", "blower", "charge")


class Seen(NamedTuple):
    """One draw judged: probabilities of the causes, the true one, ranks of watched unknowns, truth inside 90 %."""

    probabilities: dict[str, float] | None
    truth: str
    ranks: dict[str, int]
    inside: bool | None


def judged(case: Case) -> Seen:
    r = refrigerant_array(case.test.vehicle.refrigerant)
    e, _, _ = evidence(case.test)
    every = hypotheses(case.test) if case.index < JUDGED else None
    shares = class_probabilities(infer(every, r, e, case.index)) if every else None
    own = infer([case.truth], r, e, case.index)
    rng = np.random.default_rng(case.index)
    kept = rng.choice(len(own.which), KEPT, replace=False, p=own.weights)
    names = case.truth.names
    ranks = {n: rank(own.u[kept, names.index(n)], case.u[names.index(n)], rng) for n in WATCHED if n in names}
    inside = None
    if case.truth.fault.severity is not None:
        band = quantile(severity_value(case.truth, own.u[:, : len(names)]), own.weights, worth=own.worth)
        inside = band.low <= severity_value(case.truth, case.u[None, : len(names)])[0] <= band.high
    return Seen(shares, case.truth.fault.id, ranks, inside)


@pytest.fixture(scope="module")
def seen() -> list[Seen]:
    return [judged(draw_case(SEED, i)) for i in range(DRAWS)]


def test_the_truth_is_as_surprising_as_the_probabilities_say(seen: list[Seen]) -> None:
    """Mean log probability of the truth against what honest probabilities expect, in standard errors."""
    z = surprise([s.probabilities for s in seen if s.probabilities], [s.truth for s in seen if s.probabilities])
    assert abs(z) < 3.3  # one in a thousand by chance


@pytest.mark.parametrize("name", WATCHED)
def test_ranks_are_even(name: str, seen: list[Seen]) -> None:
    ranks = np.array([s.ranks[name] for s in seen if name in s.ranks])
    _, _, p = uniformity(ranks, bins=5)
    assert p > 0.001  # four tests: four in a thousand by chance


def test_severity_intervals_hold_the_truth(seen: list[Seen]) -> None:
    inside = [s.inside for s in seen if s.inside is not None]
    assert len(inside) > 20
    # Two-sided binomial at 90 %, one in a thousand by chance.
    low, high = binom.ppf([0.0005, 0.9995], len(inside), 0.9)
    assert low <= sum(inside) <= high
