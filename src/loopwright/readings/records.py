"""What a test sheet says, as frozen values: SI, absolute pressures, one standard deviation; words kept as written."""

from __future__ import annotations

from dataclasses import dataclass

from loopwright.errors import InputError, Problem

__all__ = ["Conditions", "Observation", "Reading", "Refused", "Test", "Vehicle", "Weather"]


@dataclass(frozen=True)
class Vehicle:
    """The vehicle as its label tells: `charge` [kg], `displacement` [m3 a revolution]; None is unknown."""

    refrigerant: str
    expansion: str | None = None
    storage: str | None = None
    compressor: str | None = None
    charge: float | None = None
    high_port: str | None = None
    label: str = ""
    displacement: float | None = None


@dataclass(frozen=True)
class Weather:
    """The air outdoors: `air_temperature` [K], `relative_humidity` 0..1, `altitude` [m]; None is unknown."""

    air_temperature: float
    relative_humidity: float | None = None
    altitude: float | None = None

    @property
    def atmosphere(self) -> float:
        """Absolute pressure of the air [Pa] at the altitude, at sea level where that is unknown."""
        from loopwright.fluids.atmosphere import pressure  # late: a form or a schema needs no compiled physics

        return pressure(0.0 if self.altitude is None else self.altitude)


@dataclass(frozen=True)
class Conditions:
    """How the test was run: `compressor_speed` [1/s], `running_time` [s] before the readings; None is unknown."""

    compressor_speed: float | None = None
    blower: str | None = None
    air: str | None = None
    running_time: float | None = None


@dataclass(frozen=True)
class Reading:
    """One value read.

    `value` and `sigma` (one standard deviation, None where the sheet gives no accuracy) are in SI, pressure absolute;
    `time` [s] since the phase began. `written` is what the person wrote, `unit` the unit it was written in, `reference`
    "gauge" or "absolute" for a pressure, and `field` its place in the sheet ("readings[2]").
    """

    phase: str
    point: str
    quantity: str
    value: float
    sigma: float | None = None
    statistic: str = "mean"
    instrument: str | None = None
    time: float | None = None
    reference: str | None = None
    written: str = ""
    unit: str = ""
    field: str = ""


@dataclass(frozen=True)
class Observation:
    """What hands, eyes or ears report."""

    phase: str
    point: str
    kind: str
    value: str
    field: str = ""


@dataclass(frozen=True)
class Test:
    """One test sheet; `warnings` holds what is unlikely but possible, as plain sentences."""

    __test__ = False  # the name is the trade's; keep pytest from collecting it

    id: str
    vehicle: Vehicle
    weather: Weather
    conditions: Conditions
    readings: tuple[Reading, ...] = ()
    observations: tuple[Observation, ...] = ()
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Refused:
    """A sheet of a batch that cannot be used: its id if it has one, the line it starts on, everything wrong in it."""

    id: str
    line: int | None
    problems: tuple[Problem, ...]

    def error(self) -> InputError:
        """Return the same as an exception."""
        return InputError(self.problems)
