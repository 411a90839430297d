"""The README shows what the program really prints."""

from __future__ import annotations

import re

import pytest
from readme_sample import blocks, written

NUMBER = re.compile(r"\d+(?:\.\d+)?")
DRAWING = re.compile(r"[·░│●◄►█▌]+")


@pytest.fixture(scope="module")
def fresh() -> dict[str, str]:
    return blocks()


def words(text: str) -> list[str]:
    return NUMBER.sub("#", DRAWING.sub("", text)).split()


def test_the_sheet_and_the_command_are_those_of_the_package(fresh: dict[str, str]) -> None:
    assert written()["sheet"] == fresh["sheet"]
    assert written()["command"] == fresh["command"]


def test_the_result_is_what_is_printed(fresh: dict[str, str]) -> None:
    """Word for word; numbers to within what the last bits of a processor may move.

    Processors fuse multiplications differently, samples then differ in places, and a printed number by its last digit:
    2 % of it, or one and a half in the last place.
    """
    shown, real = written()["result"], fresh["result"]
    assert words(shown) == words(real)
    for one, other in zip(NUMBER.findall(shown), NUMBER.findall(real), strict=True):
        place = 10.0 ** -len(one.partition(".")[2])
        assert abs(float(one) - float(other)) <= max(0.02 * abs(float(other)), 1.5 * place), (one, other)


def test_it_opens_with_the_job_and_the_two_commands() -> None:
    from readme_sample import README

    text = README.read_text(encoding="utf-8")
    assert text.index("make run") < text.index("make test") < text.index("## ")
