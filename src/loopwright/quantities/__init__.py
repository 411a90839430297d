"""What people write ("30 psi", "41 °F", "12 inHg vac") to SI and back; used only at the edges.

Gauge pressure is not absolute pressure and a temperature difference is not a temperature: a `Quantity` says which it
is, and only `absolute` turns a gauge reading into a pressure.
"""

from loopwright.quantities.parse import Quantity, absolute, find_unit, number, parse, written_as
from loopwright.quantities.show import from_si, show
from loopwright.quantities.units import UNITS, Kind, Reference, Unit, units_of

__all__ = [
    "UNITS",
    "Kind",
    "Quantity",
    "Reference",
    "Unit",
    "absolute",
    "find_unit",
    "from_si",
    "number",
    "parse",
    "show",
    "units_of",
    "written_as",
]
