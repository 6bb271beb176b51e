"""Air density along the course."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.conditions.grid import sample
from optimizer.defaults import GRAVITY, ZERO_CELSIUS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.conditions.conditions import Conditions

__all__ = ["LAPSE", "air_density", "air_density_along", "density_departures", "risen_pressure",
           "station_pressure"]

LAPSE = 0.0065  # K/m, ISO 2533 standard atmosphere, troposphere
_BAROMETRIC = GRAVITY * 0.0289644 / (8.31446 * LAPSE)


def air_density(temperature: NDArray[np.float64] | float, pressure: NDArray[np.float64] | float,
                humidity: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Density of moist air [kg/m³] from K, Pa and relative humidity.

    CIPM-2007: Picard, Davis, Glaser and Fujii 2008, Metrologia 45:149, eq. 1 and the
    coefficients of its appendix, for a CO2 fraction of 400 ppm.
    """
    T = np.asarray(temperature, dtype=float)
    p = np.asarray(pressure, dtype=float)
    t = T - ZERO_CELSIUS
    saturation = np.exp(1.2378847e-5 * T**2 - 1.9121316e-2 * T + 33.93711047 - 6.3431645e3 / T)
    enhancement = 1.00062 + 3.14e-8 * p + 5.6e-7 * t**2
    x = humidity * enhancement * saturation / p
    Z = (1 - p / T * (1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t**2
                      + (5.707e-6 - 2.051e-8 * t) * x + (1.9898e-4 - 2.376e-6 * t) * x**2)
         + (p / T) ** 2 * (1.83e-11 - 0.765e-8 * x**2))
    return np.asarray(3.483740e-3 * p / (Z * T) * (1 - 0.3780 * x))


def air_density_along(conditions: Conditions, elevation: NDArray[np.float64],
                      distance: NDArray[np.float64] | None = None,
                      time: NDArray[np.float64] | None = None) -> NDArray[np.float64]:
    """Density [kg/m³] at each elevation (n,) [m], by the standard lapse rate (ISO 2533).

    With `distance` [m] and `time` [s after the start], each (n,), the air warms and cools
    on the way as forecast; without them it stays that of the start.
    """
    at_reference = np.full(len(elevation), conditions.temperature)
    if distance is not None and time is not None:
        at_reference = at_reference + sample(conditions, conditions.temperature_change,
                                             distance, time)
    temperature = at_reference - LAPSE * (elevation - conditions.reference_elevation)
    pressure = conditions.pressure * (temperature / at_reference) ** _BAROMETRIC
    return air_density(temperature, pressure, conditions.humidity)


def density_departures(conditions: Conditions, distance: NDArray[np.float64],
                       time: NDArray[np.float64]) -> NDArray[np.float64]:
    """Relative departure (m,) of each member's air density from the forecast's, mean of the road.

    Raises ValueError where the conditions carry no ensemble.
    """
    members = conditions.members
    if members is None:
        raise ValueError("these conditions carry no members")
    warmer = sample(conditions, members.temperature, distance, time).mean(axis=1)
    usual = conditions.temperature + float(
        sample(conditions, conditions.temperature_change, distance, time).mean())
    drawn = air_density(usual + warmer, conditions.pressure + members.pressure,
                        np.clip(conditions.humidity + members.humidity, 0.0, 1.0))
    return drawn / air_density(usual, conditions.pressure, conditions.humidity) - 1.0


def risen_pressure(pressure: NDArray[np.float64] | float,
                   temperature: NDArray[np.float64] | float, rise: float) -> NDArray[np.float64]:
    """Pressure [Pa] after a rise [m] (falling where negative) from where it is `pressure`.

    `temperature` [K] is that of the place above; standard lapse rate (ISO 2533).
    """
    T = np.asarray(temperature, dtype=float)
    return np.asarray(pressure * (T / (T + LAPSE * rise)) ** _BAROMETRIC)


def station_pressure(sea_level: float, temperature: float, elevation: float) -> float:
    """Pressure [Pa] at `elevation` [m] from the one reduced to sea level, as forecasts give it.

    `temperature` [K] is that at `elevation`.
    """
    return float(risen_pressure(sea_level, temperature, elevation))
