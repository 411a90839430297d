"""The report as a PDF: one page for the customer, an appendix for the inspector; Typst sets it, nothing is fetched."""

from loopwright.report.typeset import pdf
from loopwright.report.values import (
    Deviation,
    Movement,
    Paper,
    Person,
    Photo,
    Refrigerant,
    Report,
    Run,
    Shop,
    Step,
)

__all__ = [
    "Deviation",
    "Movement",
    "Paper",
    "Person",
    "Photo",
    "Refrigerant",
    "Report",
    "Run",
    "Shop",
    "Step",
    "pdf",
]
