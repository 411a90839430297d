"""The picture of a judgement for a file: the sentence, the plane, and the strips under it."""

from __future__ import annotations

from typing import Any

from loopwright.diagnosis.judgement import Judgement
from loopwright.figures.plane import DESKTOP, plane_figure
from loopwright.figures.strips import strips_figure
from loopwright.figures.terms import SI, Terms
from loopwright.figures.theme import ThemeName

__all__ = ["picture"]

_OUTER = ("$schema", "padding", "config")  # what Vega-Lite takes only at the top


def picture(
    judgement: Judgement, terms: Terms = SI, theme: ThemeName = "light", width: int = DESKTOP
) -> dict[str, Any]:
    """Draw plane and strips as one figure, as a Vega-Lite spec; parameters as for `plane_figure`."""
    plane, strips = plane_figure(judgement, terms, theme, width), strips_figure(judgement, terms, theme, width)
    parts = [plane, strips] if judgement.expected else [plane]
    return {
        **{key: plane[key] for key in _OUTER},
        "description": plane["description"],
        "spacing": 28,
        "vconcat": [{key: value for key, value in part.items() if key not in _OUTER} for part in parts],
    }
