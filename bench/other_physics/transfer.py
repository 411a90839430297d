"""Local heat transfer, friction, void fraction and moist air: one published correlation a function.

Coefficients are from memory of the named papers and were not compared with print.
"""

import numpy as np
from numba import njit

from .properties import CPL, CPV, HL, HV, KL, KV, ML, MV, RL, RV, SG, liquid, sat

G0 = 9.81
CP_AIR, H_FG_WATER = 1006.0, 2.48e6


@njit(cache=True)
def single_phase_htc(g, d, mu, k, cp):
    """Dittus-Boelter (1930) joined to a laminar floor, W/m2K."""
    re, pr = g * d / mu, cp * mu / k
    nu = 0.023 * re**0.8 * pr**0.4
    return (4.0**6 + nu**6) ** (1.0 / 6.0) * k / d


@njit(cache=True)
def vapour_htc(f, p, g, d):
    return single_phase_htc(g, d, sat(f, p, MV), sat(f, p, KV), sat(f, p, CPV))


@njit(cache=True)
def liquid_htc(f, h, g, d):
    return single_phase_htc(g, d, liquid(f, h, 2), liquid(f, h, 3), liquid(f, h, 4))


@njit(cache=True)
def condensing_htc(f, p, x, g, d):
    """Cavallini et al. (2006), annular regime, W/m2K."""
    rl, rv, ml, mv = sat(f, p, RL), sat(f, p, RV), sat(f, p, ML), sat(f, p, MV)
    kl, cpl = sat(f, p, KL), sat(f, p, CPL)
    pr = cpl * ml / kl
    h_lo = single_phase_htc(g, d, ml, kl, cpl)
    boost = 1.128 * x**0.8170 * (rl / rv) ** 0.3685 * (ml / mv) ** 0.2363 * (1 - mv / ml) ** 2.144 * pr**-0.1
    return h_lo * (1.0 + boost)


@njit(cache=True)
def boiling_htc(f, p, x, g, d, flux):
    """Gungor and Winterton (1987), with dry-out blended linearly to vapour above x = 0.88, W/m2K."""
    x_wet = min(max(x, 0.0), 0.88)
    rl, rv, ml, kl, cpl = sat(f, p, RL), sat(f, p, RV), sat(f, p, ML), sat(f, p, KL), sat(f, p, CPL)
    h_l = single_phase_htc(g * (1 - x_wet), d, ml, kl, cpl)
    bo = max(flux, 0.0) / (g * (sat(f, p, HV) - sat(f, p, HL)))
    wet = h_l * (1.0 + 3000.0 * bo**0.86 + 1.12 * (x_wet / (1 - x_wet)) ** 0.75 * (rl / rv) ** 0.41)
    if x <= 0.88:
        return wet
    dry = min(max((x - 0.88) / 0.12, 0.0), 1.0)
    return wet * (1 - dry) + vapour_htc(f, p, g, d) * dry


@njit(cache=True)
def _gradient(g, d, mu, rho):
    re = g * d / mu
    return max(64.0 / re, 0.3164 * re**-0.25) * g * g / (2.0 * rho * d)


@njit(cache=True)
def two_phase_gradient(f, p, x, g, d):
    """Müller-Steinhagen and Heck (1986) friction, Pa/m; x outside 0..1 is taken as saturated single phase."""
    x = min(max(x, 0.0), 1.0)
    a = _gradient(g, d, sat(f, p, ML), sat(f, p, RL))
    b = _gradient(g, d, sat(f, p, MV), sat(f, p, RV))
    return (a + 2.0 * (b - a) * x) * (1.0 - x) ** (1.0 / 3.0) + b * x**3


@njit(cache=True)
def void_fraction(f, p, x, g):
    """Rouhani and Axelsson (1970), drift-flux form."""
    if x <= 0.0:
        return 0.0
    if x >= 1.0:
        return 1.0
    rl, rv = sat(f, p, RL), sat(f, p, RV)
    drift = 1.18 * (1 - x) * (G0 * sat(f, p, SG) * (rl - rv)) ** 0.25 / (g * rl**0.5)
    return min(x / rv / ((1 + 0.12 * (1 - x)) * (x / rv + (1 - x) / rl) + drift), 1.0)


@njit(cache=True)
def louvre_htc(velocity, air_density, louvre_pitch, fin_pitch):
    """Chang and Wang (1997) Colburn factor of louvred fins, air side, W/m2K; other geometry typical."""
    mu, pr = 1.87e-5, 0.71
    re = air_density * velocity * louvre_pitch / mu
    shape = (27.0 / 90.0) ** 0.27 * (fin_pitch / louvre_pitch) ** -0.14 * 5.5**-0.29 * 12.0**-0.23
    j = re**-0.49 * shape * 4.7**0.68 * 6.5**-0.28 * 0.08**-0.05
    return j * air_density * velocity * CP_AIR * pr ** (-2.0 / 3.0)


@njit(cache=True)
def humidity_ratio_saturated(t_kelvin, pressure):
    """Magnus over water and ice, kg/kg."""
    t = t_kelvin - 273.15
    e = 610.94 * np.exp(17.625 * t / (t + 243.04)) if t >= 0 else 611.21 * np.exp(22.587 * t / (t + 273.86))
    return 0.622 * e / max(pressure - e, 1000.0)
