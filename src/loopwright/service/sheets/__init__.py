"""Every calculation of refrigerant service as a form and a printable sheet: fields in, lines with sources out."""

from loopwright.service.sheets.base import Calculator, Field, Line, Pressure, Result
from loopwright.service.sheets.table import CALCULATORS, calculator

__all__ = ["CALCULATORS", "Calculator", "Field", "Line", "Pressure", "Result", "calculator"]
