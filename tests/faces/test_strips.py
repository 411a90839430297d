"""One geometry for every strip: the mark stands on the band exactly when the reading lies in it."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopwright.figures.layout import bar, strip_cells
from loopwright.figures.strip import REACH, placed

VALUE = st.floats(-1e7, 1e7)


@st.composite
def bands(draw: st.DrawFn) -> tuple[float, float, float]:
    low, median, high = sorted(draw(st.tuples(VALUE, VALUE, VALUE)))
    return low, median, high


@given(bands(), VALUE)
def test_mark_is_on_the_band_exactly_when_the_value_is_inside(band: tuple[float, float, float], value: float) -> None:
    low, median, high = band
    strip = placed(low, median, high, value)
    assert strip.mark is not None
    inside = low <= value <= high
    assert (strip.word == "inside") == inside
    assert (0.0 <= strip.mark <= 1.0) >= inside
    if value < low:
        assert strip.word == "below"
        assert -REACH <= strip.mark <= 0.0
    if value > high:
        assert strip.word == "above"
        assert 1.0 <= strip.mark <= 1.0 + REACH


@given(bands(), VALUE, st.integers(3, 20))
def test_terminal_mark_falls_on_a_band_cell_exactly_when_inside(
    band: tuple[float, float, float], value: float, third: int
) -> None:
    strip = placed(*band, value)
    cells = strip_cells(strip, third)
    assert len(cells) == 3 * third
    (at,) = [i for i, cell in enumerate(cells) if cell in "●◄►"]
    assert (third <= at < 2 * third) == (strip.word == "inside")
    assert (cells[at] == "●") == (not strip.beyond)


@given(bands(), VALUE, VALUE)
def test_marks_keep_the_order_of_the_values(band: tuple[float, float, float], one: float, other: float) -> None:
    first, second = (placed(*band, value).mark for value in sorted((one, other)))
    assert first is not None
    assert second is not None
    assert first <= second


@given(bands())
def test_a_row_without_a_reading_shows_its_band_and_median(band: tuple[float, float, float]) -> None:
    strip = placed(*band, None)
    assert (strip.mark, strip.word, strip.beyond) == (None, None, False)
    assert 0.0 <= strip.median <= 1.0
    assert strip_cells(strip, 5).count("│") == 1


def test_limits_belong_to_the_band() -> None:
    assert placed(1.0, 2.0, 3.0, 1.0).word == "inside"
    assert placed(1.0, 2.0, 3.0, 3.0).word == "inside"
    assert placed(1.0, 2.0, 3.0, math.nextafter(3.0, 4.0)).word == "above"


def test_one_band_width_out_is_the_end_of_the_strip() -> None:
    assert placed(0.0, 1.0, 2.0, 4.0).mark == 2.0
    assert not placed(0.0, 1.0, 2.0, 4.0).beyond
    assert placed(0.0, 1.0, 2.0, 4.001).beyond


def test_a_band_upside_down_is_refused() -> None:
    with pytest.raises(ValueError, match="rising order"):
        placed(2.0, 1.0, 3.0, 1.0)


@given(st.floats(0.0, 1.0), st.integers(1, 40))
def test_a_bar_is_as_long_as_its_probability(probability: float, cells: int) -> None:
    drawn = bar(probability, cells)
    length = drawn.count("█") + 0.5 * drawn.count("▌")
    assert abs(length - probability * cells) <= 0.25 + 1e-9  # half characters: never off by more than a quarter
