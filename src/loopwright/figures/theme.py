"""The colours and the type of every figure: four greys, one accent, blue low side and red high side, light and dark."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

__all__ = ["DARK", "FONT", "LIGHT", "THEMES", "Theme", "ThemeName", "config"]

FONT = "Inter, 'Liberation Sans', Arial, Helvetica, sans-serif"  # all have figures of equal width
ThemeName = Literal["light", "dark"]


@dataclass(frozen=True)
class Theme:
    """Colours by their part: `ink` for words, `soft` and `faint` for what stands back, `accent` for what is healthy."""

    paper: str
    ink: str
    grey: str
    soft: str
    faint: str
    accent: str
    band: str
    high: str
    low: str


LIGHT = Theme(
    paper="#ffffff",
    ink="#16202a",
    grey="#55626f",
    soft="#98a4b0",
    faint="#e4e9ee",
    accent="#0f766e",
    band="#bfe3dc",
    high="#c62f2f",
    low="#1d5fbf",
)
DARK = Theme(
    paper="#12181f",
    ink="#f0f4f7",
    grey="#a9b5c0",
    soft="#6b7885",
    faint="#27313b",
    accent="#5fd0c0",
    band="#1f4f4d",
    high="#ff7a6b",
    low="#6db0ff",
)
THEMES: dict[ThemeName, Theme] = {"light": LIGHT, "dark": DARK}


def config(theme: Theme) -> dict[str, Any]:
    """Return the Vega-Lite config of a theme: no frame, quiet axes, one typeface."""
    quiet = {"domain": False, "ticks": False, "labelColor": theme.grey, "titleColor": theme.grey}
    return {
        "background": theme.paper,
        "font": FONT,
        "view": {"stroke": None},
        "mark": {"aria": False},  # a screen reader hears the words, not every corner of a line
        "axis": {
            **quiet,
            "gridColor": theme.faint,
            "labelFontSize": 12,
            "titleFontSize": 12,
            "titleFontWeight": "normal",
        },
        "title": {"color": theme.ink, "subtitleColor": theme.grey, "fontWeight": 600, "anchor": "start"},
        "text": {"color": theme.ink, "fontSize": 12},
    }
