"""Sheets made at random: well-formed ones, ones with a single thing wrong, and anything at all."""

from __future__ import annotations

from hypothesis import strategies as st

from loopwright.quantities import from_si, units_of
from loopwright.readings.points import PHASES, STATISTICS, table
from loopwright.readings.read import CHOICES

TABLE = table()
NAMES = ("R134a", "r-134a", "HFC-134a", "R1234yf", "HFO-1234yf", "R12", "R152a")
EVERYDAY = {  # units written for each quantity, and spellings of them
    "pressure": ("kPa", "psi", "PSI", "psig", "bar", "kg/cm2", "kPa abs", "kPa (g)"),
    "temperature": ("°C", "°F", "C", "F", "degF", "K"),
    "relative_humidity": ("%", "pct", "1"),
    "air_speed": ("m/s", "km/h", "fpm", "mph"),
    "speed": ("rpm", "1/s", "Hz"),
    "duty": ("%", "1"),
    "voltage": ("V", "mV", "volts"),
}


def maybe(strategy):
    """Return a value, null, or (by `dropped`) nothing at all."""
    return st.none() | strategy


def dropped(keys: dict[str, st.SearchStrategy]):
    return st.fixed_dictionaries({}, optional=keys)


def _number(low: float, high: float):
    return st.floats(low, high).map(lambda x: float(f"{x:.4g}")).filter(lambda x: low <= x <= high)


@st.composite
def field_values(draw, where: str, key: str):
    field = TABLE.fields[where][key]
    low, high = (from_si(x, field.kind, field.unit) for x in (field.usual_low, field.usual_high))
    value = draw(_number(low, high))
    form = draw(st.sampled_from(["number", "text", "comma", "unit"]))
    plain = f"{value:.4f}".rstrip("0").rstrip(".")
    forms = {"number": value, "text": plain, "comma": f"{value:.1f}".replace(".", ","), "unit": f"{plain} {field.unit}"}
    return forms[form]


@st.composite
def accuracies(draw, quantity: str):
    unit = draw(st.sampled_from([u.symbol for u in units_of(TABLE.quantities[quantity].accuracy_kind)]))
    kind = draw(st.sampled_from(CHOICES["accuracy"]))
    value = draw(_number(0.01, 5))
    given = {"kind": kind, "value": value, "unit": unit}
    if kind == "of_span_pct":
        given["span"] = draw(_number(1, 2000))
    return given


@st.composite
def readings(draw):
    point = draw(st.sampled_from(TABLE.read_at()))
    quantity = draw(st.sampled_from(sorted(TABLE.carries(point))))
    limits = TABLE.carries(point)[quantity]
    unit = draw(st.sampled_from(EVERYDAY[quantity]))
    si = draw(_number(limits.usual_low, limits.usual_high))
    air = 0.0 if "abs" in unit or quantity != "pressure" else 101325.0
    value = float(f"{from_si(si - air, TABLE.quantities[quantity].kind, unit):.5g}")
    plain = f"{value:.5f}".rstrip("0").rstrip(".")
    forms = (
        ["beside"]
        if unit == "1"
        else ["beside", "inside", "both"]
        if unit[0].isdigit()
        else ["beside", "inside", "both", "tight"]
    )
    form = draw(st.sampled_from(forms))
    written = {
        "beside": {"value": value, "unit": unit},
        "inside": {"value": f"{plain} {unit}"},
        "tight": {"value": f"{plain}{unit}", "unit": None},
        "both": {"value": f"{plain} {unit}", "unit": unit},
    }[form]
    more = draw(
        dropped(
            {
                "statistic": maybe(st.sampled_from(STATISTICS)),
                "instrument": maybe(st.text(max_size=20)),
                "accuracy": maybe(accuracies(quantity)),
                "time_s": maybe(field_values("reading", "time_s")),
            }
        )
    )
    phase = draw(st.sampled_from(PHASES))
    return {"phase": phase, "point": point, "quantity": quantity, **written, **more}


@st.composite
def observations(draw):
    point = draw(st.sampled_from(TABLE.seen_at()))
    kind = draw(st.sampled_from(sorted(TABLE.observed(point))))
    value = draw(st.sampled_from(TABLE.observed(point)[kind]))
    return {"phase": draw(st.sampled_from(PHASES)), "point": point, "kind": kind, "value": value}


@st.composite
def sheets(draw):
    """Return a well-formed sheet; its values are usual each, though the sheet as a whole may be impossible."""
    words = {key: maybe(st.sampled_from(CHOICES[key])) for key in ("expansion", "storage", "compressor", "high_port")}
    numbers = {key: maybe(field_values("vehicle", key)) for key in TABLE.fields["vehicle"]}
    vehicle = draw(dropped({**words, **numbers, "label": maybe(st.text(max_size=20))}))
    weather = draw(dropped({key: maybe(field_values("weather", key)) for key in ("relative_humidity_pct",)}))
    test = {key: maybe(field_values("test", key)) for key in TABLE.fields["test"]}
    test |= {key: maybe(st.sampled_from(CHOICES[key])) for key in ("blower", "air")}
    return {
        "vehicle": {"refrigerant": draw(st.sampled_from(NAMES)), **vehicle},
        "weather": {"air_temperature_c": draw(field_values("weather", "air_temperature_c")), **weather},
        **draw(
            dropped(
                {
                    "schema": st.sampled_from([1, 1.0, None]),
                    "id": maybe(st.text(max_size=20)),
                    "test": maybe(dropped(test)),
                    "readings": maybe(st.lists(readings(), max_size=5)),
                    "observations": maybe(st.lists(observations(), max_size=4)),
                }
            )
        ),
    }


def places(value, path=()):
    """Yield the path of everything in a sheet."""
    yield path
    if isinstance(value, dict):
        for key in value:
            yield from places(value[key], (*path, key))
    elif isinstance(value, list):
        for i, entry in enumerate(value):
            yield from places(entry, (*path, i))


def put(sheet, path, value):
    """Return the sheet with one thing in it replaced (the sheet itself for an empty path)."""
    if not path:
        return value
    copy = dict(sheet) if isinstance(sheet, dict) else list(sheet)
    copy[path[0]] = put(copy[path[0]], path[1:], value)
    return copy


NUMBERS = st.integers() | st.floats() | st.sampled_from([0, -1, 1e308, 10**400, True])
WORDS = st.sampled_from(["", "high", "30 psi", "41 °F", "1,500", "nan", "1e999", "R22", "\ud800", "x" * 3000])
ANYTHING = st.recursive(
    st.none() | st.booleans() | NUMBERS | st.text(max_size=20) | WORDS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=10), inner, max_size=3),
    max_leaves=8,
)


@st.composite
def spoilt(draw, replacement=ANYTHING):
    """Return a well-formed sheet in which one thing was replaced by another."""
    sheet = draw(sheets())
    path = draw(st.sampled_from(list(places(sheet))))
    return put(sheet, path, draw(replacement))
