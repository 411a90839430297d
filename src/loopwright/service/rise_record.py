"""Readings of a standing vacuum with all that wanders beside leak and exponential: level, temperature, gauge noise.

Everything that is linear and only in the way (the level, a temperature that moves) is integrated in closed form; what
is left are inner products under the inverse covariance of the readings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from numpy import ndarray

    Array = ndarray[Any, Any]
else:
    Array = Any

__all__ = ["Array", "Products", "Record", "Sums", "VacuumGauge"]

WAVES = 5  # half waves of temperature over a record; faster ones count as noise
WATER_PER_KELVIN = 0.065  # relative rise of the water pressure, 20 °C


@dataclass(frozen=True)
class VacuumGauge:
    """A vacuum gauge: noise [Pa, one sigma], resolution [Pa], change of its reading with its temperature [1/K]."""

    noise: float
    resolution: float = 0.0
    drift_per_kelvin: float = 0.002


class Products(NamedTuple):
    """Inner products under the inverse covariance of one noise level, wander integrated out; shape (tau,)."""

    yy: Array
    yt: Array
    tt: Array
    ye: Array
    te: Array
    ee: Array
    log_determinant: Array


@dataclass(frozen=True)
class Sums:
    """Inner products before any noise is assumed: of the wander's columns A, the readings y, time t, exponential E."""

    readings: int
    variance: float  # of one reading [Pa2]
    nuisance_variance: Array
    AA: Array  # (tau, column, column)
    AM: Array  # (tau, column, [y, t, E])
    MM: Array  # (tau, [y, t, E], [y, t, E])

    def products(self, factor: float, drift: float) -> Products:
        """Woodbury's identity, so that no matrix of readings by readings is built."""
        import numpy as np

        s2 = self.variance * factor * factor
        S = self.nuisance_variance * np.append(1.0, np.full(self.nuisance_variance.size - 1, drift * drift))
        inner = np.linalg.inv(np.diag(s2 / S) + self.AA)
        G = (self.MM - np.swapaxes(self.AM, 1, 2) @ inner @ self.AM) / s2
        within = np.linalg.slogdet(np.eye(S.size) + S[:, None] * self.AA / s2)[1]
        log_determinant = np.broadcast_to(self.readings * math.log(s2) + within, G.shape[:1])
        ee = np.maximum(G[:, 2, 2], 1e-12 / s2)
        return Products(G[:, 0, 0], G[:, 0, 1], G[:, 1, 1], G[:, 0, 2], G[:, 1, 2], ee, log_determinant)


@dataclass(frozen=True)
class Record:
    """Readings with what wanders beside any class: the level, and the effect of a temperature that moves slowly.

    `gas` and `water` [Pa/K] say how far gas with gauge, and free water, follow the temperature.
    """

    t: Array
    y: Array
    sigma: float  # of one reading [Pa]
    gas: float
    water: float
    temperature_drift: float  # K

    @classmethod
    def of(cls, t: Array, y: Array, gauge: VacuumGauge, temperature_drift: float, water: float) -> Record:
        """`water` [Pa] is the pressure of free water that follows the temperature, 0 without."""
        import numpy as np

        # Gas at constant volume follows its temperature, the gauge its own; 293 K is near enough for this.
        gas = float(np.mean(np.abs(y))) * (1.0 / 293.0 + gauge.drift_per_kelvin)
        return cls(t, y, _reading_sigma(y, gauge), gas, WATER_PER_KELVIN * water, max(temperature_drift, 1e-6))

    def columns(self, taus: Array) -> tuple[Array, Array]:
        """What wanders, (tau or 1, reading, column), and the variance of each column.

        The level; a straight line, for end slopes that waves fit badly; sines of 1, 2, ... half waves.
        """
        import numpy as np

        x, waves = (self.t - self.t[0]) / (self.t[-1] - self.t[0]), np.arange(1, WAVES + 1)
        wander = np.column_stack([x, np.sin(np.pi * x[:, None] * waves)])
        each = (self.temperature_drift / np.append(1.0, waves**2)) ** 2  # smooth: metal and air have heat capacity
        level = np.ones((x.size, 1))
        if not self.water:
            return np.hstack([level, wander])[None], np.concatenate([[1e10], self.gas**2 * each])
        # One temperature moves both: the gas from the start, the water as it comes to its pressure.
        share = self.gas + self.water * (1.0 - np.exp(-self.t[None, :] / taus[:, None]))
        wet = share[:, :, None] * wander[None]
        return np.concatenate([np.broadcast_to(level, (taus.size, x.size, 1)), wet], 2), np.concatenate([[1e10], each])

    def sums(self, taus: Array) -> Sums:
        """Inner products at time constants [s], shape (tau,)."""
        import numpy as np

        A, variance = self.columns(taus)
        E = 1.0 - np.exp(-self.t[None, :] / taus[:, None])
        M = np.stack([np.broadcast_to(self.y, E.shape), np.broadcast_to(self.t, E.shape), E], axis=2)
        At, Mt = np.swapaxes(A, 1, 2), np.swapaxes(M, 1, 2)
        return Sums(self.t.size, self.sigma**2, variance, At @ A, At @ M, Mt @ M)

    def stated(self, taus: Array) -> Products:
        """Products at the noise and wander as stated."""
        return self.sums(taus).products(1.0, 1.0)

    def slope_sigma(self, tau: float | None = None) -> float:
        """Sigma of b [Pa/s], if nothing else rises, or beside an exponential of a time constant [s]."""
        import numpy as np

        p = self.stated(np.array([tau or float(self.t[-1])]))
        hidden = p.te[0] ** 2 / p.ee[0] if tau else 0.0
        return float(max(p.tt[0] - hidden, 1e-6 * p.tt[0]) ** -0.5)


def _reading_sigma(y: Array, gauge: VacuumGauge) -> float:
    """Noise with rounding; where noise is too small to blur the steps, readings on one step err alike."""
    q = gauge.resolution
    steps = 1.0 + (float(y.max() - y.min()) / q if q > 0.0 else y.size)
    alike = 1.0 if gauge.noise >= 0.4 * q else max(y.size / steps, 1.0)
    return max(math.sqrt(gauge.noise**2 + alike * q * q / 12.0), 1e-6)
