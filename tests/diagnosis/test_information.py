"""How much a check is expected to tell: against channels and mixtures whose information is known."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from loopwright.circuit.record import FIELDS
from loopwright.cli.demo import demo_sheets
from loopwright.cli.judging import answers
from loopwright.diagnosis.checks import checks
from loopwright.diagnosis.information import PER_CAUSE, _chances, _Draws, _joint, information

WEIGHING = checks()["weigh_charge"]
SIGMA = WEIGHING.gives[0].sigma


@pytest.mark.parametrize("flipped", [0.0, 0.11, 0.5])
def test_a_symmetric_channel_has_its_capacity(flipped):
    """1 - H(p) bits. Source: Cover and Thomas, Elements of Information Theory, 7.1.4 (from memory); 0.11 gives 0.5."""
    chances = np.array([[1.0 - flipped, flipped], [flipped, 1.0 - flipped]])
    entropy = -sum(p * math.log2(p) for p in (flipped, 1.0 - flipped) if p > 0.0)
    assert information(chances, np.array([0.5, 0.5])).sum() == pytest.approx(1.0 - entropy, abs=1e-12)


@given(
    st.lists(st.lists(st.floats(0.0, 1.0), min_size=4, max_size=4), min_size=2, max_size=5),
    st.lists(st.floats(0.01, 1.0), min_size=5, max_size=5),
)
def test_no_check_tells_less_than_nothing_or_more_than_there_is_to_know(rows, share):
    chances = np.array(rows) + 1e-9
    chances /= chances.sum(1, keepdims=True)
    prior = np.array(share[: len(rows)]) / sum(share[: len(rows)])
    told = information(chances, prior).sum()
    assert -1e-9 <= told <= -(prior * np.log2(prior)).sum() + 1e-9


def weighed(means: list[float], widths: list[float], share: list[float]) -> _Draws:
    """Draws of causes whose charges are normal about `means` [kg], with `widths`."""
    at = norm.ppf((np.arange(PER_CAUSE) + 0.5) / PER_CAUSE)
    fields = np.zeros((len(means), PER_CAUSE, len(FIELDS)))
    fields[:, :, FIELDS[WEIGHING.gives[0].quantity].place] = [m + w * at for m, w in zip(means, widths, strict=True)]
    return _Draws(tuple("abc"[: len(means)]), np.array(share), np.zeros((len(means), PER_CAUSE, 1)), fields)


@pytest.mark.parametrize(
    ("means", "widths", "share"),
    [
        ([0.0, 2.0], [3.0, 3.0], [0.5, 0.5]),
        ([0.0, 4.0], [3.0, 1.0], [0.93, 0.07]),
        ([0.0, 0.0, 40.0], [2.0, 9.0, 5.0], [0.6, 0.3, 0.1]),
        ([0.0, 0.0], [4.0, 4.0], [0.9, 0.1]),
        ([0.0, 1e5], [0.1, 0.1], [0.5, 0.5]),
    ],
)
def test_a_value_tells_what_the_integral_says(means, widths, share):
    """Causes normal about their means, read with the card's error: p log p integrated by quadrature. A hundred draws of
    each cause must do."""
    means, widths = [m * SIGMA for m in means], [w * SIGMA for w in widths]
    told = [norm(m, math.hypot(w, SIGMA)).pdf for m, w in zip(means, widths, strict=True)]

    def part(c, y):
        mine = told[c](y)
        return share[c] * mine * math.log2(mine / sum(s * t(y) for s, t in zip(share, told, strict=True)))

    edges = [(m - 9 * math.hypot(w, SIGMA), m + 9 * math.hypot(w, SIGMA)) for m, w in zip(means, widths, strict=True)]
    true = sum(quad(lambda y, c=c: part(c, y), *edges[c], limit=200)[0] for c in range(len(share)))
    draws = weighed(means, widths, share)
    found = information(_joint([_chances(WEIGHING, WEIGHING.gives[0], draws)]), draws.share).sum()
    assert found == pytest.approx(true, rel=0.02, abs=1e-3)


def test_two_values_tell_as_much_as_their_product_of_chances():
    """Independent errors given the draw: two identical symmetric channels, each of one draw a cause."""
    chances = np.array([[[0.9, 0.1]], [[0.1, 0.9]]])
    twice = np.array([[0.81, 0.09, 0.09, 0.01], [0.01, 0.09, 0.09, 0.81]])
    np.testing.assert_allclose(_joint([chances, chances]), twice)


def test_what_a_check_is_worth_does_not_hang_on_the_draws():
    """The best of a sheet that leaves several causes standing: over seeds within a third (were a factor of two to six
    where a cause of a few per cent had a dozen draws of 260)."""
    told = []
    for seed in range(4):
        ((_, judgement),) = answers(demo_sheets()["van_short_of_refrigerant"], "toml", seed)
        told.append({c.check: c.information for c in judgement.next_checks})
    for check in sorted(told[0], key=lambda c: -told[0][c])[:6]:
        values = [t.get(check, 0.0) for t in told]
        assert min(values) > 0.66 * max(values), (check, values)
