"""Hypotheses on many threads: the same answer on any number of them, and linear algebra kept to one."""

import threading
from collections.abc import Iterator

import numba
import numpy as np
import pytest
from threadpoolctl import threadpool_info

from loopwright.diagnosis.likelihood import evidence
from loopwright.diagnosis.prior import hypotheses
from loopwright.diagnosis.sampler import infer
from loopwright.diagnosis.threads import algebra_on_one, shared
from loopwright.fluids import refrigerant_array
from loopwright.readings import read

SHEET = {
    "schema": 1,
    "vehicle": {"refrigerant": "R134a"},
    "weather": {"air_temperature_c": 28},
    "readings": [
        {"phase": "running", "point": "low_side", "quantity": "pressure", "value": "120 kPa", "reference": "gauge"},
        {"phase": "running", "point": "high_side", "quantity": "pressure", "value": "1100 kPa", "reference": "gauge"},
        {"phase": "running", "point": "vent_center", "quantity": "temperature", "value": "12 °C"},
    ],
}


@pytest.fixture(params=[1, 2])
def threads(request: pytest.FixtureRequest) -> Iterator[int]:
    """A number of threads to work on, taken back afterwards."""
    before = numba.get_num_threads()
    if request.param > before:
        pytest.skip("one core only")
    numba.set_num_threads(request.param)
    yield request.param
    numba.set_num_threads(before)


def test_answers_come_in_the_order_of_what_was_given(threads: int) -> None:
    together = threading.Barrier(threads, timeout=20)

    def work(number: int) -> int:
        together.wait()  # no thread goes on before all of them are at work
        return -number

    assert shared(work, range(6 * threads)) == [-n for n in range(6 * threads)]


def test_a_fault_in_the_work_reaches_the_caller(threads: int) -> None:
    with pytest.raises(ZeroDivisionError):
        shared(lambda n: 1 // n, [1, 0])


def test_the_posterior_does_not_hang_on_the_number_of_threads() -> None:
    test = read(SHEET)
    found, r, (e, _, _) = hypotheses(test), refrigerant_array("R134a"), evidence(test)
    many = infer(found, r, e, 3)
    before = numba.get_num_threads()
    numba.set_num_threads(1)
    try:
        one = infer(found, r, e, 3)
    finally:
        numba.set_num_threads(before)
    np.testing.assert_array_equal(one.log_evidence, many.log_evidence)
    np.testing.assert_array_equal(one.u, many.u)


def test_linear_algebra_keeps_to_one_thread_for_a_while() -> None:
    def threads() -> list[int]:
        return [library["num_threads"] for library in threadpool_info() if library["user_api"] == "blas"]

    before = threads()
    with algebra_on_one():
        assert before
        assert set(threads()) == {1}
    assert threads() == before
