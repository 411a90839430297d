"""Bending a batch of circuits: only the named fields move, and the batch that was given stays as it was."""

import numpy as np
import pytest

from loopwright.circuit.record import FIELDS, circuits
from loopwright.faults import bend, catalogue

FORMS = [(fault, variant) for fault in catalogue().values() for variant in fault.variants]


@pytest.mark.parametrize(("fault", "variant"), FORMS, ids=[f"{f.id}-{v.name}" for f, v in FORMS])
def test_only_the_named_fields_move(fault, variant):
    healthy = circuits(3)
    severity = fault.severity_of(variant)
    # one severity a circuit, the three spread over the range, so that each must take its own
    levels = np.linspace(severity.low, severity.high, 3) if severity else 0.0
    bent = bend(healthy, variant, levels)
    moved = {name for name in FIELDS if not np.array_equal(bent[name], healthy[name])}
    assert {b.field for b in variant.bends} <= moved
    assert moved <= {b.field for b in variant.bends} | {f.field for f in variant.fixed}
    assert all(np.isfinite(bent[name]).all() for name in moved)
    assert np.array_equal(healthy, circuits(3))


def test_grams_and_kilopascals_reach_the_record_in_si():
    gas = bend(circuits(), catalogue()["non_condensable_gas"].variants[0], 12.0)
    assert gas["foreign_gas"] == pytest.approx(0.012)
    (low_reads_high, *_) = catalogue()["gauge_error"].variants
    assert bend(circuits(), low_reads_high, 40.0)["low_gauge_offset"] == pytest.approx(40_000.0)


def test_charge_follows_the_vehicle_s_own_charge():
    vehicles = circuits(2)
    vehicles["charge"] = [0.5, 1.4]
    assert bend(vehicles, catalogue()["undercharge"].variants[0], 0.5)["charge"] == pytest.approx([0.25, 0.7])


def test_a_compressor_that_does_not_run_needs_no_severity():
    assert bend(circuits(), catalogue()["compressor_not_driven"].variants[0])["driven"] == 0.0
