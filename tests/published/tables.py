"""Tables of published values that the tests here share."""

import csv
from pathlib import Path

DATA = Path(__file__).parent / "data"


def rows(name):
    """Rows of a table in `data`; `obtained` in each says how its values reached us."""
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))
