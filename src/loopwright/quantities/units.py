"""Units that people write on a test sheet, each with its exact size in SI and its spellings.

Every factor is built from the definitions (pound, inch, standard gravity, conventional mercury), so that a reader can
check it by eye; the published table it agrees with is NIST SP 811, Appendix B.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["UNITS", "Kind", "Reference", "Unit", "canonical", "units_of"]

Reference = Literal["gauge", "absolute", "vacuum"]
Kind = Literal[
    "pressure",
    "pressure_difference",
    "temperature",
    "temperature_difference",
    "fraction",
    "fraction_difference",
    "rotation",
    "air_speed",
    "mass",
    "volume",
    "voltage",
    "time",
    "length",
]

POUND = 0.45359237  # kg, exact
INCH = 0.0254  # m, exact
G_N = 9.80665  # m/s2, standard gravity, exact
MMHG = 13595.1 * G_N * 1e-3  # Pa, conventional millimetre of mercury
PSI = POUND * G_N / INCH**2  # Pa
ZERO_CELSIUS = 273.15  # K, exact


@dataclass(frozen=True)
class Unit:
    """A unit: SI value = `factor` times the number written plus `offset`; `decimals` is what a person cares to see."""

    symbol: str
    kind: Kind
    factor: float
    spellings: tuple[str, ...] = ()
    offset: float = 0.0
    decimals: int = 0


_PRESSURES = (
    Unit("Pa", "pressure", 1.0, ("pascal", "pascals")),
    Unit("hPa", "pressure", 1e2, decimals=1),
    Unit("kPa", "pressure", 1e3, ("kilopascal", "kilopascals"), decimals=1),
    Unit("MPa", "pressure", 1e6, ("megapascal", "megapascals"), decimals=3),
    Unit("bar", "pressure", 1e5, ("bars",), decimals=2),
    Unit("mbar", "pressure", 1e2, ("millibar",), decimals=1),
    Unit("psi", "pressure", PSI, ("lb/in2", "lbf/in2", "lbs/in2", "lb/sqin", "lbs"), decimals=1),
    Unit("kgf/cm2", "pressure", G_N * 1e4, ("kg/cm2", "kp/cm2", "kgs/cm2"), decimals=2),
    Unit("inHg", "pressure", 25.4 * MMHG, ('"hg', "inchhg", "incheshg"), decimals=1),
    Unit("cmHg", "pressure", 10 * MMHG, decimals=1),
    Unit("mmHg", "pressure", MMHG, decimals=1),
    Unit("Torr", "pressure", 101325 / 760, decimals=1),
    Unit("micron", "pressure", 101325 / 760e3, ("microns", "mtorr")),
)

_FRACTIONS = (
    Unit("%", "fraction", 1e-2, ("pct", "percent", "%rh", "rh%", "percentrh"), decimals=1),
    Unit("1", "fraction", 1.0, ("fraction", "ratio"), decimals=3),
)

_SCALES = (  # the three temperature scales; a difference has the same size of degree and no zero point
    ("°C", 1.0, ZERO_CELSIUS, ("c", "degc", "celsius", "degcelsius", "centigrade")),
    ("°F", 5 / 9, ZERO_CELSIUS - 32 * 5 / 9, ("f", "degf", "fahrenheit", "degfahrenheit")),
    ("K", 1.0, 0.0, ("kelvin", "kelvins", "degk", "°k")),
)

UNITS: tuple[Unit, ...] = (
    *_PRESSURES,
    *(Unit(u.symbol, "pressure_difference", u.factor, u.spellings, decimals=u.decimals) for u in _PRESSURES),
    *(Unit(symbol, "temperature", size, names, zero, 1) for symbol, size, zero, names in _SCALES),
    *(Unit(symbol, "temperature_difference", size, names, decimals=1) for symbol, size, _, names in _SCALES),
    *_FRACTIONS,
    *(Unit(u.symbol, "fraction_difference", u.factor, u.spellings, decimals=u.decimals) for u in _FRACTIONS),
    Unit("rpm", "rotation", 1 / 60, ("r/min", "rev/min", "1/min", "min-1", "min^-1")),
    Unit("1/s", "rotation", 1.0, ("hz", "rps", "r/s", "rev/s", "s-1", "s^-1"), decimals=1),
    Unit("m/s", "air_speed", 1.0, ("mps",), decimals=1),
    Unit("km/h", "air_speed", 1 / 3.6, ("kph", "kmh"), decimals=1),
    Unit("ft/min", "air_speed", 12 * INCH / 60, ("fpm",)),
    Unit("mph", "air_speed", 63360 * INCH / 3600, ("mi/h",), decimals=1),
    Unit("kg", "mass", 1.0, ("kgs", "kilogram", "kilograms"), decimals=3),
    Unit("g", "mass", 1e-3, ("gr", "gram", "grams", "gms", "gm")),
    Unit("lb", "mass", POUND, ("lbs", "lbm", "pound", "pounds"), decimals=2),
    Unit("oz", "mass", POUND / 16, ("ozs", "ounce", "ounces"), decimals=1),
    Unit("m3", "volume", 1.0, ("m^3",), decimals=6),
    Unit("cm3", "volume", 1e-6, ("cm^3", "cc", "ccm", "ml", "cm3/rev", "cc/rev")),
    Unit("L", "volume", 1e-3, ("liter", "litre", "liters", "litres"), decimals=3),
    Unit("in3", "volume", INCH**3, ("in^3", "cuin"), decimals=2),
    Unit("V", "voltage", 1.0, ("volt", "volts", "vdc"), decimals=2),
    Unit("mV", "voltage", 1e-3, ("millivolt", "millivolts")),
    Unit("s", "time", 1.0, ("sec", "secs", "second", "seconds"), decimals=1),
    Unit("min", "time", 60.0, ("mins", "minute", "minutes", "minuten"), decimals=1),
    Unit("h", "time", 3600.0, ("hr", "hrs", "hour", "hours"), decimals=2),
    Unit("m", "length", 1.0, ("metre", "meter", "metres", "meters", "masl")),
    Unit("km", "length", 1e3, decimals=3),
    Unit("ft", "length", 12 * INCH, ("foot", "feet", "'")),
    Unit("mm", "length", 1e-3, decimals=1),
    Unit("in", "length", INCH, ("inch", "inches", '"'), decimals=2),
)


def canonical(spelling: str) -> str:
    """Reduce a spelling to the form in which spellings are compared: no case, blanks, dots or brackets, plain digits.

    >>> canonical("Deg. F"), canonical("kgf / cm²"), canonical("bar (a)")
    ('degf', 'kgf/cm2', 'bara')
    """
    kept = "".join(ch for ch in spelling.replace("²", "2").replace("³", "3") if not ch.isspace() and ch not in ".()[]")
    return kept.casefold()


def units_of(kind: Kind) -> tuple[Unit, ...]:
    """Return the units in which a quantity of this kind may be written.

    >>> [u.symbol for u in units_of("voltage")]
    ['V', 'mV']
    """
    return tuple(u for u in UNITS if u.kind == kind)
