"""What is believed before the readings: the vehicles that the prior builds."""

from __future__ import annotations

import numpy as np
import pytest

from loopwright.circuit.loop import Loop, entering_air, loop
from loopwright.circuit.points import PLACE
from loopwright.circuit.record import CIRCUIT
from loopwright.circuit.steady import CONVERGED, solve
from loopwright.diagnosis.prior import bend, hypotheses, stack, value_of
from loopwright.diagnosis.sampler import draw_prior
from loopwright.fluids import refrigerant, refrigerant_array
from loopwright.readings import Conditions, Test, Vehicle, Weather

LABEL_DAY = Weather(308.15, 0.40, 0.0)
HIGH_BLOWER = Conditions(None, "high", None, 600.0)


def receiver_vehicle(name: str, compressor: str) -> Test:
    return Test("", Vehicle(name, "thermostatic", "receiver", compressor, 0.6), LABEL_DAY, HIGH_BLOWER, (), ())


def healthy(test: Test, share: float) -> Loop:
    """The median healthy vehicle with this share of its condenser behind the receiver, solved."""
    (h,) = (h for h in hypotheses(test) if h.fault.id == "healthy")
    j = h.names.index("subcool_share")
    h.kinds[j], h.first[j], h.second[j] = 0, share, 0.0  # the same at every draw
    record, x = np.empty(1, CIRCUIT), np.empty(4)
    bend(stack([h]), 0, np.zeros(len(h.names)), record.view(np.float64))
    r, air = refrigerant(test.vehicle.refrigerant), entering_air(record[0])
    code, _ = solve(record[0], r, air, x)
    assert code == CONVERGED
    return loop(record[0], r, air, *x)


@pytest.mark.parametrize("compressor", ["fixed", "variable", "electric"])
@pytest.mark.parametrize("name", ["R134a", "R1234yf", "R12", "R152a"])
def test_a_receiver_is_as_full_with_a_subcooling_pass_as_without(name: str, compressor: str) -> None:
    """The maker charges for the condenser that is there: half full on the day of the label, whatever the pass."""
    test = receiver_vehicle(name, compressor)
    assert [healthy(test, share).level for share in (0.0, 0.1, 0.22)] == pytest.approx([0.5] * 3, abs=0.025)


def test_less_than_no_pass_is_none() -> None:
    test = receiver_vehicle("R134a", "fixed")
    assert healthy(test, -0.1) == healthy(test, 0.0)


def test_a_receiver_in_the_line_subcools_little_and_one_with_a_pass_much() -> None:
    """With a pass 8 to 15 K (trade practice, from memory); a third of the receivers have none (a judgement).

    What leaves a receiver is nearly saturated, so without a pass little is left. The notes have 3 to 10 K there
    (memory, low confidence), by gauge and clamp, where ours reads 2 K: decision 017, known limits.
    """
    (h,) = (h for h in hypotheses(receiver_vehicle("R134a", "fixed")) if h.fault.id == "healthy")
    _, u, outs, solved = draw_prior([h], refrigerant_array("R134a"), 1000, 3)
    j = h.names.index("subcool_share")
    share = np.array([value_of(h.kinds[j], h.first[j], h.second[j], v) for v in u[:, j]])
    none, large = solved & (share <= 0.0), solved & (share > 0.1)
    subcooling = outs[:, PLACE["subcooling"]]
    assert none.mean() == pytest.approx(1 / 3, abs=0.05)
    assert np.median(subcooling[none]) < 4.0
    assert 8.0 < np.median(subcooling[large]) < 15.0
