"""Labels: what they say, and that a phone reads their code."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from io import BytesIO

import numpy as np
import pytest
import vl_convert
import zxingcpp
from PIL import Image
from shop import CYLINDER

from loopwright.ledger import Account, Cylinder
from loopwright.ledger.label import code_text, label_lines, label_svg, label_text

FULL = Cylinder("refillable", 5_000_000, 12_000_000, 9_500_000, "2028-05-01")
ACCOUNTS = [
    Account("A", "cylinder", "R134a", "recycled", cylinder=FULL),
    Account("Bühne <7> & \"x\" / 'y' größer 0123456789abc", "cylinder", "R1234yf", "contaminated", cylinder=CYLINDER),
    Account("Van", "vehicle", "R134a"),
]


def _read(pixels: np.ndarray) -> list[str]:
    return [found.text for found in zxingcpp.read_barcodes(pixels)]


@pytest.mark.parametrize("account", ACCOUNTS, ids=lambda a: a.id[:3])
def test_the_code_is_read_by_another_program(account: Account) -> None:
    """zxing-cpp reads what segno wrote, from the pixels of the SVG as another program draws it."""
    png = vl_convert.svg_to_png(label_svg(account), scale=6)
    assert _read(np.asarray(Image.open(BytesIO(png)).convert("L"))) == [code_text(account)]


@pytest.mark.parametrize("account", ACCOUNTS, ids=lambda a: a.id[:3])
def test_the_code_in_characters_is_read_too(account: Account) -> None:
    code = label_text(account).split("\n\n")[0].split("\n")
    dark = {" ": (0, 0), "▀": (1, 0), "▄": (0, 1), "█": (1, 1)}
    rows = [[dark[c][half] for c in line] for line in code for half in (0, 1)]
    pixels = np.kron(255 * (1 - np.array(rows, dtype=np.uint8)), np.ones((4, 4), dtype=np.uint8))
    assert _read(pixels) == [code_text(account)]


def test_the_words_are_those_that_a_hand_must_know() -> None:
    assert label_lines(ACCOUNTS[0]) == [
        "R134a",
        "A",
        "recycled",
        "Tare 5000 g",
        "Full at 14500 g gross; no more, it may burst when warm",
        "Do not fill after 2028-05-01",
    ]
    assert "CONTAMINATED: do not use" in label_lines(ACCOUNTS[1])
    disposable = Account("D", "cylinder", "R134a", "virgin", cylinder=Cylinder("disposable", 1, 1))
    assert "Never refill" in label_lines(disposable)


@pytest.mark.parametrize("account", ACCOUNTS, ids=lambda a: a.id[:3])
def test_the_drawing_is_well_formed_and_its_words_stay_on_it(account: Account) -> None:
    root = ET.fromstring(label_svg(account))
    space = "{http://www.w3.org/2000/svg}"
    assert [t.text for t in root.iter(f"{space}title")] == [f"{account.refrigerant} {account.id}"]
    texts = list(root.iter(f"{space}text"))
    assert " ".join(t.text or "" for t in texts) == " ".join(label_lines(account))
    assert all(float(t.get("y", "0")) < 49 for t in texts)
    assert all(len(t.text or "") <= 24 for t in texts)
