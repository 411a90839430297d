"""From what a fault costs, and how likely one is, to the word that stands above the judgement."""

import numpy as np
import pytest

from loopwright.diagnosis.verdict import Loss, verdict
from loopwright.readings import read

SETTLED = (True, "Read after 8 min of running.")
SHEET = {
    "schema": 1,
    "vehicle": {"refrigerant": "R134a"},
    "weather": {"air_temperature_c": 28},
    "readings": [
        {"phase": "running", "point": "high_side", "quantity": "pressure", "value": "1300 kPa", "reference": "gauge"}
    ],
}


def said(lost, fitting=0.5, settled=SETTLED, sheet=SHEET, **shares):
    """Verdict and first sentence where a tenth of the cooling is `lost` with that probability."""
    cost = Loss(np.where(np.arange(100) < 100 * lost, 0.7, 1.0), lost)
    return verdict(read(sheet), settled, cost, fitting, {"healthy": 0.0, "gauge_error": 0.0, **shares})


@pytest.mark.parametrize(
    ("lost", "shares", "expected"),
    [
        (0.05, {"healthy": 0.9}, "performs"),
        (0.05, {"healthy": 0.1, "gauge_error": 0.6}, "performs"),  # the gauge is wrong, not the vehicle
        (0.05, {"healthy": 0.3}, "marginal"),  # it cools, and is probably not in order
        (0.39, {"healthy": 0.5}, "performs"),
        (0.50, {"healthy": 0.5}, "marginal"),
        (0.61, {"healthy": 0.3}, "does_not_perform"),
    ],
)
def test_what_is_lost_and_what_is_wrong_make_the_verdict(lost, shares, expected):
    assert said(lost, **shares)[0] == expected


def test_it_says_why_a_cold_vehicle_is_marginal():
    assert "something is probably wrong" in said(0.05, healthy=0.1)[1][0]


def test_it_says_when_something_may_be_wrong_with_one_that_performs():
    assert "may be wrong" in said(0.05, healthy=0.45)[1][0]
    assert "may be wrong" not in said(0.05, healthy=0.9)[1][0]


def test_nothing_is_said_of_what_has_not_settled_or_fits_nothing_or_did_not_run():
    standing = {**SHEET, "readings": [{**SHEET["readings"][0], "phase": "standing"}]}
    assert said(0.05, healthy=0.9, settled=(False, "Wait."))[0] == "cannot_say"
    assert said(0.05, healthy=0.9, fitting=0.001)[0] == "cannot_say"
    assert said(0.05, healthy=0.9, sheet=standing)[0] == "cannot_say"
