"""The closed loop: residuals of one steady state, and the solver that drives them to zero."""

from typing import NamedTuple

import numpy as np
from numba import njit
from scipy.optimize import least_squares

from .coils import condenser, evaporator, oil_lift, pipe, quality
from .parts import accumulator, compressor, stroke_and_speed, valve_flow
from .properties import HL, HV, Fluid, T, density, psat, sat, temperature

R_AIR_GAS = 287.05


class Car(NamedTuple):
    """Everything of one vehicle on one day, SI, floats only so that it compiles. Areas m2, volumes m3, UA W/K."""

    kind: float = 0.0  # 0 fixed, 1 internally controlled variable, 2 electric
    orifice: float = 0.0  # 1 orifice tube and accumulator, 0 thermostatic valve and receiver
    irc: float = 0.0  # 1 receiver ahead of the last condenser pass
    displacement: float = 150e-6  # m3 a revolution
    speed: float = 30.0  # compressor revolutions a second (upper limit if electric)
    speed_min: float = 14.0
    stroke_max: float = 1.0
    stroke_min: float = 0.04
    p_set: float = 2.85e5
    p_droop: float = 0.02
    t_set: float = 275.5
    clearance: float = 0.045
    leak_area: float = 2e-7
    valve_loss: float = 0.03
    filling_loss: float = 0.09
    ua_su: float = 12.0
    ua_ex: float = 12.0
    ua_bay: float = 4.0
    torque: float = 1.0  # N m
    eta_indicated: float = 0.86
    t_bay: float = 330.0
    cond_area_ref: float = 0.8
    cond_area_air: float = 5.0
    cond_flow: float = 3.2e-4
    cond_length: float = 0.6
    cond_d: float = 1.1e-3
    cond_volume: float = 0.45e-3
    cond_face: float = 0.25
    cond_velocity: float = 2.2
    cond_dp: float = 1.0
    fan_low: float = 1.0  # share of air at the low fan stage, taken below the pressure next
    fan_switch: float = 1.3e6
    rec_volume: float = 0.3e-3
    rec_z0: float = -0.015
    rec_width: float = 0.006
    acc_volume: float = 0.0
    bleed_flow: float = 2.5e-3
    evap_area_ref: float = 0.9
    evap_area_air: float = 3.0
    evap_flow: float = 3.3e-4
    evap_length: float = 0.9
    evap_d: float = 2e-3
    evap_volume: float = 0.45e-3
    evap_face: float = 0.055
    evap_air_volume: float = 0.12  # m3/s
    evap_dp: float = 1.0
    valve_area: float = 1.5e-6
    area_fraction: float = 1.0
    stuck: float = 0.0
    spring: float = 4e4
    spring_range: float = 6e4
    bulb_offset: float = 0.0
    bleed: float = 0.02
    frozen: float = 0.4
    contraction: float = 0.75  # of the stream at the sharp edge of an orifice tube, wall friction in it
    line_bore_d: float = 10e-3
    line_bore_l: float = 7e-3
    line_bore_s: float = 15e-3
    line_length_d: float = 1.0
    line_length_l: float = 2.0
    line_length_s: float = 1.5
    ua_d: float = 1.0
    ua_l: float = 0.6
    ua_s: float = 1.5
    passage: float = 12.6e-6  # effective healthy bore of drier and filters
    high_restriction: float = 1.0  # share of `passage`
    restriction_after: float = 0.0  # 1 after the drier, 0 between condenser and drier
    suction_passage: float = 120e-6
    suction_restriction: float = 1.0
    other_volume: float = 0.25e-3  # compressor and hoses on the low side
    oil: float = 0.03  # mass share in circulation
    oil_lift: float = 22.0  # K of boiling point at pure oil
    oil_extra: float = 0.0  # m3 of oil too much
    dissolved: float = 0.012  # kg of refrigerant held in the oil
    htc_factor: float = 1.0
    gas: float = 0.0  # kg of foreign gas on the high side
    charge: float = 0.6
    p_atm: float = 101325.0
    t_cond_air: float = 308.0
    t_evap_air: float = 305.0
    w_evap_air: float = 0.012


class State(NamedTuple):
    """One steady state."""

    pd: float
    ps: float
    p_ei: float
    p_co: float
    p_m: float  # half way along the liquid line, ahead of a restriction beyond the drier
    p_x: float
    p_eo: float
    m: float
    power: float
    capacity: float
    charge: float
    fill: float
    h_suction: float
    t_suction: float
    t_discharge: float
    t_cond_in: float
    t_cond_out: float
    t_drier_out: float
    t_x: float
    t_evap_in: float
    t_evap_out: float
    superheat: float
    subcooling: float
    t_air_out: float
    w_air_out: float
    fin: float
    stroke: float
    speed: float
    x_valve: float
    p_gas: float


@njit(cache=True)
def restriction_drop(m, rho, area):
    return m * m / (2.0 * rho * (0.7 * area) ** 2)


@njit(cache=True)
def high_side(f, c, pd, hd, m, p_gas):
    """Discharge pipe, condenser, liquid pipe with drier: the states along them, the charge and the gas they hold."""
    p_ci, h_ci, charge_d = pipe(f, pd, hd, m, c.line_bore_d, c.line_length_d, c.ua_d, c.t_bay, 4.0)
    p_co, h_co, charge_c, _, gas_volume, fill, _ = condenser(f, c, p_ci, h_ci, m, p_gas, c.t_cond_air)
    gas_volume += 0.35 * 0.7854 * c.line_bore_d**2 * c.line_length_d
    drop = restriction_drop(m, density(f, p_co, h_co), c.passage * c.high_restriction)
    p_drier = p_co if c.restriction_after > 0.5 else max(p_co - drop, 0.15 * p_co)
    half = 0.5 * c.line_length_l
    p_m, h_m, charge_1 = pipe(f, p_drier, h_co, m, c.line_bore_l, half, 0.5 * c.ua_l, c.t_bay, 3.0)
    drop_2 = drop if c.restriction_after > 0.5 else 0.0
    p_r = max(p_m - drop_2, 0.15 * p_m)
    p_x, h_x, charge_2 = pipe(f, p_r, h_m, m, c.line_bore_l, half, 0.5 * c.ua_l, c.t_bay, 3.0)
    charge = charge_d + charge_c + charge_1 + charge_2
    return p_ci, h_ci, p_co, h_co, p_drier, p_m, h_m, p_x, h_x, charge, gas_volume, fill


@njit(cache=True)
def residuals(f, c, u):
    """Closure errors of the loop at u = (ln pd, ln ps, hs / 1e5, ln p_ei, ln p_gas) and the state they belong to."""
    pd, ps, hs, p_ei, p_gas = np.exp(u[0]), np.exp(u[1]), u[2] * 1e5, np.exp(u[3]), 0.0
    if c.gas > 0.0:
        p_gas = min(np.exp(u[4]), 0.7 * pd)
    stroke, speed = stroke_and_speed(f, c, ps, pd, p_ei)
    m, hd, power = compressor(f, c, ps, hs, pd, stroke, speed)
    hi = high_side(f, c, pd, hd, m, p_gas)
    p_ci, h_ci, p_co, h_co, p_drier, p_m, h_m, p_x, h_x, charge, gas_volume, fill = hi
    p_eo, h_eo, charge_e, capacity, t_air, w_air, fin = evaporator(f, c, p_ei, h_x, m, c.t_evap_air, c.w_evap_air)
    t_eo = temperature(f, p_eo, h_eo) + oil_lift(f, c, p_eo, h_eo)
    level, charge_a = accumulator(f, c, p_eo, h_eo, m)
    rho_s = density(f, p_eo, h_eo)
    p_r = max(p_eo - restriction_drop(m, rho_s, c.suction_passage * c.suction_restriction), 0.15 * p_eo)
    ps_new, hs_new, charge_s = pipe(f, p_r, h_eo, m, c.line_bore_s, c.line_length_s, c.ua_s, c.t_bay, 5.0)
    m_valve = valve_flow(f, c, p_x, h_x, p_ei, p_eo, t_eo)
    charge += charge_e + charge_a + charge_s + c.other_volume * density(f, ps, hs) + c.dissolved
    r = np.zeros(5)
    r[0] = np.log(max(m_valve, 1e-6) / m)
    r[1] = (hs_new - hs) / 2e4
    r[2] = np.log(ps_new / ps)
    r[3] = (charge - c.charge) / c.charge
    if c.charge <= 0.0:
        r[3] = (fill if c.orifice < 0.5 else level) - (-c.charge)
    if c.gas > 0.0:
        r[4] = np.log(p_gas * gas_volume / (R_AIR_GAS * sat(f, pd, T)) / c.gas)
    t_co = temperature(f, p_co, h_co)
    state = State(
        pd, ps, p_ei, p_co, p_m, p_x, p_eo, m, power, capacity, charge, fill if c.orifice < 0.5 else level,
        hs, temperature(f, ps, hs) + oil_lift(f, c, ps, hs), temperature(f, pd, hd), temperature(f, p_ci, h_ci), t_co,
        temperature(f, p_m if c.restriction_after > 0.5 else p_drier, h_m), temperature(f, p_x, h_x),
        temperature(f, p_ei, h_x), t_eo, t_eo - sat(f, p_eo, T), sat(f, p_co, T) - t_co, t_air, w_air, fin, stroke,
        speed, quality(f, p_x, h_x), p_gas,
    )  # fmt: skip
    return r, state


LOW = np.array([np.log(2.5e5), np.log(2.5e4), 1.5, np.log(3e4), np.log(1.0)])
STEP = np.array([0.15, 0.2, 0.12, 0.2, 0.5])


def first_guess(f: Fluid, c: Car) -> np.ndarray:
    ps = min(psat(f, c.t_evap_air - 27.0) * 0.95, 4.5e5)
    pd = psat(f, min(c.t_cond_air + 18.0, f.sat[-1, T] - 8.0))
    return np.array([np.log(pd), np.log(ps), (sat(f, ps, HV) + 6e3) / 1e5, np.log(ps * 1.12), np.log(5e4)])


def _clip(f: Fluid, u: np.ndarray) -> np.ndarray:
    top = f.lnp0 + f.dlnp * (f.sat.shape[0] - 1) - 0.01
    ps = np.exp(u[1])
    hv, hl = sat(f, ps, HV), sat(f, ps, HL)
    low = np.array([LOW[0], LOW[1], (0.35 * hv + 0.65 * hl) / 1e5, LOW[3], LOW[4]])
    high = np.array([top, np.log(1.2e6), (hv + 7e4) / 1e5, np.log(1.4e6), np.log(1.5e6)])
    return np.clip(u, low, high)


def solve(f: Fluid, c: Car, u: np.ndarray | None = None) -> tuple[State, np.ndarray, float]:
    """Steady state by damped Newton with a numerical Jacobian; returns state, unknowns and the residual norm."""
    n = 5 if c.gas > 0.0 else 4
    u = _clip(f, first_guess(f, c) if u is None else u.copy())
    r, state = residuals(f, c, u)
    norm = float(np.linalg.norm(r[:n]))
    for _ in range(60):
        if norm < 1e-7:
            break
        jac = np.empty((n, n))
        for k in range(n):
            du = u.copy()
            du[k] += 2e-5
            jac[:, k] = (residuals(f, c, du)[0][:n] - r[:n]) / 2e-5
        step = np.linalg.lstsq(jac + 1e-12 * np.eye(n), -r[:n], rcond=1e-10)[0]
        step *= min(1.0, 1.0 / float(np.max(np.abs(step) / STEP[:n])))
        for scale in (1.0, 0.5, 0.25, 0.1, 0.03, 0.01):
            trial = u.copy()
            trial[:n] += scale * step
            trial = _clip(f, trial)
            r_new, s_new = residuals(f, c, trial)
            n_new = float(np.linalg.norm(r_new[:n]))
            if n_new < norm * (1.0 - 0.05 * scale):
                break
        else:
            return _polish(f, c, u, n)
        u, r, state, norm = trial, r_new, s_new, n_new
    return state, u, norm


def _polish(f: Fluid, c: Car, u: np.ndarray, n: int) -> tuple[State, np.ndarray, float]:
    """Trust-region least squares where Newton's line search stalls (a phase boundary's kink)."""

    def fun(v: np.ndarray) -> np.ndarray:
        w = u.copy()
        w[:n] = v
        return residuals(f, c, _clip(f, w))[0][:n]

    fit = least_squares(fun, u[:n], diff_step=1e-5, x_scale=STEP[:n], max_nfev=60, xtol=1e-12, ftol=1e-14, gtol=1e-12)
    w = u.copy()
    w[:n] = fit.x
    w = _clip(f, w)
    r, state = residuals(f, c, w)
    return state, w, float(np.linalg.norm(r[:n]))


def follow(f: Fluid, start: Car, u: np.ndarray, goal: Car) -> tuple[State, np.ndarray, float]:
    """Steady state of `goal` by continuation from the solved loop (`start`, `u`): halve the stride on failure."""
    state, v, norm = solve(f, goal, u)
    if norm < 1e-6:
        return state, v, norm
    start = start._replace(kind=goal.kind, restriction_after=goal.restriction_after)
    a, b = np.array(start), np.array(goal)
    if goal.gas > 0.0 and start.gas <= 0.0:
        a = np.array(start._replace(gas=0.02 * goal.gas))
        u = u.copy()
        u[4] = np.log(4e3)
    here, stride, slope = 0.0, 0.25, np.zeros(5)
    while here < 1.0 and stride > 2e-3:
        stride = min(stride, 1.0 - here)
        point = here + stride
        trial = Car(*(a + point * (b - a)).tolist())
        state, v, norm = solve(f, trial, u + slope * stride)
        if norm < 1e-6:
            slope = (v - u) / stride
            here, u, stride = point, v, stride * 1.6
        else:
            stride *= 0.4
            slope = slope * 0.0
    return (state, v, norm) if here >= 1.0 else by_storage(f, goal, u)


def by_storage(f: Fluid, goal: Car, u: np.ndarray) -> tuple[State, np.ndarray, float]:
    """Last resort: solve for a given filling of receiver or accumulator, bisect the filling until the charge agrees."""
    low, high = (-9.0, None), (9.0, None)
    v, logit = u, 0.0
    for _ in range(40):
        state, w, norm = solve(f, goal._replace(charge=-float(1.0 / (1.0 + np.exp(-logit)))), v)
        if norm < 1e-6:
            v = w
            if abs(state.charge - goal.charge) < 0.02 * goal.charge:
                state, w, norm = solve(f, goal, v)
                if norm < 1e-6:
                    return state, w, norm
            low, high = (low, (logit, w)) if state.charge > goal.charge else ((logit, w), high)
        else:
            high = (0.6 * high[0] + 0.4 * low[0], high[1])
        logit = 0.5 * (low[0] + high[0])
    return state, v, max(norm, 1.0)
