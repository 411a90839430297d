"""Moist air: compiled scalar functions of plain floats, SI units, per kilogram of dry air.

Source: ASHRAE Handbook Fundamentals 2017, chapter 1 (equation numbers in the docstrings), as PsychroLib 2.5 codes it;
tests compare with both. Ideal gases without the enhancement factor, worth 0.5 % of the humidity ratio at saturation.

Where a solver may pass, nothing breaks: outside -100 to 200 °C the saturation pressure keeps its end values, and where
water would boil (vapour pressure over 0.9 of the total) the humidity ratio goes on along its tangent.
"""

from __future__ import annotations

import math

from numba import njit

__all__ = [
    "density",
    "dew_point",
    "enthalpy",
    "humidity_ratio",
    "relative_humidity",
    "saturated_enthalpy",
    "saturated_humidity_ratio",
    "saturation_pressure_water",
    "temperature_at_enthalpy",
    "temperature_at_saturated_enthalpy",
    "wet_bulb",
]

EPSILON = 0.621945  # molar mass of water over that of dry air
GAS_CONSTANT = 287.042  # dry air, J/(kg K)
ZERO = 273.15  # 0 °C in K
TRIPLE = 273.16  # K, below which the saturation line is that over ice
COLDEST, WARMEST = 173.15, 473.15  # K, validity of the saturation pressure
STEPS = 30  # at most; two or three are usual
BOILING_SHARE = 0.9  # of the total pressure, from which the humidity ratio follows its tangent


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def saturation_pressure_water(temperature: float) -> float:
    """Saturation pressure [Pa] of water at a temperature [K], over ice below the triple point (0.01 °C).

    Valid from -100 to 200 °C. Source: ASHRAE 2017, ch. 1, eqs. 5 and 6 (Hyland and Wexler 1983).

    >>> round(saturation_pressure_water(298.15), 1)
    3169.2
    """
    T = min(max(temperature, COLDEST), WARMEST)
    if T <= TRIPLE:
        c = 6.3925247 + T * (-9.677843e-3 + T * (6.2215701e-7 + T * (2.0747825e-9 - 9.484024e-13 * T)))
        return math.exp(c - 5.6745359e3 / T + 4.1635019 * math.log(T))
    c = 1.3914993 + T * (-4.8640239e-2 + T * (4.1764768e-5 - 1.4452093e-8 * T))
    return math.exp(c - 5.8002206e3 / T + 6.5459673 * math.log(T))


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _log_slope(t: float) -> float:
    """Slope of the logarithm of the saturation pressure of water [1/K]: the derivative of its formula."""
    T = min(max(t, COLDEST), WARMEST)
    if T <= TRIPLE:
        c = -9.677843e-3 + T * (1.24431402e-6 + T * (6.2243475e-9 - 3.7936096e-12 * T))
        return c + (5.6745359e3 / T + 4.1635019) / T
    c = -4.8640239e-2 + T * (8.3529536e-5 - 4.3356279e-8 * T)
    return c + (5.8002206e3 / T + 6.5459673) / T


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _ratio(p_w: float, p: float) -> float:
    """Humidity ratio at a partial pressure of water p_w; along its tangent from `BOILING_SHARE` of p."""
    bound = BOILING_SHARE * p
    x = min(p_w, bound)
    left = p - x
    return EPSILON * (x / left + max(p_w - bound, 0.0) * p / (left * left))


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def humidity_ratio(temperature: float, relative_humidity: float, pressure: float) -> float:
    """Humidity ratio [kg/kg] at a temperature [K], relative humidity [0..1] and total pressure [Pa].

    Source: ASHRAE 2017, ch. 1, eqs. 20 and 22.

    >>> round(humidity_ratio(298.15, 0.5, 101325.0), 5)
    0.00988
    """
    return _ratio(relative_humidity * saturation_pressure_water(temperature), pressure)


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def saturated_humidity_ratio(temperature: float, pressure: float) -> float:
    """Humidity ratio [kg/kg] of saturated air at a temperature [K] and total pressure [Pa].

    Source: ASHRAE 2017, ch. 1, eq. 21.

    >>> round(saturated_humidity_ratio(298.15, 101325.0), 5)
    0.02008
    """
    return _ratio(saturation_pressure_water(temperature), pressure)


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def relative_humidity(temperature: float, humidity_ratio: float, pressure: float) -> float:
    """Relative humidity [0..1, above 1 where fog would form] at a temperature [K], humidity ratio, pressure [Pa].

    Source: ASHRAE 2017, ch. 1, eqs. 20 and 22.

    >>> round(relative_humidity(298.15, 0.00988, 101325.0), 3)
    0.5
    """
    p_w = pressure * humidity_ratio / (EPSILON + humidity_ratio)
    return p_w / saturation_pressure_water(temperature)


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def enthalpy(temperature: float, humidity_ratio: float) -> float:
    """Enthalpy [J/kg of dry air] at a temperature [K] and humidity ratio [kg/kg]; zero for dry air at 0 °C.

    Source: ASHRAE 2017, ch. 1, eq. 30.

    >>> round(enthalpy(298.15, 0.01))
    50625
    """
    t = temperature - ZERO
    return 1006.0 * t + humidity_ratio * (2.501e6 + 1860.0 * t)


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def temperature_at_enthalpy(enthalpy: float, humidity_ratio: float) -> float:
    """Temperature [K] at which air of a humidity ratio [kg/kg] has an enthalpy [J/kg of dry air].

    Source: ASHRAE 2017, ch. 1, eq. 30, solved for the temperature.

    >>> round(temperature_at_enthalpy(enthalpy(298.15, 0.01), 0.01), 6)
    298.15
    """
    return ZERO + (enthalpy - 2.501e6 * humidity_ratio) / (1006.0 + 1860.0 * humidity_ratio)


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def saturated_enthalpy(temperature: float, pressure: float) -> float:
    """Enthalpy [J/kg of dry air] of saturated air at a temperature [K] and total pressure [Pa].

    Source: ASHRAE 2017, ch. 1, eqs. 21 and 30.

    >>> round(saturated_enthalpy(283.15, 101325.0))
    29285
    """
    return enthalpy(temperature, saturated_humidity_ratio(temperature, pressure))


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def temperature_at_saturated_enthalpy(enthalpy: float, pressure: float) -> float:
    """Temperature [K] at which saturated air has an enthalpy [J/kg of dry air], at a total pressure [Pa].

    The inverse of `saturated_enthalpy` (Halley's method; 1e-7 K within -60 to 90 °C).

    >>> round(temperature_at_saturated_enthalpy(29284.68, 101325.0), 3)
    283.15
    """
    # Fitted at 101.325 kPa from -30 to 60 °C, 1.2 K; elsewhere it only costs a step or two more.
    z = min(math.log1p(max(enthalpy + 40e3, 0.0) / 4e4), 3.4)
    T = 227.83 + z * (63.79 - 9.124 * z)
    for _ in range(STEPS):
        p_ws = saturation_pressure_water(T)
        w = _ratio(p_ws, pressure)
        t = T - ZERO
        left = pressure - min(p_ws, BOILING_SHARE * pressure)
        log_slope = _log_slope(T) if COLDEST < T < WARMEST else 0.0
        latent = EPSILON * pressure / (left * left) * p_ws * log_slope * (2.501e6 + 1860.0 * t)
        slope = 1006.0 + 1860.0 * w + latent
        newton = (1006.0 * t + w * (2.501e6 + 1860.0 * t) - enthalpy) / slope
        # latent * log_slope stands for the second derivative; it only sets how fast the steps shrink.
        step = newton / max(1.0 - 0.5 * newton * latent * log_slope / slope, 0.5)
        T -= step
        if abs(step) < 1e-3:
            break
    return T


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def density(temperature: float, pressure: float, humidity_ratio: float) -> float:
    """Mass of dry air in a volume of moist air [kg/m3], at a temperature [K], total pressure [Pa], humidity ratio.

    Times (1 + humidity ratio) it is the density of the moist air. Source: ASHRAE 2017, ch. 1, eq. 26.

    >>> round(density(298.15, 101325.0, 0.01), 4)
    1.1652
    """
    return pressure / (GAS_CONSTANT * temperature * (1.0 + humidity_ratio / EPSILON))


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def dew_point(humidity_ratio: float, pressure: float) -> float:
    """Temperature [K] at which air of a humidity ratio [kg/kg] is saturated, at a total pressure [Pa].

    Below 0.01 °C the frost point. From -100 to 200 °C; the ends stand for anything beyond, dry air included.
    Source: ASHRAE 2017, ch. 1, eq. 36, solved for the temperature.

    >>> round(dew_point(0.01, 101325.0) - 273.15, 2)
    14.05
    """
    p_w = pressure * humidity_ratio / (EPSILON + humidity_ratio)
    if not p_w > saturation_pressure_water(COLDEST):
        return COLDEST
    if p_w >= saturation_pressure_water(WARMEST):
        return WARMEST
    T = 280.0
    for _ in range(STEPS):
        # The logarithm of the pressure is nearly straight in 1/T, so Newton's step is made there.
        step = (math.log(saturation_pressure_water(T)) - math.log(p_w)) / (_log_slope(T) * T)
        T = min(max(T / (1.0 + step), COLDEST), WARMEST)
        if abs(step) < 1e-9:
            break
    return T


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def _bulb_humidity(t: float, bulb: float, p: float) -> float:
    """Humidity ratio of air at t [K] whose wet bulb shows `bulb` [K] (eqs. 33 and 35)."""
    T, B = t - ZERO, bulb - ZERO
    w_s = saturated_humidity_ratio(bulb, p)
    if B >= 0.0:
        return ((2501e3 - 2326.0 * B) * w_s - 1006.0 * (T - B)) / (2501e3 + 1860.0 * T - 4186.0 * B)
    return ((2830e3 - 240.0 * B) * w_s - 1006.0 * (T - B)) / (2830e3 + 1860.0 * T - 2100.0 * B)


@njit(cache=True, error_model="numpy", fastmath={"contract"})
def wet_bulb(temperature: float, humidity_ratio: float, pressure: float) -> float:
    """Thermodynamic wet-bulb temperature [K] at a temperature [K], humidity ratio [kg/kg] and total pressure [Pa].

    Over ice below 0 °C. Air at or beyond saturation returns its own temperature.
    Source: ASHRAE 2017, ch. 1, eqs. 33 and 35, solved by halving (1e-9 K).

    >>> round(wet_bulb(298.15, 0.00988, 101325.0) - 273.15, 2)
    17.89
    """
    low, high = COLDEST, temperature
    while high - low > 1e-9:
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        if _bulb_humidity(temperature, middle, pressure) < humidity_ratio:
            low = middle
        else:
            high = middle
    return high
