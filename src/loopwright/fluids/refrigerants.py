"""Refrigerant properties for the loop: compiled scalar functions of plain floats, SI units, from shipped tables.

Reference state: h = 200 kJ/kg and s = 1 kJ/(kg K) for saturated liquid at 0 °C (International Institute of
Refrigeration). The tables are splines through CoolProp's Helmholtz equations of state; each refrigerant's card (`card`)
holds the differences measured at random points.

Subcooled liquid is taken on the saturation line at its own enthalpy. Measured against the equation of state: at most
0.06 K and 0.3 % of density at 50 °C condensing and 10 K of subcooling, 0.3 K and 0.8 % at 70 °C and 15 K.

Beyond the tables (-60 °C, and 2.5 K below the critical point) the functions go on smoothly, so that a solver may pass
through; what they return there is no property of the refrigerant. Every function takes any float without an error.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from numba import njit

from loopwright.fluids.spline import Weights, curve, place, slopes, surface, weights
from loopwright.fluids.tables import Refrigerant

__all__ = [
    "Saturation",
    "Vapour",
    "density",
    "isentrope",
    "liquid_temperature",
    "saturation",
    "saturation_pressure",
    "saturation_temperature",
    "superheated_density",
    "temperature",
    "vapour",
    "vapour_enthalpy",
]

# How far beyond the table's ends its straight lines may run, in K: cold, only p and the vapour's density keep falling;
# warm, the two phases draw nearer but never meet, since the lines would cross some 6 K above the end.
COLD_REACH, WARM_REACH = 60.0, 2.0
LOWEST_PRESSURE = 1e-3  # Pa, where the logarithm stops
FEWEST_SHARE = 0.05  # the least specific volume and compressibility, as shares of their saturated or ideal values


class Saturation(NamedTuple):
    """Both saturated phases at one temperature, `_l` liquid and `_v` vapour.

    p [Pa], density rho [kg/m3], enthalpy h [J/kg], entropy s and isobaric heat capacity cp [J/(kg K)], viscosity mu
    [Pa s], thermal conductivity k [W/(m K)].
    """

    p: float
    rho_l: float
    rho_v: float
    h_l: float
    h_v: float
    s_l: float
    s_v: float
    cp_l: float
    cp_v: float
    mu_l: float
    mu_v: float
    k_l: float
    k_v: float


class Vapour(NamedTuple):
    """Superheated vapour: temperature t [K], density rho [kg/m3], entropy s [J/(kg K)]."""

    t: float
    rho: float
    s: float


class _Dry(NamedTuple):
    """Saturated vapour alone: p [Pa], rho [kg/m3], h [J/kg], s [J/(kg K)]."""

    p: float
    rho: float
    h: float
    s: float


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def saturation(r: Refrigerant, temperature: float) -> Saturation:
    """Saturated liquid and vapour at a temperature, all properties by one look-up.

    Parameters
    ----------
    r : Refrigerant
    temperature : saturation temperature [K]; the table reaches from -60 °C to 2.5 K below the critical point

    Source: CoolProp (HEOS); the card holds the measured differences.

    >>> from loopwright.fluids import refrigerant
    >>> s = saturation(refrigerant("R134a"), 273.15)
    >>> round(s.p), round(s.h_l), round(s.h_v), round(s.rho_l, 1)
    (292803, 200000, 398603, 1294.8)
    """
    if not (r.t_min <= temperature <= r.t_max):
        return _beyond(r, temperature)
    c = r.saturated
    i, f = place((temperature - r.t_min) * r.per_t, c.shape[0] - 3)
    w = weights(f)
    p = w.a * c[i, 0] + w.b * c[i + 1, 0] + w.c * c[i + 2, 0] + w.d * c[i + 3, 0]
    rho_v = w.a * c[i, 1] + w.b * c[i + 1, 1] + w.c * c[i + 2, 1] + w.d * c[i + 3, 1]
    h_v = w.a * c[i, 2] + w.b * c[i + 1, 2] + w.c * c[i + 2, 2] + w.d * c[i + 3, 2]
    s_v = w.a * c[i, 3] + w.b * c[i + 1, 3] + w.c * c[i + 2, 3] + w.d * c[i + 3, 3]
    rho_l = w.a * c[i, 4] + w.b * c[i + 1, 4] + w.c * c[i + 2, 4] + w.d * c[i + 3, 4]
    h_l = w.a * c[i, 5] + w.b * c[i + 1, 5] + w.c * c[i + 2, 5] + w.d * c[i + 3, 5]
    s_l = w.a * c[i, 6] + w.b * c[i + 1, 6] + w.c * c[i + 2, 6] + w.d * c[i + 3, 6]
    cp_l = w.a * c[i, 7] + w.b * c[i + 1, 7] + w.c * c[i + 2, 7] + w.d * c[i + 3, 7]
    cp_v = w.a * c[i, 8] + w.b * c[i + 1, 8] + w.c * c[i + 2, 8] + w.d * c[i + 3, 8]
    mu_l = w.a * c[i, 9] + w.b * c[i + 1, 9] + w.c * c[i + 2, 9] + w.d * c[i + 3, 9]
    mu_v = w.a * c[i, 10] + w.b * c[i + 1, 10] + w.c * c[i + 2, 10] + w.d * c[i + 3, 10]
    k_l = w.a * c[i, 11] + w.b * c[i + 1, 11] + w.c * c[i + 2, 11] + w.d * c[i + 3, 11]
    k_v = w.a * c[i, 12] + w.b * c[i + 1, 12] + w.c * c[i + 2, 12] + w.d * c[i + 3, 12]
    return Saturation(p, rho_l, rho_v, h_l, h_v, s_l, s_v, cp_l, cp_v, mu_l, mu_v, k_l, k_v)


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _reach(r: Refrigerant, t: float) -> tuple[float, float]:
    """How far t lies beyond the table [K], and the shorter way that straight lines are followed."""
    if t > r.t_max:
        d = t - r.t_max
        return d, WARM_REACH * d / (WARM_REACH + d) if d < 1e9 else WARM_REACH
    d = t - r.t_min
    return d, COLD_REACH * d / (COLD_REACH - d) if d > -1e9 else -COLD_REACH


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _grown(value: float, slope: float, d: float) -> float:
    """The exponential with this value and slope at d = 0, held finite and above zero."""
    return value * math.exp(min(max(slope / value * d, -60.0), 60.0))


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _dry_beyond(r: Refrigerant, t: float) -> _Dry:
    d, e = _reach(r, t)
    end = 1 if t > r.t_max else 0
    v, m = r.edges[end], r.edge_slopes[end]
    return _Dry(_grown(v[0], m[0], d), _grown(v[1], m[1], e if end else d), v[2] + m[2] * e, v[3] + m[3] * e)


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _beyond(r: Refrigerant, t: float) -> Saturation:
    """As `saturation` outside the table: ln p straight, the rest along damped straight lines."""
    _, e = _reach(r, t)
    end = 1 if t > r.t_max else 0
    v, m = r.edges[end], r.edge_slopes[end]
    dry = _dry_beyond(r, t)
    return Saturation(
        dry.p,
        v[4] + m[4] * e,
        dry.rho,
        v[5] + m[5] * e,
        dry.h,
        v[6] + m[6] * e,
        dry.s,
        _grown(v[7], m[7], e),
        _grown(v[8], m[8], e),
        _grown(v[9], m[9], e),
        _grown(v[10], m[10], e),
        _grown(v[11], m[11], e),
        _grown(v[12], m[12], e),
    )


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _dry(r: Refrigerant, t: float) -> _Dry:
    if not (r.t_min <= t <= r.t_max):
        return _dry_beyond(r, t)
    c = r.saturated
    i, f = place((t - r.t_min) * r.per_t, c.shape[0] - 3)
    w = weights(f)
    return _Dry(
        w.a * c[i, 0] + w.b * c[i + 1, 0] + w.c * c[i + 2, 0] + w.d * c[i + 3, 0],
        w.a * c[i, 1] + w.b * c[i + 1, 1] + w.c * c[i + 2, 1] + w.d * c[i + 3, 1],
        w.a * c[i, 2] + w.b * c[i + 1, 2] + w.c * c[i + 2, 2] + w.d * c[i + 3, 2],
        w.a * c[i, 3] + w.b * c[i + 1, 3] + w.c * c[i + 2, 3] + w.d * c[i + 3, 3],
    )


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def saturation_pressure(r: Refrigerant, temperature: float) -> float:
    """Saturation pressure [Pa] at a temperature [K]; ln p goes on straight beyond the table.

    Source: CoolProp (HEOS).

    >>> from loopwright.fluids import refrigerant
    >>> round(saturation_pressure(refrigerant("R1234yf"), 293.15) / 1e3, 1)
    591.8
    """
    return _dry(r, temperature).p


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def saturation_temperature(r: Refrigerant, pressure: float) -> float:
    """Saturation temperature [K] at a pressure [Pa, absolute]; straight in ln p beyond the table.

    Source: CoolProp (HEOS).

    >>> from loopwright.fluids import refrigerant
    >>> round(saturation_temperature(refrigerant("R134a"), 101325.0) - 273.15, 2)
    -26.07
    """
    lnp = math.log(max(pressure, LOWEST_PRESSURE))
    return curve(r.t_of_lnp, (lnp - r.lnp_first) * r.per_lnp)


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def liquid_temperature(r: Refrigerant, enthalpy: float) -> float:
    """Temperature [K] of liquid with the enthalpy [J/kg], on the saturation line; straight beyond the table.

    Source: CoolProp (HEOS). The pressure's own effect on subcooled liquid is left out (see the module).

    >>> from loopwright.fluids import refrigerant
    >>> round(liquid_temperature(refrigerant("R134a"), 256.41e3) - 273.15, 2)
    40.0
    """
    return curve(r.t_of_hl, (enthalpy - r.hl_first) * r.per_hl)


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _row(r: Refrigerant, t_sat: float) -> float:
    """Where t_sat lies in the superheat tables [rows from the first]; beyond them the end row serves."""
    return (min(max(t_sat, r.t_min), r.t_max) - r.t_min) * r.per_row


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _above(table: Any, row: float, x: float) -> float:
    """Value over saturation in a superheat table at x [columns]; straight lines outside the table."""
    inside = min(max(x, 0.0), float(table.shape[1] - 3))
    i, f = place(row, table.shape[0] - 3)
    j, g = place(inside, table.shape[1] - 3)
    w = weights(f)
    y = surface(table, i, w, j, weights(g))
    if x != inside:
        y += (x - inside) * surface(table, i, w, j, slopes(g))
    return y


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _three(c: Any, i: int, w: Weights, j: int, v: Weights) -> tuple[float, float, float]:
    """The three values of the vapour table in one cell."""
    x, y, z = 0.0, 0.0, 0.0
    for row, share in ((i, w.a), (i + 1, w.b), (i + 2, w.c), (i + 3, w.d)):
        x += share * (v.a * c[row, j, 0] + v.b * c[row, j + 1, 0] + v.c * c[row, j + 2, 0] + v.d * c[row, j + 3, 0])
        y += share * (v.a * c[row, j, 1] + v.b * c[row, j + 1, 1] + v.c * c[row, j + 2, 1] + v.d * c[row, j + 3, 1])
        z += share * (v.a * c[row, j, 2] + v.b * c[row, j + 1, 2] + v.c * c[row, j + 2, 2] + v.d * c[row, j + 3, 2])
    return x, y, z


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def vapour(r: Refrigerant, saturation_temperature: float, enthalpy: float) -> Vapour:
    """Superheated vapour at the pressure that belongs to a saturation temperature [K], with an enthalpy [J/kg].

    Valid for superheat from 0 to 120 K; straight lines beyond, and below saturation. Source: CoolProp (HEOS).

    >>> from loopwright.fluids import refrigerant
    >>> v = vapour(refrigerant("R134a"), 273.15, 407.68e3)
    >>> round(v.t - 273.15, 1), round(v.rho, 2), round(v.s)
    (10.2, 13.72, 1760)
    """
    return _vapour(r, saturation_temperature, _dry(r, saturation_temperature), enthalpy)


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _vapour(r: Refrigerant, t_sat: float, dry: _Dry, h: float) -> Vapour:
    c = r.superheated
    x = (h - dry.h) * r.per_dh
    inside = min(max(x, 0.0), float(c.shape[1] - 3))
    i, f = place(_row(r, t_sat), c.shape[0] - 3)
    j, g = place(inside, c.shape[1] - 3)
    w = weights(f)
    dt, ds, v = _three(c, i, w, j, weights(g))
    if x != inside:
        dt1, ds1, v1 = _three(c, i, w, j, slopes(g))
        e = x - inside
        dt, ds, v = dt + dt1 * e, ds + ds1 * e, max(v + v1 * e, FEWEST_SHARE)
    return Vapour(t_sat + dt, dry.rho / v, dry.s + ds)


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def isentrope(r: Refrigerant, saturation_temperature: float, entropy: float) -> float:
    """Enthalpy [J/kg] of vapour at the pressure of a saturation temperature [K] with an entropy [J/(kg K)].

    Valid for superheat from 0 to 120 K; straight lines beyond, and below saturation. Source: CoolProp (HEOS).

    >>> from loopwright.fluids import refrigerant
    >>> r = refrigerant("R134a")
    >>> round(isentrope(r, 323.15, saturation(r, 273.15).s_v) / 1e3, 2)
    429.9
    """
    dry = _dry(r, saturation_temperature)
    return dry.h + _above(r.dh_of_ds, _row(r, saturation_temperature), (entropy - dry.s) * r.per_ds)


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def vapour_enthalpy(r: Refrigerant, saturation_temperature: float, temperature: float) -> float:
    """Enthalpy [J/kg] of vapour at the pressure of a saturation temperature [K], at its own temperature [K].

    Valid for superheat from 0 to 120 K; straight lines beyond, and below saturation. Source: CoolProp (HEOS).

    >>> from loopwright.fluids import refrigerant
    >>> round(vapour_enthalpy(refrigerant("R134a"), 273.15, 283.15) / 1e3, 2)
    407.51
    """
    excess = (temperature - saturation_temperature) * r.per_dt
    return _dry(r, saturation_temperature).h + _above(r.dh_of_dt, _row(r, saturation_temperature), excess)


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _liquid(r: Refrigerant, t_sat: float, h_l: float, h: float) -> float:
    """Temperature [K] of liquid at h, exactly t_sat when h is h_l, inside the tables and beyond."""
    return t_sat + liquid_temperature(r, h) - liquid_temperature(r, h_l)


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def temperature(r: Refrigerant, saturation_temperature: float, enthalpy: float) -> float:
    """Temperature [K] at the pressure of a saturation temperature [K] and an enthalpy [J/kg], in any phase.

    Liquid (on the saturation line), mixture, vapour to 120 K of superheat; continuous. Source: CoolProp (HEOS).

    >>> from loopwright.fluids import refrigerant
    >>> r = refrigerant("R134a")
    >>> [round(temperature(r, 313.15, h) - 273.15, 1) for h in (240e3, 300e3, 430e3)]
    [28.8, 40.0, 49.5]
    """
    s = saturation(r, saturation_temperature)
    if enthalpy < s.h_l:
        return _liquid(r, saturation_temperature, s.h_l, enthalpy)
    if enthalpy <= s.h_v:
        return saturation_temperature
    return _vapour(r, saturation_temperature, _Dry(s.p, s.rho_v, s.h_v, s.s_v), enthalpy).t


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def density(r: Refrigerant, saturation_temperature: float, enthalpy: float) -> float:
    """Density [kg/m3] at the pressure of a saturation temperature [K] and an enthalpy [J/kg], in any phase.

    Liquid (on the saturation line), homogeneous mixture, vapour to 120 K of superheat; continuous.
    Source: CoolProp (HEOS).

    >>> from loopwright.fluids import refrigerant
    >>> r = refrigerant("R134a")
    >>> [round(density(r, 313.15, h), 1) for h in (240e3, 300e3, 430e3)]
    [1192.1, 167.3, 47.0]
    """
    s = saturation(r, saturation_temperature)
    if enthalpy < s.h_l:
        cold = saturation(r, _liquid(r, saturation_temperature, s.h_l, enthalpy))
        return cold.rho_l
    if enthalpy <= s.h_v:
        x = (enthalpy - s.h_l) / (s.h_v - s.h_l)
        return 1.0 / (x / s.rho_v + (1.0 - x) / s.rho_l)
    return _vapour(r, saturation_temperature, _Dry(s.p, s.rho_v, s.h_v, s.s_v), enthalpy).rho


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def superheated_density(r: Refrigerant, pressure: float, temperature: float) -> float:
    """Density [kg/m3] of vapour at a pressure [Pa, absolute] below saturation at its temperature [K].

    By the compressibility factor against p over saturation pressure, from vacuum to saturation; the temperature range
    is that of the tables. Above saturation pressure the same line goes on. Source: CoolProp (HEOS).

    >>> from loopwright.fluids import refrigerant
    >>> round(superheated_density(refrigerant("R134a"), 200e3, 303.15), 2)
    8.42
    """
    x = pressure / saturation_pressure(r, temperature) * r.per_x
    z = _above(r.compressibility, _row(r, temperature), x)
    return pressure / (max(z, FEWEST_SHARE) * r.gas_constant * max(temperature, 1.0))
