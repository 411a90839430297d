"""The error table of docs/fluids.md is no rosier, and not much gloomier, than the cards."""

import re
from pathlib import Path

import pytest

from loopwright.fluids import LOOP_REFRIGERANTS, card

DOC = Path(__file__).parents[2] / "docs" / "fluids.md"
ROWS = re.findall(r"^\| `(\w+)`(?: \(K\))? \| ([\d.e-]+) \| ([\d.e-]+) \|$", DOC.read_text(encoding="utf-8"), re.M)


@pytest.mark.parametrize("row", ROWS, ids=[row[0] for row in ROWS])
def test_row(row):
    name, working, whole = row
    for said, errors in ((working, "errors"), (whole, "errors_whole")):
        worst = max(getattr(card(r), errors)[name] for r in LOOP_REFRIGERANTS)
        assert worst <= float(said) <= 2.0 * worst  # rounded up to one figure


def test_there_is_a_table():
    assert len(ROWS) == 15
