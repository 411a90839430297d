"""Refrigerant properties and worked cycles against published values.

`obtained` in each data file says how its values reached us; rows marked "memory" were recalled, not read.
"""

import csv
import math
from pathlib import Path

import pytest

from loopwright.errors import InputError
from loopwright.fluids import atmosphere, refrigerant
from loopwright.fluids import refrigerants as f
from loopwright.fluids.saturated import saturated_pressures

DATA = Path(__file__).parent / "data"
ZERO = 273.15


def rows(name):
    return list(csv.DictReader((DATA / name).read_text(encoding="utf-8").splitlines()))


def ids(table, *keys):
    return [" ".join(row[k] for k in keys) for row in table]


HANDBOOK = rows("r134a_saturation.csv")


@pytest.mark.parametrize("row", HANDBOOK, ids=ids(HANDBOOK, "T_C", "obtained"))
def test_r134a_saturation_ashrae(row):
    """ASHRAE Handbook Fundamentals, R-134a saturation; from memory; same equation of state, so print is the limit."""
    T = float(row["T_C"]) + ZERO
    s = f.saturation(refrigerant("R134a"), T)
    columns = {
        "p_MPa": s.p / 1e6,
        "rho_liquid_kg_m3": s.rho_l,
        "v_vapour_m3_kg": 1 / s.rho_v,
        "h_liquid_kJ_kg": s.h_l / 1e3,
        "h_vapour_kJ_kg": s.h_v / 1e3,
        "s_liquid_kJ_kgK": s.s_l / 1e3,
        "s_vapour_kJ_kgK": s.s_v / 1e3,
    }
    for column, ours in columns.items():
        if row[column]:
            # Half a unit of the last printed figure (0.01 for -26.07 °C: 0.005 K moves p by 0.02 %), and 1e-6 of fit.
            last = 0.5 * 10.0 ** -len(row[column].partition(".")[2])
            slack = 2.5e-4 * ours if row["T_C"] == "-26.07" else 1e-6 * ours
            assert ours == pytest.approx(float(row[column]), abs=1.05 * last + slack), column


KUTZ = rows("r134a_handbook_sat.csv")


@pytest.mark.parametrize("row", KUTZ, ids=ids(KUTZ, "p_bar"))
def test_r134a_saturation_older_equation(row):
    """Kutz, Mechanical Engineers' Handbook, Table 14: an older equation of state, so differences and wide limits.

    Measured: 0.24 K at 0.5 bar falling to 0.08 K from 3 bar on, volumes 0.43 %, latent heat 0.2 %, entropy 0.01 %.
    """
    r, p = refrigerant("R134a"), float(row["p_bar"]) * 1e5
    T = f.saturation_temperature(r, p)
    s = f.saturation(r, T)
    assert pytest.approx(float(row["T_C"]) + ZERO, abs=0.25 if p < 2.5e5 else 0.09) == T
    assert 1 / s.rho_l == pytest.approx(float(row["v_liquid_m3_kg"]), rel=5e-3)
    assert 1 / s.rho_v == pytest.approx(float(row["v_vapour_m3_kg"]), rel=5e-3)
    latent = float(row["h_vapour_kJ_kg"]) - float(row["h_liquid_kJ_kg"])
    assert (s.h_v - s.h_l) / 1e3 == pytest.approx(latent, rel=2.5e-3)
    if row["s_vapour"]:
        evaporation = float(row["s_vapour"]) - float(row["s_liquid"])
        assert (s.s_v - s.s_l) / 1e3 == pytest.approx(evaporation, rel=3e-4)


SUPERHEAT = rows("r134a_superheat.csv")


def test_r134a_superheat_older_equation():
    """An open course table (older equation of state): differences along each isobar, where references cancel."""
    r = refrigerant("R134a")
    pressures = {row["p_MPa"] for row in SUPERHEAT}
    for p in pressures:
        isobar = [row for row in SUPERHEAT if row["p_MPa"] == p]
        t_sat = f.saturation_temperature(r, float(p) * 1e6)
        h = [f.vapour_enthalpy(r, t_sat, float(row["T_C"]) + ZERO) for row in isobar]
        v = [f.vapour(r, t_sat, x) for x in h]
        for i, row in enumerate(isobar):
            if row["v_m3_kg"]:
                assert 1 / v[i].rho == pytest.approx(float(row["v_m3_kg"]), rel=5e-3)
            dh = float(row["h_kJ_kg"]) - float(isobar[0]["h_kJ_kg"])
            ds = float(row["s_kJ_kgK"]) - float(isobar[0]["s_kJ_kgK"])
            # Heat capacity differs between the equations: measured 2.6 to 3.2 % less than the table, always this way.
            assert (h[i] - h[0]) / 1e3 == pytest.approx(dh, rel=0.035)
            assert (v[i].s - v[0].s) / 1e3 == pytest.approx(ds, rel=0.035)


R12 = rows("r12_saturation.csv")


@pytest.mark.parametrize("row", R12, ids=ids(R12, "T_C"))
def test_r12_saturation(row):
    """A saturation table shipped with university laboratory data: an older equation; h = 0 for liquid at -40 °C.

    Measured against it: pressure 0.33 %, vapour volume 1.26 %, latent heat 1.18 %, liquid 1 kJ/kg, entropy 0.92 %.
    """
    r = refrigerant("R12")
    s, zero = f.saturation(r, float(row["T_C"]) + ZERO), f.saturation(r, -40.0 + ZERO)
    assert s.p / 1e5 == pytest.approx(float(row["p_bar"]), rel=3.5e-3)
    assert 1 / s.rho_v == pytest.approx(float(row["v_vapour_m3_kg"]), rel=0.0135)
    latent = float(row["h_vapour_kJ_kg"]) - float(row["h_liquid_kJ_kg"])
    assert (s.h_v - s.h_l) / 1e3 == pytest.approx(latent, rel=0.012)
    assert (s.h_l - zero.h_l) / 1e3 == pytest.approx(float(row["h_liquid_kJ_kg"]), abs=1.1)
    if row["s_vapour_kJ_kgK"]:
        evaporation = float(row["s_vapour_kJ_kgK"]) - float(row["s_liquid_kJ_kgK"])
        assert (s.s_v - s.s_l) / 1e3 == pytest.approx(evaporation, rel=0.01)


def test_r1234yf_constants():
    """A reference fluid file in a public repository; not independent of CoolProp, whose critical density is rounded."""
    r = refrigerant("R1234yf")
    value = {row["quantity"]: float(row["value"]) for row in rows("r1234yf_constants.csv")}
    assert r.molar_mass * 1e3 == pytest.approx(value["molar mass"], rel=1e-6)
    assert r.t_critical == pytest.approx(value["critical temperature"], abs=0.005)
    assert r.p_critical / 1e3 == pytest.approx(value["critical pressure"], rel=1e-3)  # CoolProp computes 0.06 % more
    # 0.24 % between the two sources; a critical density is known no better.
    assert r.rho_critical / r.molar_mass / 1e3 == pytest.approx(value["critical density"], rel=3e-3)
    boiling = f.saturation_temperature(r, 101325.0)
    assert boiling == pytest.approx(value["normal boiling point"], abs=0.05)  # printed to 0.1 K
    omega = -1.0 - math.log10(f.saturation_pressure(r, 0.7 * r.t_critical) / r.p_critical)
    assert omega == pytest.approx(value["acentric factor"], abs=5e-4)  # printed to 0.001


def cycle(name, evaporating, condensing):
    """Ideal cycle between two saturation temperatures: h1, h2, h3 = h4 [J/kg]."""
    r = refrigerant(name)
    low, high = f.saturation(r, evaporating), f.saturation(r, condensing)
    return low.h_v, f.isentrope(r, condensing, low.s_v), high.h_l


def at(name, pressure):
    return f.saturation_temperature(refrigerant(name), pressure)


TON = 211.0 / 60.0  # kW, as the book converts (211 kJ/min)
CYCLES = {
    "Cengel 11-1": ("R134a", at("R134a", 0.14e6), at("R134a", 0.8e6), 0.05),
    "Moran 10.1": ("R134a", ZERO, 26.0 + ZERO, 0.08),
    "Moran 10.2": ("R134a", -10.0 + ZERO, at("R134a", 9e5), 0.08),
    "Moran 6.3": ("R134a", ZERO, at("R134a", 0.7e6), 1.0),
    "R-12 examination example": ("R12", -10.0 + ZERO, 40.0 + ZERO, 1.0),
}
# Relative; Cengel prints three figures from tables near our equation, Moran's tables use an older one (0.6 to 0.8 % in
# power and cooling, measured), and the R-12 example as well (0.5 %).
LIMIT = {
    "Cengel 11-1": 3e-3,
    "Moran 10.1": 9e-3,
    "Moran 10.2": 9e-3,
    "Moran 6.3": 9e-3,
    "R-12 examination example": 6e-3,
}
EXAMPLES = [r for r in rows("cycle_examples.csv") if (r["refrigerant"], r["quantity"]) != ("R-12", "work")]  # given


@pytest.mark.parametrize("row", EXAMPLES, ids=ids(EXAMPLES, "example", "quantity"))
def test_worked_cycle(row):
    """Worked examples of Cengel and Boles, Moran and Shapiro, and an R-12 examination paper."""
    name, te, tc, flow = CYCLES[row["example"]]
    h1, h2, h3 = cycle(name, te, tc)
    if row["example"].startswith("R-12"):  # the paper gives the work itself, and its cycle is not isentropic
        h2 = h1 + 36.9e3
    cooling, power = flow * (h1 - h3) / 1e3, flow * (h2 - h1) / 1e3
    if row["example"] == "Moran 6.3":  # closed system: internal energy, not enthalpy
        r = refrigerant(name)
        low, out = f.saturation(r, te), f.vapour(r, tc, h2)
        power = (h2 - f.saturation_pressure(r, tc) / out.rho - (h1 - low.p / low.rho_v)) / 1e3
    ours = {
        "cooling": cooling / TON if row["unit"] == "ton" else cooling,
        "refrigerating effect": cooling,
        "power": power,
        "work": power,
        "COP": cooling / power,
        "h2-h1": (h2 - h1) / 1e3,
        "h1-h4": (h1 - h3) / 1e3,
        "Carnot COP": te / (tc - te),
    }[row["quantity"]]
    assert ours == pytest.approx(float(row["published_value"]), rel=LIMIT[row["example"]])


STATIC = rows("saturation_static.csv")


@pytest.mark.parametrize("row", STATIC, ids=ids(STATIC, "temp_C"))
def test_standing_pressure_table(row):
    """Computed with CoolProp, apart from our tables: half a unit of the last figure."""
    T = float(row["temp_C"]) + ZERO
    for column in ("R-134a", "R-1234yf", "R-152a", "R-12"):
        s = f.saturation(refrigerant(column), T)
        assert s.p / 1e3 == pytest.approx(float(row[f"{column}_psat_kPa_abs"]), abs=0.051)
        assert s.rho_l == pytest.approx(float(row[f"{column}_rho_liquid_kg_m3"]), abs=0.051)
        assert s.rho_v == pytest.approx(float(row[f"{column}_rho_vapour_kg_m3"]), abs=0.0051)
    if row["R-744_psat_kPa_abs"] == "supercritical":
        with pytest.raises(InputError, match="supercritical"):
            saturated_pressures("R-744", T)
    else:
        s = saturated_pressures("R-744", T)
        assert s.bubble / 1e3 == pytest.approx(float(row["R-744_psat_kPa_abs"]), abs=0.051)
        assert s.vapour_density == pytest.approx(float(row["R-744_rho_vapour_kg_m3"]), abs=0.0051)


ALTITUDE = rows("altitude_effects.csv")


@pytest.mark.parametrize("row", ALTITUDE, ids=ids(ALTITUDE, "altitude_m"))
def test_altitude_misread(row):
    """Computed from the standard atmosphere and CoolProp: what a gauge read as if at sea level costs in temperature."""
    air, sea = atmosphere.pressure(float(row["altitude_m"])), 101325.0
    # The table takes the altitude as geopotential, ours as geometric: 0.02 % of air pressure at 3 km.
    assert air / 1e3 == pytest.approx(float(row["atm_kPa"]), abs=0.025)
    for column, name, gauge in (
        ("Tsat_error_K_if_101kPa_assumed_R134a_200kPag", "R134a", 200e3),
        ("Tsat_error_K_R134a_1500kPag", "R134a", 1500e3),
        ("Tsat_error_K_R1234yf_200kPag", "R1234yf", 200e3),
    ):
        error = at(name, gauge + sea) - at(name, gauge + air)
        assert error == pytest.approx(float(row[column]), abs=0.0075)  # half a unit and the altitude's 0.002 K
