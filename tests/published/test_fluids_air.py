"""Moist air, water and the standard atmosphere against published values."""

import csv
from pathlib import Path

import pytest

from loopwright.fluids import atmosphere
from loopwright.fluids import moist_air as air

DATA = Path(__file__).parent / "data"
ZERO = 273.15
SEA = 101325.0


def rows(name):
    return list(csv.DictReader((DATA / name).read_text(encoding="utf-8").splitlines()))


ASHRAE = rows("ashrae_moist_air.csv")
# Relative limit and absolute floor, each with its reason: the printed tables hold real gases (enhancement factor 1.004
# to 1.005 and a little non-ideality of dry air), our equations and the same handbook's ideal-gas equations do not.
LIMITS = {
    "saturation water vapour pressure": (3e-4, 0.002),  # tables by a newer formulation; 1.08 Pa is three figures
    "saturation humidity ratio at 101.325 kPa": (0.0125, 1e-7),  # 0.5 % of f; at 85 °C it counts double and more
    "saturated moist-air enthalpy": (9e-3, 30.0),  # the same, and 30 J/kg of rounding in cp of air
    "dry-air enthalpy": (1e-4, 0.0),
    "dry-air specific volume": (5e-4, 0.0),
}


@pytest.mark.parametrize("row", ASHRAE, ids=[f"{r['quantity']} {r['temperature_C']}" for r in ASHRAE])
def test_ashrae_tables(row):
    """ASHRAE Handbook Fundamentals 2017, ch. 1, Tables 2 and 3, as a public psychrometric library's tests hold them."""
    T, said = float(row["temperature_C"]) + ZERO, float(row["published_value"])
    ours = {
        "saturation water vapour pressure": lambda: air.saturation_pressure_water(T),
        "saturation humidity ratio at 101.325 kPa": lambda: air.saturated_humidity_ratio(T, SEA),
        "saturated moist-air enthalpy": lambda: air.saturated_enthalpy(T, SEA) / 1e3,
        "dry-air enthalpy": lambda: air.enthalpy(T, 0.0) / 1e3,
        "dry-air specific volume": lambda: 1 / air.density(T, SEA, 0.0),
    }[row["quantity"]]()
    relative, floor = LIMITS[row["quantity"]]
    if row["unit"] == "kJ/kg":
        floor /= 1e3
    assert ours == pytest.approx(said, rel=relative, abs=floor)


def humidity_from_wet_bulb(t, bulb, pressure):
    """Invert `wet_bulb` by halving."""
    low, high = 0.0, air.saturated_humidity_ratio(t, pressure)
    for _ in range(60):
        w = 0.5 * (low + high)
        low, high = (w, high) if air.wet_bulb(t, w, pressure) < bulb else (low, w)
    return low


EXAMPLES = rows("psychrometric_examples.csv")


def example(name):
    """Temperature [K], humidity ratio, pressure [Pa] of a worked example."""
    if name == "ASHRAE 2017 Ex 1":
        return 40.0 + ZERO, humidity_from_wet_bulb(40.0 + ZERO, 20.0 + ZERO, SEA), SEA
    if name == "Cengel 14-1":
        return 25.0 + ZERO, air.humidity_ratio(25.0 + ZERO, 0.75, 100e3), 100e3
    return 25.0 + ZERO, humidity_from_wet_bulb(25.0 + ZERO, 15.0 + ZERO, SEA), SEA


@pytest.mark.parametrize("row", EXAMPLES, ids=[f"{r['example']} {r['quantity']}" for r in EXAMPLES])
def test_worked_example(row):
    """ASHRAE 2017, ch. 1, Example 1 (read off a chart, in coarse steps), and Cengel and Boles, ch. 14."""
    T, w, p = example(row["example"])
    dry_air = 75.0 * air.density(T, p, w)  # the room of 5 m by 5 m by 3 m
    ours = {
        "humidity ratio": w,
        "dew point": air.dew_point(w, p) - ZERO,
        "relative humidity": air.relative_humidity(T, w, p),
        "enthalpy": air.enthalpy(T, w) / 1e3,
        "specific volume": 1 / air.density(T, p, w),
        "dry-air pressure": p / 1e3 * (1 - w / (air.EPSILON + w)),
        "dry-air mass": dry_air,
        "vapour mass": dry_air * w,
        "saturated humidity ratio at 15 C": air.saturated_humidity_ratio(15.0 + ZERO, p),
    }[row["quantity"]]
    chart = {"humidity ratio": 1.1e-4, "dew point": 0.5}  # half a step of the chart as read
    if row["example"].startswith("ASHRAE") and row["quantity"] in chart:
        assert ours == pytest.approx(float(row["published_value"]), abs=chart[row["quantity"]])
    else:
        # Three figures, and tables of Cengel's that differ by 0.1 % in vapour pressure and enthalpy.
        assert ours == pytest.approx(float(row["published_value"]), rel=4e-3)


ATMOSPHERE = rows("standard_atmosphere.csv")


@pytest.mark.parametrize("row", ATMOSPHERE, ids=[f"{r['source'][:6]} {r['altitude_m']}" for r in ATMOSPHERE])
def test_standard_atmosphere(row):
    """ISO 2533:1975, Table 5 (geometric altitude); ASHRAE 2017, ch. 1, Table 1 prints geopotential altitude."""
    z = float(row["altitude_m"])
    if row["altitude_kind"] != "geometric":
        z = atmosphere.RADIUS * z / (atmosphere.RADIUS - z)
    # Six figures of pressure and density, three decimals of temperature (ASHRAE: one).
    decimals = 6e-4 if row["altitude_kind"] == "geometric" else 0.051
    assert atmosphere.pressure(z) == pytest.approx(float(row["pressure_Pa"]), rel=6e-6, abs=0.6)
    assert atmosphere.temperature(z) == pytest.approx(float(row["temperature_K"]), abs=decimals)
    if row["density_kg_m3"]:
        assert atmosphere.density(z) == pytest.approx(float(row["density_kg_m3"]), rel=6e-6)


BOILING = rows("water_boiling.csv")


@pytest.mark.parametrize("row", BOILING, ids=[r["temp_C"] for r in BOILING])
def test_boiling_water(row):
    """Pressure under which water boils away in an evacuation: CoolProp (computed), and a US Army manual's column."""
    p = air.saturation_pressure_water(float(row["temp_C"]) + ZERO)
    # Hyland and Wexler (1983) against IAPWS-95: measured at most 2.25e-4, at 25 °C; and whole pascals on top.
    assert p == pytest.approx(float(row["p_boil_Pa_abs"]), abs=0.5 + 2.3e-4 * p)
    if row["army_table_inHg"]:
        vacuum = (101325.0 - p) / 3386.389
        assert vacuum == pytest.approx(float(row["army_table_inHg"]), abs=0.1)  # printed to 0.1
