"""Two pictures for the demo shop, drawn here: a label under a hood, and a hose with a stain at its crimp."""

from __future__ import annotations

from collections.abc import Callable
from io import BytesIO
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from PIL import ImageDraw

__all__ = ["drawn"]

_SIZE = (960, 640)
_METAL, _SHADE, _PAPER, _INK, _OIL, _DYE = "#7d868e", "#5f676e", "#f4f1e6", "#20262b", "#8a6b2f", "#b8d432"


def drawn(name: str) -> bytes:
    """Return a drawing as JPEG: "label" or "hose".

    Raises
    ------
    KeyError : there is no such drawing

    >>> drawn("label")[:3].hex()
    'ffd8ff'
    """
    from PIL import Image, ImageDraw

    picture = Image.new("RGB", _SIZE, _METAL)
    _DRAWINGS[name](ImageDraw.Draw(picture))
    out = BytesIO()
    picture.save(out, "JPEG", quality=82)
    return out.getvalue()


def _label(draw: ImageDraw.ImageDraw) -> None:
    from PIL import ImageFont

    for y in range(0, _SIZE[1], 6):  # brushed metal
        draw.line([(0, y), (_SIZE[0], y)], fill=_SHADE if y % 18 else _METAL, width=2)
    draw.rounded_rectangle([110, 110, 850, 530], 18, fill=_PAPER, outline=_INK, width=4)
    large, small = ImageFont.load_default(54), ImageFont.load_default(36)
    draw.text((150, 140), "AIR CONDITIONING", font=small, fill=_INK)
    draw.line([(150, 195), (810, 195)], fill=_INK, width=3)
    for y, (what, value) in zip(
        (225, 310, 395), (("TYPE", "R134a"), ("CHARGE", "800 g"), ("OIL", "PAG 46")), strict=True
    ):
        draw.text((150, y + 12), what, font=small, fill=_INK)
        draw.text((430, y), value, font=large, fill=_INK)


def _hose(draw: ImageDraw.ImageDraw) -> None:
    draw.rectangle([0, 0, _SIZE[0], _SIZE[1]], fill="#3c4247")
    draw.line([(-20, 420), (430, 330)], fill="#15181a", width=110)  # rubber
    draw.line([(430, 330), (640, 288)], fill="#aab2b8", width=128)  # crimp
    for x in range(440, 640, 40):
        draw.line([(x, 270), (x + 18, 385)], fill=_SHADE, width=6)
    draw.line([(640, 288), (980, 220)], fill="#c4cacf", width=64)  # pipe
    for x, y, r, colour in ((420, 395, 70, _OIL), (460, 420, 46, _OIL), (405, 430, 24, _DYE), (440, 445, 18, _DYE)):
        draw.ellipse([x - r, y - r * 0.6, x + r, y + r * 0.6], fill=colour)


_DRAWINGS: dict[str, Callable[[ImageDraw.ImageDraw], None]] = {"label": _label, "hose": _hose}
