"""A forecast along a course, as arrays, and the conditions that it makes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.conditions.air import LAPSE, risen_pressure
from optimizer.conditions.members import with_members
from optimizer.frozen import ReadOnlyArrays

if TYPE_CHECKING:
    from datetime import datetime

    from numpy.typing import NDArray

    from optimizer.conditions.conditions import Conditions

__all__ = ["Forecast", "conditions_of"]


@dataclass(frozen=True)
class Forecast(ReadOnlyArrays):
    """What m members of a forecast say at t times and d places along a course.

    Attributes
    ----------
    time : (t,) seconds after the start, rising
    distance : (d,) metres along the course, rising
    east, north : (m, t, d) where the air moves to, at ten metres [m/s]
    gust : (m, t, d) m/s
    temperature, pressure : (m, t, d) K and Pa, at the height `ground`
    sea_level_pressure : (m, t, d) Pa, reduced to sea level
    humidity : (m, t, d) relative
    ground : (d,) height of the ground [m] that temperature and pressure hold for; None where they
        are those of the conditions' reference elevation

    What a forecast does not say is None.
    """

    time: NDArray[np.float64]
    distance: NDArray[np.float64]
    east: NDArray[np.float64]
    north: NDArray[np.float64]
    gust: NDArray[np.float64] | None = None
    temperature: NDArray[np.float64] | None = None
    pressure: NDArray[np.float64] | None = None
    sea_level_pressure: NDArray[np.float64] | None = None
    humidity: NDArray[np.float64] | None = None
    ground: NDArray[np.float64] | None = None

    @property
    def members(self) -> int:
        """Number of members m; 1 for a single forecast."""
        return len(self.east)


def conditions_of(forecast: Forecast, conditions: Conditions, start: datetime) -> Conditions:
    """Conditions of a ride in the weather of a forecast.

    Humidity and pressure are those of the start. Several members become an ensemble about their
    mean.

    Parameters
    ----------
    forecast : by time and place
    conditions : reference elevation, and what the forecast does not say
    start : of the ride

    Returns
    -------
    conditions with times after the start [s]
    """
    at = replace(conditions, start_time=start, wind_time=forecast.time,
                 wind_distance=forecast.distance)
    rise = 0.0 if forecast.ground is None else conditions.reference_elevation - forecast.ground
    warm = None if forecast.temperature is None else forecast.temperature - LAPSE * rise

    def now(values: NDArray[np.float64]) -> NDArray[np.float64]:
        """(m,) at the start."""
        return np.array([np.interp(0.0, forecast.time, one) for one in values[:, :, 0]])

    usual = np.full(forecast.members, conditions.temperature) if warm is None else now(warm)
    pressure = None
    if forecast.pressure is not None:
        pressure = risen_pressure(now(forecast.pressure), usual,
                                  rise if isinstance(rise, float) else float(rise[0]))
    elif forecast.sea_level_pressure is not None:
        pressure = risen_pressure(now(forecast.sea_level_pressure), usual,
                                  conditions.reference_elevation)
    humidity = None if forecast.humidity is None else np.clip(now(forecast.humidity), 0.0, 1.0)
    return with_members(at, east=forecast.east, north=forecast.north, gust=forecast.gust,
                        temperature=warm, pressure=pressure, humidity=humidity)
