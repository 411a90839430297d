"""Condenser and evaporator marched along the refrigerant in segments, each in its own share of fresh cross-flow air."""

import numpy as np
from numba import njit

from .properties import HL, HV, RL, RV, T, density, liquid, sat, temperature, vapour
from .transfer import (
    CP_AIR,
    H_FG_WATER,
    boiling_htc,
    condensing_htc,
    humidity_ratio_saturated,
    liquid_htc,
    louvre_htc,
    two_phase_gradient,
    vapour_htc,
    void_fraction,
)

N_COND, N_EVAP = 20, 16
R_AIR = 287.05


@njit(cache=True)
def quality(f, p, h):
    """Thermodynamic quality, below 0 for subcooled, above 1 for superheated."""
    hl = sat(f, p, HL)
    return (h - hl) / (sat(f, p, HV) - hl)


@njit(cache=True)
def vapour_cp(f, p, h):
    """Heat capacity of superheated vapour (J/kg K) as a secant over 4 kJ/kg."""
    return 4e3 / max(vapour(f, p, h + 4e3, 0) - vapour(f, p, h, 0), 1.0)


@njit(cache=True)
def slip_density(f, p, h, g):
    """In-place density with slip, kg/m3."""
    x = quality(f, p, h)
    if x <= 0.0 or x >= 1.0:
        return density(f, p, h)
    a = void_fraction(f, p, x, g)
    return a * sat(f, p, RV) + (1.0 - a) * sat(f, p, RL)


@njit(cache=True)
def pass_share(k):
    """Share of the condenser tubes in the pass that holds segment k."""
    if k < 8:
        return 8.0 / N_COND
    if k < 13:
        return 5.0 / N_COND
    if k < 17:
        return 4.0 / N_COND
    return 3.0 / N_COND


@njit(cache=True)
def receiver_fill(c, z):
    """Share of the receiver full of liquid, from the quality z that flows in (imperfect separation: a smooth step)."""
    return 1.0 / (1.0 + np.exp(min(max((z - c.rec_z0) / c.rec_width, -60.0), 60.0)))


@njit(cache=True)
def gas_share(z):
    """Local over reference partial pressure of foreign gas: vapour loses refrigerant and keeps gas as it condenses."""
    return 0.35 + 0.65 * (1.0 - min(max(z, 0.0), 1.0))


@njit(cache=True)
def condenser_rate(f, c, pr, p, h, g, share_gas, ua_air, c_air):
    """Local refrigerant temperature, effectiveness times air capacity flow of a segment, phase (2 vapour, 1, 0)."""
    hl, hv = sat(f, pr, HL), sat(f, pr, HV)
    area = c.cond_area_ref / N_COND
    if h > hv + 1e-3:
        phase, t, htc = 2, vapour(f, pr, h, 0), vapour_htc(f, pr, g, c.cond_d)
    elif h > hl + 1e-3:
        x = (h - hl) / (hv - hl)
        phase, t = 1, sat(f, pr, T)
        htc = condensing_htc(f, pr, x, g, c.cond_d) * c.htc_factor / (1.0 + 9.0 * share_gas)
        htc += 0.02 * htc  # keeps the film conductance above the liquid's at x -> 0
    else:
        phase, t, htc = 0, liquid(f, h, 0), liquid_htc(f, h, g, c.cond_d)
    ntu = 1.0 / (1.0 / ua_air + 1.0 / (htc * area)) / c_air
    return t, (1.0 - np.exp(-ntu)) * c_air, phase


@njit(cache=True)
def condenser_step(f, c, pr, p, h, m, g, share_gas, ua_air, c_air, t_air, left):
    """Heat given off and share of the segment used, up to the next phase boundary or to the end of the segment."""
    t, k, phase = condenser_rate(f, c, pr, p, h, g, share_gas, ua_air, c_air)
    dt = t - t_air
    bound = 1e9
    if dt > 0.0 and phase == 2:
        bound = m * (h - sat(f, pr, HV)) + 1e-2 * m
    elif dt > 0.0 and phase == 1:
        bound = m * (h - sat(f, pr, HL)) + 1e-2 * m
    if phase == 1:
        q = k * left * dt
        return (q, left) if q <= bound else (bound, bound / (k * dt))
    cr = m * (vapour_cp(f, pr, h) if phase == 2 else liquid(f, h, 4))
    q = cr * dt * (1.0 - np.exp(-k * left / cr))
    if q <= bound:
        return q, left
    return bound, -cr / k * np.log(1.0 - bound / (cr * dt))


@njit(cache=True)
def condenser(f, c, p, h, m, p_gas, t_air):
    """March the condenser.

    Returns outlet pressure and enthalpy, refrigerant charge with the receiver in it, heat, gas volume weighted with the
    local partial pressure, receiver fill, and the enthalpy at the receiver.
    """
    air_density = c.p_atm / (R_AIR * t_air)
    stage = c.fan_low + (1.0 - c.fan_low) / (1.0 + np.exp(min(max((c.fan_switch - p) / 4e4, -60.0), 60.0)))
    velocity = c.cond_velocity * stage
    m_air = c.cond_face * velocity * air_density
    c_air = m_air * CP_AIR / N_COND
    htc_air = louvre_htc(velocity, air_density, 1.1e-3, 1.35e-3)
    ua_air = htc_air * c.cond_area_air * 0.86 / N_COND
    charge = heat = gas_volume = fill = 0.0
    h_rec = h
    v = c.cond_volume / N_COND
    for k in range(N_COND):
        if c.irc > 0.5 and k == 17:
            h_rec = h
            fill = receiver_fill(c, quality(f, p - p_gas, h))
            charge += receiver_mass(f, c, p - p_gas, h, fill)
            gas_volume += (1.0 - fill) * c.rec_volume
        share = pass_share(k)
        g = m / (c.cond_flow * share)
        length = c.cond_length / (share * N_COND)
        left = 1.0
        for _ in range(8):
            if left < 1e-9:
                break
            z = quality(f, p - p_gas, h)
            pl = p_gas * gas_share(z)
            pr = p - pl
            q, used = condenser_step(f, c, pr, p, h, m, g, pl / p, ua_air, c_air, t_air, left)
            h_new = h - q / m
            charge += v * used * slip_density(f, pr, 0.5 * (h + h_new), g)
            gas_volume += v * used * void_fraction(f, pr, quality(f, pr, 0.5 * (h + h_new)), g) * gas_share(z)
            x_mid = min(max(quality(f, pr, 0.5 * (h + h_new)), 0.0), 1.0)
            p = max(p - two_phase_gradient(f, pr, x_mid, g, c.cond_d) * length * used * c.cond_dp, 0.4 * p)
            h = h_new
            heat += q
            left -= used
    if c.irc < 0.5 and c.rec_volume > 0.0:
        h_rec = h
        fill = receiver_fill(c, quality(f, p - p_gas, h))
        charge += receiver_mass(f, c, p - p_gas, h, fill)
        gas_volume += (1.0 - fill) * c.rec_volume
    return p, h, charge, heat, gas_volume, fill, h_rec


@njit(cache=True)
def receiver_mass(f, c, p, h, fill):
    return c.rec_volume * (fill * liquid(f, min(h, sat(f, p, HL)), 1) + (1.0 - fill) * sat(f, p, RV))


@njit(cache=True)
def wall_temperature(t_ref, conductance, t_air, w_air, m_air, p_atm):
    """Fin surface temperature (K) where air heat, sensible and latent, meets refrigerant heat; Newton."""
    a = m_air * CP_AIR
    t = (a * t_air + conductance * t_ref) / (a + conductance)
    for _ in range(12):
        ws = humidity_ratio_saturated(t, p_atm)
        wet = w_air > ws
        latent = m_air * H_FG_WATER * (w_air - ws) if wet else 0.0
        slope = m_air * H_FG_WATER * (humidity_ratio_saturated(t + 0.05, p_atm) - ws) / 0.05 if wet else 0.0
        step = (a * (t_air - t) + latent - conductance * (t - t_ref)) / (a + slope + conductance)
        t += step
        if abs(step) < 1e-4:
            break
    return t


@njit(cache=True)
def oil_lift(f, c, p, h):
    """Temperature (K) above saturation that oil, left behind as the refrigerant boils off, gives the mixture.

    After the shape of Thome (1995), rounded; past dry-out it fades as the last refrigerant leaves the oil.
    """
    x = quality(f, p, h)
    share = c.oil / (c.oil + max(1.0 - x, 0.0) + 0.05)
    return c.oil_lift * share**2.5 * np.exp(-max(h - sat(f, p, HV), 0.0) / 6e3)


@njit(cache=True)
def evaporator_conductance(f, c, p, h, m, g, flux, left):
    """Refrigerant temperature, wall-to-refrigerant conductance of what is left of a segment, whether two-phase."""
    x = quality(f, p, h)
    area = c.evap_area_ref / N_EVAP * left
    if x >= 1.0:
        t = vapour(f, p, h, 0) + oil_lift(f, c, p, h)
        cr = m * vapour_cp(f, p, h)
        return t, cr * (1.0 - np.exp(-vapour_htc(f, p, g, c.evap_d) * area / cr)), False
    t = (sat(f, p, T) if x > 0.0 else liquid(f, h, 0)) + oil_lift(f, c, p, h)
    htc = boiling_htc(f, p, x, g, c.evap_d, flux) * c.htc_factor * (1.0 - min(1.6 * max(c.oil - 0.03, 0.0), 0.5))
    return t, htc * area, True


@njit(cache=True)
def evaporator(f, c, p, h, m, t_air, w_air):
    """March the evaporator.

    Returns outlet pressure and enthalpy, charge, heat, mean leaving air temperature and humidity ratio, coldest fin.
    """
    air_density = c.p_atm / (R_AIR * t_air)
    m_air = c.evap_air_volume * air_density
    velocity = c.evap_air_volume / c.evap_face
    htc = louvre_htc(velocity, air_density, 1.0e-3, 1.5e-3)
    bypass = np.exp(-htc * c.evap_area_air * 0.88 / (m_air * CP_AIR))
    m_seg = m_air / N_EVAP * (1.0 - bypass)
    g = m / c.evap_flow
    charge = heat = t_sum = w_sum = 0.0
    fin = t_air
    v = c.evap_volume / N_EVAP
    flux = 9000.0
    for _k in range(N_EVAP):
        left = 1.0
        for _ in range(8):
            if left < 1e-9:
                break
            for _j in range(2):
                t, conductance, boiling = evaporator_conductance(f, c, p, h, m, g, flux, left)
                wall = wall_temperature(t, conductance, t_air, w_air, m_seg * left, c.p_atm)
                q = conductance * (wall - t)
                flux = q / (c.evap_area_ref / N_EVAP * left)
            used = left
            if boiling and q > 0.0:
                room = m * (sat(f, p, HV) - h) + 1e-2 * m
                if q > room:
                    used = left * room / q
                    q = room
            ws = min(w_air, humidity_ratio_saturated(wall, c.p_atm))
            t_sum += used * (t_air + (wall - t_air) * (1.0 - bypass))
            w_sum += used * (w_air + (ws - w_air) * (1.0 - bypass))
            fin = min(fin, wall)
            h_new = h + q / m
            charge += v * used * slip_density(f, p, 0.5 * (h + h_new), g)
            x = quality(f, p, 0.5 * (h + h_new))
            length = c.evap_length / N_EVAP * used
            drop = two_phase_gradient(f, p, x, g, c.evap_d) * length * c.evap_dp * (1.0 + 6.0 * c.oil)
            if x > 1.0:
                drop *= sat(f, p, RV) / density(f, p, h_new)
            p = max(p - drop, 0.4 * p)
            h = h_new
            heat += q
            left -= used
    return p, h, charge, heat, t_sum / N_EVAP, w_sum / N_EVAP, fin


@njit(cache=True)
def pipe(f, p, h, m, bore, length, ua, t_around, losses):
    """One pipe with `losses` velocity heads and heat from around it: outlet pressure and enthalpy, charge."""
    area = 0.7854 * bore**2
    g = m / area
    t = temperature(f, p, h)
    x = quality(f, p, h)
    two_phase = 0.0 < x < 1.0
    cr = m * 1100.0
    q = ua * (t_around - t) if two_phase else cr * (1.0 - np.exp(-ua / cr)) * (t_around - t)
    h_out = h + q / m
    rho = density(f, p, h)
    drop = two_phase_gradient(f, p, x, g, bore) * length + losses * g * g / (2.0 * rho)
    if x > 1.0:
        drop *= sat(f, p, RV) / rho
    return max(p - drop, 0.4 * p), h_out, area * length * slip_density(f, p, h_out, g)
