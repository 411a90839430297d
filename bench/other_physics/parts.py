"""Compressor, expansion devices, accumulator: what moves the refrigerant."""

import numpy as np
from numba import njit

from .coils import quality
from .properties import HL, HV, RL, SL, SV, T, density, enthalpy_ps, entropy, liquid, psat, sat, temperature

R_GAS = 8.314462618
USABLE = 0.5  # share of an accumulator below the pick-up of its outlet pipe


@njit(cache=True)
def sigmoid(z):
    return 1.0 / (1.0 + np.exp(min(max(-z, -60.0), 60.0)))


@njit(cache=True)
def nozzle_flow(f, area, p1, t1, p2):
    """Leak through a perfect-gas nozzle (kg/s), choked above the critical pressure ratio; gamma 1.12."""
    k = 1.12
    r = R_GAS / f.molar_mass
    pr = max(p2 / p1, (2.0 / (k + 1.0)) ** (k / (k - 1.0)))
    if pr >= 1.0:
        return 0.0
    flow = 2.0 * k / (k - 1.0) * (pr ** (2.0 / k) - pr ** ((k + 1.0) / k))
    return area * p1 / np.sqrt(r * t1) * np.sqrt(max(flow, 0.0))


@njit(cache=True)
def stroke_and_speed(f, c, ps, pd, p_ei):
    """Stroke share and speed (1/s) that the control asks for; both saturate smoothly at their limits."""
    stroke, speed = c.stroke_max, c.speed
    if c.kind == 1.0:
        set_point = c.p_set - c.p_droop * (pd - 1.5e6)
        stroke = c.stroke_min + (c.stroke_max - c.stroke_min) * sigmoid((ps - set_point) / 7e3)
    elif c.kind == 2.0:
        demand = sigmoid((sat(f, p_ei, T) - c.t_set) / 0.9) * sigmoid((2.55e6 - pd) / 7e4)
        speed = c.speed_min + (c.speed - c.speed_min) * demand
    return stroke, speed


@njit(cache=True)
def compressor(f, c, ps, hs, pd, stroke, speed):
    """Semi-empirical compressor (after Winandy, Saavedra and Lebrun 2002).

    Suction throttling, suction heating by a lumped wall, leakage back through a nozzle, re-expansion of the clearance
    gas, isentropic compression with an indicated efficiency, constant-torque and proportional friction, heat to the
    engine bay. Returns mass flow, discharge enthalpy, shaft power.
    """
    cp, k = 1050.0, 1.08
    wall, m, hd, m_leak = 330.0, 0.02, hs + 4e4, 0.0
    work = 0.0
    ts = temperature(f, ps, hs)
    swept = c.displacement * stroke * speed
    p3 = pd * (1.0 + c.valve_loss * (speed / 30.0) ** 2 * stroke)
    for _ in range(40):
        p1 = ps * (1.0 - c.valve_loss * (speed / 30.0) ** 2 * stroke)
        q_su = m * cp * (1.0 - np.exp(-c.ua_su * max(m / 0.04, 0.05) ** 0.8 / (m * cp))) * (wall - ts)
        h1 = hs + q_su / m
        td = temperature(f, pd, hd)
        m_leak = nozzle_flow(f, c.leak_area, p3, td, p1)
        h2 = (m * h1 + m_leak * hd) / (m + m_leak)
        clearance = c.clearance / max(stroke, 0.15) ** 0.3
        eta = max(1.0 + clearance - clearance * (p3 / p1) ** (1.0 / k), 0.02) * (
            1.0 - c.filling_loss * (speed / 60.0) ** 2
        )
        inflow = swept * eta * density(f, p1, h2)
        m_new = max(inflow - m_leak, 0.02 * inflow)
        h3 = h2 + (enthalpy_ps(f, p3, entropy(f, p1, h2)) - h2) / c.eta_indicated
        work = (m_new + m_leak) * (h3 - h2)
        friction = (c.torque * (0.5 + 0.5 * stroke)) * 6.2832 * speed + 0.06 * work
        t3 = temperature(f, pd, h3)
        q_ex = m_new * cp * (1.0 - np.exp(-c.ua_ex * max(m_new / 0.04, 0.05) ** 0.8 / (m_new * cp))) * (t3 - wall)
        balance = friction + q_ex - q_su - c.ua_bay * (wall - c.t_bay)
        wall += 0.6 * balance / (c.ua_su + c.ua_ex + c.ua_bay)
        wall = min(max(wall, 270.0), 450.0)
        hd = 0.5 * hd + 0.5 * (h3 - q_ex / m_new)
        hd = min(hd, sat(f, pd, HV) + 1.5e5)
        m = 0.4 * m + 0.6 * m_new
    return m, hd, work * 1.06 + c.torque * (0.5 + 0.5 * stroke) * 6.2832 * speed


@njit(cache=True)
def orifice_flux(f, c, p1, h1, p2):
    """Mass flux of a short tube (kg/m2s): homogeneous isentropic flash, partly frozen (non-equilibrium share c.frozen).

    Equilibrium flux is the largest of rho sqrt(2 dh) on the way down; frozen flow is the incompressible flux to the
    flash pressure, after the homogeneous non-equilibrium family of models (Henry and Fauske 1971).
    """
    hl, hv = sat(f, p1, HL), sat(f, p1, HV)
    if h1 > hv:
        return 0.5 * np.sqrt(max(p1 - p2, 0.0) * density(f, p1, h1))
    if h1 <= hl:
        p_flash = min(psat(f, liquid(f, h1, 0)), p1)
        s1 = sat(f, p_flash, SL)
        rho = liquid(f, h1, 1)
        frozen = np.sqrt(2.0 * rho * max(p1 - 0.80 * p_flash, 0.0))
        h_stag = sat(f, p_flash, HL) + (p1 - p_flash) / rho
    else:
        x = (h1 - hl) / (hv - hl)
        s1 = sat(f, p1, SL) + x * (sat(f, p1, SV) - sat(f, p1, SL))
        rho = density(f, p1, h1)
        frozen = np.sqrt(2.0 * rho * 0.20 * p1)
        h_stag, p_flash = h1, p1
    best = 0.0
    lo, hi = np.log(max(p2, 3e4)), np.log(p_flash)
    a, b = lo, hi
    for _ in range(24):
        u, w = a + 0.382 * (b - a), a + 0.618 * (b - a)
        if flash_flux(f, np.exp(u), s1, h_stag) < flash_flux(f, np.exp(w), s1, h_stag):
            a = u
        else:
            b = w
    best = flash_flux(f, np.exp(0.5 * (a + b)), s1, h_stag)
    if h1 <= hl:
        best = max(best, np.sqrt(2.0 * rho * max(p1 - p_flash, 0.0)))
    return (1.0 - c.frozen) * best + c.frozen * max(frozen, best)


@njit(cache=True)
def flash_flux(f, p, s1, h_stag):
    """Isentropic equilibrium mass flux at throat pressure p."""
    h = enthalpy_ps(f, p, s1)
    return density(f, p, h) * np.sqrt(2.0 * max(h_stag - h, 0.0))


@njit(cache=True)
def valve_flow(f, c, p1, h1, p2, p_out, t_out):
    """Flow through the expansion device (kg/s).

    Thermostatic valve: bulb pressure of the parallel charge less evaporator pressure less spring lifts the needle;
    flow by Wile's coefficient; the opening saturates smoothly. Orifice tube: `orifice_flux` times its contracted bore.
    """
    if c.orifice > 0.5:
        return c.contraction * c.valve_area * c.area_fraction * orifice_flux(f, c, p1, h1, p2)
    if c.stuck > 0.0:
        opening = c.stuck
    else:
        lift = (psat(f, t_out + c.bulb_offset) - p_out - c.spring) / c.spring_range
        opening = min(c.bleed + softplus(lift), 4.0)
        opening = opening / (1.0 + (opening / c.area_fraction) ** 6) ** (1.0 / 6.0)
    rho = density(f, p1, h1)
    cd = min(0.02005 * np.sqrt(rho) + 0.634 / max(density(f, p2, h1), 5.0), 0.8)
    x = quality(f, p1, h1)
    drop = max(p1 - p2, 1.0)
    if x > -0.05:
        drop *= 1.0 - 0.45 * sigmoid(x / 0.006)  # flashing ahead of the seat chokes the valve
    return cd * c.valve_area * opening * np.sqrt(2.0 * rho * drop)


@njit(cache=True)
def softplus(z):
    """Smooth max(z, 0) with a knee of 0.05."""
    k = 0.05
    return z if z > 40 * k else k * np.log1p(np.exp(max(z, -40 * k) / k))


@njit(cache=True)
def accumulator(f, c, p, h, m):
    """Liquid level (share of the usable height) at which the oil bleed passes just the liquid that arrives; mass."""
    if c.acc_volume <= 0.0:
        return 0.0, 0.0
    wet = max(1.0 - quality(f, p, h), 0.0) * m / c.bleed_flow
    y = wet * wet
    level = y / (1.0 + y**4) ** 0.25
    room = c.acc_volume - c.oil_extra
    rho_v = density(f, p, max(h, sat(f, p, HV)))
    return level, room * (level * USABLE * sat(f, p, RL) + (1.0 - USABLE * level) * rho_v)
