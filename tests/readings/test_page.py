from pathlib import Path

from loopwright.readings.page import refreshed
from loopwright.readings.points import table

PAGE = Path(__file__).parents[2] / "docs" / "readings.md"


def test_the_page_is_fresh():
    text = PAGE.read_text(encoding="utf-8")
    assert refreshed(text) == text, "run python -m loopwright.readings.page docs/readings.md"


def test_every_point_quantity_and_field_is_on_the_page():
    text = PAGE.read_text(encoding="utf-8")
    for name in (*table().points, *table().quantities, *(key for keys in table().fields.values() for key in keys)):
        assert f"{name}`" in text
