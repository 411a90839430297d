"""What the clutch makes of the loop: hysteresis on low pressure, fin temperature or high pressure, with time constants.

A quasi-steady substitute for a dynamic model: between switchings the pressures relax towards the steady running state
(clutch in) or towards equalised pressure (clutch out), the coil towards its own steady temperature.
"""

from typing import NamedTuple

import numpy as np

from .cars import Vehicle
from .loop import Car, State
from .properties import Fluid, T, psat, sat


class Running(NamedTuple):
    """Pressures (Pa), coil air (K) and capacity (W) as an onlooker sees them over the last minutes."""

    low: tuple[float, float, float]  # mean, minimum, maximum
    high: tuple[float, float, float]
    t_air: float
    fin: float
    capacity: float
    duty: float
    cycling: bool


def steady(s: State, port: float) -> Running:
    """No switching: mean, minimum and maximum agree."""
    return Running((s.ps,) * 3, (port,) * 3, s.t_air_out, s.fin, s.capacity, 1.0, False)


def must_cycle(v: Vehicle, c: Car, s: State) -> bool:
    """Whether any switch would open before the running state is reached."""
    if s.pd - c.p_atm > v.high_open:
        return True
    if v.kind != "fixed":
        return False
    if v.expansion == "orifice":
        return s.ps - c.p_atm < v.switch_open
    return s.fin < v.switch_open


def _off_targets(f: Fluid, c: Car) -> tuple[float, float]:
    equal = psat(f, min(c.t_evap_air, c.t_cond_air) - 4.0)
    return equal, psat(f, c.t_cond_air + 3.0)


def simulate(f: Fluid, v: Vehicle, c: Car, s: State, port: float) -> Running:
    """Run 400 s of hysteresis and look at the last 250 s."""
    thin = float(np.clip(c.charge / v.design.charge, 0.35, 1.2))
    tau_low, tau_high, tau_fin, tau_rise = v.clutch_times
    tau_low, tau_rise = tau_low * thin, tau_rise * (0.7 + 0.3 * thin)
    low_off, high_off = _off_targets(f, c)
    low, high, fin, air = low_off, high_off, c.t_evap_air - 2.0, c.t_evap_air
    on, dt, log = True, 0.25, []
    for i in range(1600):
        target = (s.ps, s.pd, s.fin, s.t_air_out) if on else (low_off, high_off, c.t_evap_air, c.t_evap_air)
        low += dt * (target[0] - low) / (tau_low if on else tau_rise)
        high += dt * (target[1] - high) / (tau_high if on else 2.2 * tau_high)
        warm = sat(f, low, T) + (s.fin - sat(f, s.ps, T)) if on else c.t_evap_air  # the coil follows its refrigerant
        fin += dt * (warm - fin) / (tau_fin if on else 2.6 * tau_fin)
        air += dt * (target[3] + (fin - s.fin if on else 0.0) - air) / (4.0 if on else 2.6 * tau_fin)
        on = _switch(v, c, on, low, high, fin, i)
        if i >= 600:
            log.append((low, high, air, fin, float(on)))
    lo, hi, ta, tf, duty = np.array(log).T
    share = (c.t_evap_air - ta.mean()) / max(c.t_evap_air - s.t_air_out, 1.0)
    drop = s.pd - port
    return Running(
        (lo.mean(), lo.min(), lo.max()), (hi.mean() - drop * duty.mean(), hi.min(), hi.max() - drop), float(ta.mean()),
        float(tf.min()), s.capacity * float(np.clip(share, 0.05, 1.0)), float(duty.mean()), True,
    )  # fmt: skip


def _switch(v: Vehicle, c: Car, on: bool, low: float, high: float, fin: float, i: int) -> bool:
    """Clutch after one look at the switches; while out it closes only when every switch has closed."""
    measured, opens, closes = (low - c.p_atm, v.switch_open, v.switch_close)
    if v.expansion == "thermostatic":
        measured = fin
    watch_low = v.kind == "fixed"
    if on:
        return not (high - c.p_atm > v.high_open or (watch_low and measured < opens and i > 8))
    return high - c.p_atm < v.high_close and (not watch_low or measured > closes)
