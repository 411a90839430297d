"""What refrigerants, moist air and the atmosphere are: compiled scalar functions in SI, from published equations."""

from loopwright.fluids.refrigerants import Saturation, Vapour
from loopwright.fluids.tables import LOOP_REFRIGERANTS, Fit, Refrigerant, card, refrigerant, refrigerant_array

__all__ = [
    "LOOP_REFRIGERANTS",
    "Fit",
    "Refrigerant",
    "Saturation",
    "Vapour",
    "card",
    "refrigerant",
    "refrigerant_array",
]
