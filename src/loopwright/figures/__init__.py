"""Each plot defined once, as a Vega-Lite spec (a plain dict) for page, report and file; and the words beside it."""

from loopwright.diagnosis.judgement import Judgement
from loopwright.figures.picture import picture
from loopwright.figures.plane import DESKTOP, PHONE, plane_figure
from loopwright.figures.render import png, save, svg
from loopwright.figures.strip import Strip, placed
from loopwright.figures.strips import strips_figure
from loopwright.figures.terms import SI, Terms
from loopwright.figures.text import judgement_text

__all__ = [
    "DESKTOP",
    "PHONE",
    "SI",
    "Judgement",
    "Strip",
    "Terms",
    "judgement_text",
    "picture",
    "placed",
    "plane_figure",
    "png",
    "save",
    "strips_figure",
    "svg",
]
