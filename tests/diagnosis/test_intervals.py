"""An interval of 90 % from few draws holds the next draw in nine cases of ten, however often each draw is repeated."""

from __future__ import annotations

import numpy as np
import pytest

from loopwright.diagnosis.explain import effective, quantile

REPEATS = 4000


@pytest.mark.parametrize("copies", [1, 10])
@pytest.mark.parametrize("draws", [20, 100])
def test_the_next_draw_is_inside_in_nine_of_ten(draws: int, copies: int) -> None:
    rng = np.random.default_rng([draws, copies])
    inside = 0
    for _ in range(REPEATS):
        seen = np.repeat(rng.standard_normal(draws), copies)
        band = quantile(seen, np.ones(len(seen)), worth=1.0 / copies)
        inside += band.low <= rng.standard_normal() <= band.high
    assert inside / REPEATS == pytest.approx(0.9, abs=4 * np.sqrt(0.09 / REPEATS))


def test_draws_of_unlike_worth_count_by_it() -> None:
    """Forty draws of a likely hypothesis that stand for forty, beside forty of another that stand for four."""
    weights, worth = np.repeat([0.8 / 40, 0.2 / 40], 40), np.repeat([1.0, 0.1], 40)
    assert effective(weights, worth) == pytest.approx(1.0 / (0.8**2 / 40 + 0.2**2 / 4))
    assert effective(weights, worth) < effective(weights)
