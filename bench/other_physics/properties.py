"""Refrigerant property tables made once from CoolProp, and fast look-ups in them.

Saturation lies on a uniform grid of ln p, vapour on (ln p, h - h_v), subcooled liquid on h alone (incompressible).
A contaminated charge is a pseudo-pure fluid: Raoult with one Margules constant, vapour by Dalton, liquid by additive
volumes; the pressure is the geometric mean of bubble and dew pressure, so temperature glide is not resolved.
"""

from functools import cache
from typing import NamedTuple

import CoolProp
import numpy as np
from numba import njit

T, HL, HV, RL, RV, CPL, CPV, ML, MV, KL, KV, SG, SL, SV = range(14)
N_SAT, N_P, N_H = 700, 120, 140
DH_MAX, DS_MAX = 190e3, 480.0
# Margules constants (ln gamma = A (1-x)^2), from memory and rounded: hydrocarbon with fluorocarbon deviates strongly.
MARGULES = {"n-Propane": 1.0, "IsoButane": 1.0, "R22": 0.15, "R12": 0.6, "R152A": 0.05, "R134a": 0.2, "R1234yf": 0.2}


class Fluid(NamedTuple):
    """Tables of one refrigerant; columns of `sat` by the names above."""

    lnp0: float
    dlnp: float
    sat: np.ndarray  # (N_SAT, 14)
    lnp0v: float
    dlnpv: float
    vap: np.ndarray  # (N_P, N_H, 3): temperature, density, entropy over h - h_v
    isen: np.ndarray  # (N_P, N_H): h - h_v over s - s_v
    h0: float
    dh: float
    liq: np.ndarray  # (n, 5): temperature, density, viscosity, conductivity, heat capacity over h
    molar_mass: float


@cache
def load(base: str, other: str = "", fraction: float = 0.0) -> Fluid:
    """Tables of `base`, with a mass `fraction` of `other` mixed in."""
    names = [base, other] if other else [base]
    w = np.array([1.0 - fraction, fraction]) if other else np.array([1.0])
    return _tables([CoolProp.AbstractState("HEOS", n) for n in names], w, MARGULES.get(other, 0.0))


def _mole_fractions(states: list, w: np.ndarray) -> np.ndarray:
    n = w / np.array([s.molar_mass() for s in states])
    return n / n.sum()


def _equilibrium(p_i: np.ndarray, z: np.ndarray, a: float) -> tuple[float, np.ndarray]:
    """Pseudo-pure pressure and vapour mole fractions at one temperature."""
    gamma = np.exp(a * (1.0 - z) ** 2)
    bubble = float(np.sum(z * gamma * p_i))
    y = z * gamma * p_i / bubble
    x = z.copy()
    for _ in range(60):
        g = np.exp(a * (1.0 - x) ** 2)
        dew = 1.0 / float(np.sum(z / (g * p_i)))
        x = 0.5 * x + 0.5 * z * dew / (g * p_i)
        x /= x.sum()
    return float(np.sqrt(bubble * dew)), 0.5 * (y + z)


def _saturation_row(states: list, w: np.ndarray, z: np.ndarray, a: float, temperature: float) -> tuple[float, list]:
    p_i, liquid, vapour = [], [], []
    for s in states:
        s.unspecify_phase()
        s.update(CoolProp.QT_INPUTS, 0.0, temperature)
        p_i.append(s.p())
        liquid.append(
            (s.hmass(), s.rhomass(), s.cpmass(), s.viscosity(), s.conductivity(), s.surface_tension(), s.smass())
        )
        s.update(CoolProp.QT_INPUTS, 1.0, temperature)
        vapour.append((s.hmass(), s.rhomass(), s.cpmass(), s.viscosity(), s.conductivity(), s.smass()))
    if len(states) == 1:
        lq, v = liquid[0], vapour[0]
        return p_i[0], [
            temperature,
            lq[0],
            v[0],
            lq[1],
            v[1],
            lq[2],
            v[2],
            lq[3],
            v[3],
            lq[4],
            v[4],
            lq[5],
            lq[6],
            v[5],
        ]
    p, y = _equilibrium(np.array(p_i), z, a)
    lq, v = w @ np.array(liquid), w @ np.array(vapour)
    h, rho, s_vapour = _mixed_gas(states, w, y, temperature, p)
    gas_constants = 8.314462618 / np.array([s.molar_mass() for s in states])
    s_liquid = lq[6] - float(np.sum(w * gas_constants * np.log(z)))
    density = 1.0 / float(np.sum(w / np.array(liquid)[:, 1]))
    return p, [temperature, lq[0], h, density, rho, lq[2], v[2], lq[3], v[3], lq[4], v[4], lq[5], s_liquid, s_vapour]


def _mixed_gas(states: list, w: np.ndarray, y: np.ndarray, temperature: float, p: float) -> tuple[float, float, float]:
    """Enthalpy, density and entropy of the gas by Dalton's law."""
    h = rho = entropy = 0.0
    for s, wi, yi in zip(states, w, y, strict=True):
        s.specify_phase(CoolProp.iphase_gas)
        s.update(CoolProp.PT_INPUTS, p * yi, temperature)
        h += wi * s.hmass()
        rho += s.rhomass()
        entropy += wi * s.smass()
        s.unspecify_phase()
    return h, rho, entropy


def _tables(states: list, w: np.ndarray, a: float) -> Fluid:
    z = _mole_fractions(states, w)
    t = np.linspace(222.0, 0.99 * min(s.T_critical() for s in states), 400)
    rows = [_saturation_row(states, w, z, a, ti) for ti in t]
    lnp = np.log([r[0] for r in rows])
    raw = np.array([r[1] for r in rows])
    grid = np.linspace(lnp[0], lnp[-1], N_SAT)
    sat = np.array([np.interp(grid, lnp, raw[:, c]) for c in range(14)]).T
    h = np.linspace(raw[0, HL], raw[-1, HL], 500)
    liq = np.array([np.interp(h, raw[:, HL], raw[:, c]) for c in (T, RL, ML, KL, CPL)]).T
    lnp_v = np.linspace(lnp[0], lnp[-1], N_P)
    vap, isen = np.empty((N_P, N_H, 3)), np.empty((N_P, N_H))
    dh, ds = np.linspace(0, DH_MAX, N_H), np.linspace(0, DS_MAX, N_H)
    for j, ln_p in enumerate(lnp_v):
        start = [np.interp(ln_p, lnp, raw[:, c]) for c in (T, HV, RV, SV)]
        column = _superheat_column(states, w, z, np.exp(ln_p), start)
        for c, k in enumerate((0, 2, 3)):
            vap[j, :, c] = np.interp(dh, column[:, 1] - start[1], column[:, k])
        isen[j] = np.interp(ds, column[:, 3] - start[3], column[:, 1] - start[1])
    molar = 1.0 / float(np.sum(w / np.array([s.molar_mass() for s in states])))
    return Fluid(
        grid[0], grid[1] - grid[0], sat, lnp_v[0], lnp_v[1] - lnp_v[0], vap, isen, h[0], h[1] - h[0], liq, molar
    )


def _superheat_column(states: list, w: np.ndarray, z: np.ndarray, p: float, start: list) -> np.ndarray:
    """Rows of (T, h, rho, s) from the saturated vapour upwards at one pressure."""
    rows = [tuple(start)]
    for dt in np.concatenate([np.linspace(0.5, 20, 20), np.linspace(24, 230, 45)]):
        if len(states) == 1:
            s = states[0]
            s.specify_phase(CoolProp.iphase_gas if p < 0.9 * s.p_critical() else CoolProp.iphase_not_imposed)
            s.update(CoolProp.PT_INPUTS, p, start[0] + dt)
            rows.append((start[0] + dt, s.hmass(), s.rhomass(), s.smass()))
        else:
            h, rho, entropy = _mixed_gas(states, w, z, start[0] + dt, p)
            rows.append((start[0] + dt, h, rho, entropy))
    return np.array(rows)


@njit(cache=True)
def sat(f, p, col):
    """One saturation property at pressure p (Pa)."""
    u = (np.log(max(p, 1.0)) - f.lnp0) / f.dlnp
    u = min(max(u, 0.0), f.sat.shape[0] - 1.000001)
    i = int(u)
    w = u - i
    return f.sat[i, col] * (1.0 - w) + f.sat[i + 1, col] * w


@njit(cache=True)
def psat(f, temperature):
    """Saturation pressure (Pa) by bisection on the table."""
    lo, hi = 0, f.sat.shape[0] - 1
    while hi - lo > 1:
        mid = (lo + hi) // 2
        if f.sat[mid, T] > temperature:
            hi = mid
        else:
            lo = mid
    w = (temperature - f.sat[lo, T]) / (f.sat[hi, T] - f.sat[lo, T])
    return np.exp(f.lnp0 + (lo + w) * f.dlnp)


@njit(cache=True)
def _bilinear(tab, u, v):
    u = min(max(u, 0.0), tab.shape[0] - 1.000001)
    v = min(max(v, 0.0), tab.shape[1] - 1.000001)
    i, j = int(u), int(v)
    a, b = u - i, v - j
    low = tab[i, j] * (1 - b) + tab[i, j + 1] * b
    return low * (1 - a) + (tab[i + 1, j] * (1 - b) + tab[i + 1, j + 1] * b) * a


@njit(cache=True)
def vapour(f, p, h, col):
    """Temperature (0), density (1) or entropy (2) of superheated vapour at p and h."""
    u = (np.log(max(p, 1.0)) - f.lnp0v) / f.dlnpv
    dh = h - sat(f, p, HV)
    return _bilinear(f.vap[:, :, col], u, dh / DH_MAX * (f.vap.shape[1] - 1))


@njit(cache=True)
def liquid(f, h, col):
    """Temperature (0), density (1), viscosity (2), conductivity (3), heat capacity (4) of liquid of enthalpy h."""
    u = min(max((h - f.h0) / f.dh, 0.0), f.liq.shape[0] - 1.000001)
    i = int(u)
    w = u - i
    return f.liq[i, col] * (1 - w) + f.liq[i + 1, col] * w


@njit(cache=True)
def temperature(f, p, h):
    """Temperature (K) at p and h in any phase."""
    if h >= sat(f, p, HV):
        return vapour(f, p, h, 0)
    if h <= sat(f, p, HL):
        return liquid(f, h, 0)
    return sat(f, p, T)


@njit(cache=True)
def density(f, p, h):
    """Homogeneous density (kg/m3) at p and h in any phase."""
    hl, hv = sat(f, p, HL), sat(f, p, HV)
    if h >= hv:
        return vapour(f, p, h, 1)
    if h <= hl:
        return liquid(f, h, 1)
    x = (h - hl) / (hv - hl)
    return 1.0 / (x / sat(f, p, RV) + (1.0 - x) / sat(f, p, RL))


@njit(cache=True)
def entropy(f, p, h):
    """Entropy (J/kg K) of vapour or two-phase refrigerant."""
    hl, hv = sat(f, p, HL), sat(f, p, HV)
    if h >= hv:
        return vapour(f, p, h, 2)
    x = (h - hl) / (hv - hl)
    return sat(f, p, SL) + x * (sat(f, p, SV) - sat(f, p, SL))


@njit(cache=True)
def enthalpy_ps(f, p, s):
    """Enthalpy (J/kg) at p and entropy s, vapour or two-phase."""
    sv, hv = sat(f, p, SV), sat(f, p, HV)
    if s >= sv:
        u = (np.log(max(p, 1.0)) - f.lnp0v) / f.dlnpv
        return hv + _bilinear(f.isen, u, (s - sv) / DS_MAX * (f.isen.shape[1] - 1))
    sl, hl = sat(f, p, SL), sat(f, p, HL)
    return hl + (s - sl) / (sv - sl) * (hv - hl)
