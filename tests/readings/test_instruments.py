"""Which instrument a reading was taken with, and how far it errs."""

import csv
import math
from pathlib import Path

import pytest

from loopwright import readings
from loopwright.readings import Reading

TABLE = readings.table()


def taken(point, quantity, value, instrument=None, sigma=None):
    return Reading("running", point, quantity, value, sigma=sigma, instrument=instrument)


@pytest.mark.parametrize(
    ("point", "quantity", "name", "found"),
    [
        ("low_side", "pressure", None, "dial_gauge_low"),
        ("high_side", "pressure", None, "dial_gauge_high"),
        ("high_side", "pressure", "my blue thing", "dial_gauge_high"),
        ("low_side", "pressure", "Digital manifold gauge", "digital_gauge_low"),
        ("high_side", "pressure", "digital", "digital_gauge_high"),
        ("low_side", "pressure", "class 1.0", "dial_gauge_low_class_1"),
        ("vent_center", "temperature", None, "pocket_thermometer"),
        ("ambient_air", "temperature", None, "pocket_thermometer"),
        ("condenser_outlet", "temperature", None, "thermocouple"),
        ("condenser_outlet", "temperature", "IR gun, taped", "infrared_thermometer"),
        ("condenser_outlet", "temperature", "infrared thermometer", "infrared_thermometer"),
        ("vent_center", "temperature", "Type K bead", "thermocouple"),
        ("cabin_air_in", "relative_humidity", None, "hygrometer"),
        ("vent_left", "air_speed", None, "anemometer"),
        ("compressor", "speed", None, "tachometer"),
        ("clutch", "duty", None, "stopwatch"),
        ("condenser_fan", "voltage", None, "voltmeter"),
    ],
)
def test_the_instrument_is_told_by_its_name_or_by_the_point(point, quantity, name, found):
    assert readings.instrument_of(taken(point, quantity, 300.0, name)).id == found


def test_every_quantity_at_every_point_has_an_instrument():
    for point in TABLE.read_at():
        for quantity, limits in TABLE.carries(point).items():
            assert readings.default_sigma(taken(point, quantity, limits.usual_high)) > 0


def test_the_sheets_own_accuracy_counts_first():
    assert readings.default_sigma(taken("low_side", "pressure", 3e5, sigma=123.0)) == 123.0


PUBLISHED = {"dial_gauge_low": 0, "dial_gauge_low_class_1": 1, "digital_gauge_low": 2, "dial_gauge_high": 4}
PUBLISHED |= {"dial_gauge_high_class_1": 5, "digital_gauge_high": 6}


@pytest.mark.parametrize(("card", "row"), PUBLISHED.items())
def test_gauge_limits_are_those_of_the_classes(card, row):
    """EN 837-1 classes by their spans, and typical transducers; the classes were recalled from memory."""
    path = Path(__file__).parents[1] / "published" / "data" / "instrument_error.csv"
    rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
    # Both are the class times the span, printed to 0.1 kPa.
    assert readings.instruments()[card].limit == pytest.approx(float(rows[row]["pressure_error_kPa"]) * 1e3, abs=50)


def test_a_limit_is_a_uniform_bound():
    card = readings.instruments()["dial_gauge_low"]
    assert card.sigma(3e5) == pytest.approx(math.hypot(17.6e3 / math.sqrt(3), 10e3 / math.sqrt(12)))


def test_an_infrared_thermometer_errs_more_the_hotter_it_reads():
    card = readings.instruments()["infrared_thermometer"]
    assert card.sigma(353.15) == pytest.approx(math.hypot((3 + 0.02 * 80) / math.sqrt(3), 0.1 / math.sqrt(12)))
