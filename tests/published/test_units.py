"""Unit factors against NIST SP 811, Appendix B.8, as printed there (seven figures unless exact)."""

import csv
from pathlib import Path

import pytest

from loopwright import quantities

TABLE = Path(__file__).parent / "data" / "nist_sp811.csv"
ROWS = list(csv.DictReader(TABLE.read_text(encoding="utf-8").splitlines()))


@pytest.mark.parametrize("row", ROWS, ids=[row["unit"] for row in ROWS])
def test_factor_is_the_published_one(row):
    ours = quantities.parse(1, row["kind"], row["unit"]).value
    # An exact factor leaves only the rounding of a float; a rounded one half a unit in its seventh figure.
    tolerance = 1e-15 if row["exact"] == "yes" else 0.5e-6
    assert ours == pytest.approx(float(row["factor_si"]), rel=tolerance)


@pytest.mark.parametrize(
    ("written", "kelvin"),
    # NIST SP 811 (2008), Appendix B.8: T/K = t/°C + 273.15 and t/°C = (t/°F - 32)/1.8, exact; read in a repository.
    [("32 °F", 273.15), ("212 °F", 373.15), ("-40 °F", 233.15), ("-40 °C", 233.15), ("0 K", 0.0), ("16.7 °C", 289.85)],
)
def test_temperature_scales(written, kelvin):
    assert quantities.parse(written, "temperature").value == pytest.approx(kelvin, abs=1e-10)
