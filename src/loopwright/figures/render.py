"""From a figure's Vega-Lite spec to a file; the renderer is loaded only here, when a picture is really wanted."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

__all__ = ["ENDINGS", "VEGA_LITE", "png", "save", "svg"]

VEGA_LITE = "6.4"  # the version every figure is written for
SCHEMA = "https://vega.github.io/schema/vega-lite/v6.json"  # a name, not fetched
ENDINGS = (".svg", ".png")


def svg(spec: Mapping[str, Any]) -> str:
    """Render a figure as SVG text."""
    import vl_convert

    text: str = vl_convert.vegalite_to_svg(dict(spec), vl_version=VEGA_LITE)
    return text


def png(spec: Mapping[str, Any], scale: float = 2.0) -> bytes:
    """Render a figure as PNG; `scale` is pixels of the file per pixel of the figure."""
    import vl_convert

    data: bytes = vl_convert.vegalite_to_png(dict(spec), vl_version=VEGA_LITE, scale=scale)
    return data


def save(spec: Mapping[str, Any], path: Path) -> None:
    """Write a figure to a `.svg` or `.png` file.

    Raises
    ------
    ValueError : another ending
    OSError : the file cannot be written
    """
    ending = path.suffix.lower()
    if ending not in ENDINGS:
        raise ValueError(f"a picture is written as {' or '.join(ENDINGS)}, not {path.suffix or 'without an ending'}")
    path.write_bytes(svg(spec).encode() if ending == ".svg" else png(spec))
