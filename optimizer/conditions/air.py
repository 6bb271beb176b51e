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
           "temperature_along"]

LAPSE = 0.0065  # K/m, ISO 2533 standard atmosphere, troposphere
_BAROMETRIC = GRAVITY * 0.0289644 / (8.31446 * LAPSE)


def air_density(temperature: NDArray[np.float64] | float, pressure: NDArray[np.float64] | float,
                humidity: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Density of moist air.

    CIPM-2007: Picard, Davis, Glaser and Fujii 2008, Metrologia 45:149, eq. 1 and the
    coefficients of its appendix, for a CO2 fraction of 400 ppm.

    Parameters
    ----------
    temperature : K
    pressure : Pa
    humidity : relative, 0 to 1

    Returns
    -------
    kg/m³
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
                      time: NDArray[np.float64] | None = None,
                      warmer: NDArray[np.float64] | float = 0.0) -> NDArray[np.float64]:
    """Density at each height, by the standard lapse rate (ISO 2533).

    With distance and time the air warms and cools on the way as forecast; without them it stays
    that of the start.

    Parameters
    ----------
    conditions : weather of the race
    elevation : (n,) m
    distance : (n,) m
    time : (n,) s after the start
    warmer : K that the start is warmer than the conditions say; (m, 1) for m cases

    Returns
    -------
    (n,) or (m, n) kg/m³
    """
    at_reference = _at_reference(conditions, elevation, distance, time) + warmer
    temperature = at_reference - LAPSE * (elevation - conditions.reference_elevation)
    pressure = conditions.pressure * (temperature / at_reference) ** _BAROMETRIC
    return air_density(temperature, pressure, conditions.humidity)


def temperature_along(conditions: Conditions, elevation: NDArray[np.float64],
                      distance: NDArray[np.float64] | None = None,
                      time: NDArray[np.float64] | None = None) -> NDArray[np.float64]:
    """Temperature of the air at each height, place and hour; as in `air_density_along`.

    Parameters
    ----------
    conditions : weather of the race
    elevation : (n,) m
    distance : (n,) m
    time : (n,) s after the start

    Returns
    -------
    (n,) K
    """
    return np.asarray(_at_reference(conditions, elevation, distance, time)
                      - LAPSE * (elevation - conditions.reference_elevation))


def _at_reference(conditions: Conditions, elevation: NDArray[np.float64],
                  distance: NDArray[np.float64] | None,
                  time: NDArray[np.float64] | None) -> NDArray[np.float64]:
    """Temperature (n,) [K] at the height that the conditions are for."""
    start = np.full(len(elevation), conditions.temperature)
    if distance is None or time is None:
        return start
    return start + sample(conditions, conditions.temperature_change, distance, time)


def density_departures(conditions: Conditions, distance: NDArray[np.float64],
                       time: NDArray[np.float64]) -> NDArray[np.float64]:
    """Departure of each member's air density from the forecast's, mean of the road.

    Parameters
    ----------
    conditions : weather of the race
    distance : (n,) m
    time : (n,) s after the start

    Returns
    -------
    (m,) relative

    Raises
    ------
    ValueError
        where the conditions carry no ensemble
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
    """Pressure after a rise, by the standard lapse rate (ISO 2533).

    Parameters
    ----------
    pressure : Pa
    temperature : K, at the place above
    rise : m, negative where it falls

    Returns
    -------
    Pa
    """
    T = np.asarray(temperature, dtype=float)
    return np.asarray(pressure * (T / (T + LAPSE * rise)) ** _BAROMETRIC)
