"""The weather of the day."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from optimizer import defaults
from optimizer.frozen import ReadOnlyArrays

if TYPE_CHECKING:
    from datetime import datetime

    from numpy.typing import NDArray

    from optimizer.conditions.members import Members

__all__ = ["Conditions", "starting_at"]


@dataclass(frozen=True)
class Conditions(ReadOnlyArrays):
    """Air and wind, as forecast.

    Attributes
    ----------
    temperature : K, at `reference_elevation`, at the start
    pressure : Pa, at `reference_elevation` (station pressure, not reduced to sea level)
    humidity : relative, 0 to 1
    reference_elevation : m
    wind_time : (t,) seconds after the start; one entry for a constant wind
    wind_distance : (d,) metres along the course; one entry for the same wind everywhere
    wind_east, wind_north : (t, d) where the air moves to, at `wind_height` [m/s]
    wind_height : height of the forecast wind [m], 10 by convention
    speed_sd, direction_sd : spread of the forecast: relative speed, direction [rad]
    wet : whether the road is wet
    start_time : local start, None if unknown
    temperature_change : (t, d) K, what the air is warmer than `temperature` by time and
        place; (1, 1) where it stays the same
    gust : (t, d) forecast gusts [m/s], for cautions; (1, 1) of zero where unknown
    members : the ensemble about this forecast, None for a single one; draws of the wind are then
        its members, and the two spreads only say in short what they hold
    """

    temperature: float = 293.15
    pressure: float = 101325.0
    humidity: float = defaults.HUMIDITY.si
    reference_elevation: float = 0.0
    wind_time: NDArray[np.float64] = field(default_factory=lambda: np.zeros(1))
    wind_distance: NDArray[np.float64] = field(default_factory=lambda: np.zeros(1))
    wind_east: NDArray[np.float64] = field(default_factory=lambda: np.zeros((1, 1)))
    wind_north: NDArray[np.float64] = field(default_factory=lambda: np.zeros((1, 1)))
    wind_height: float = 10.0
    speed_sd: float = defaults.WIND_SPEED_SD.si
    direction_sd: float = defaults.WIND_DIRECTION_SD.si
    wet: bool = False
    start_time: datetime | None = None
    temperature_change: NDArray[np.float64] = field(default_factory=lambda: np.zeros((1, 1)))
    gust: NDArray[np.float64] = field(default_factory=lambda: np.zeros((1, 1)))
    members: Members | None = None

    @property
    def wind_speed(self) -> NDArray[np.float64]:
        """(t, d) speed at `wind_height` [m/s]."""
        return np.hypot(self.wind_east, self.wind_north)


def starting_at(conditions: Conditions, start: datetime) -> Conditions:
    """Give the weather that a start at another time meets; without a start time nothing moves.

    Parameters
    ----------
    conditions : weather of the race
    start : of the ride

    Returns
    -------
    conditions with their times after that start [s]

    Raises
    ------
    ValueError
        where one time names its zone and the other does not
    """
    if conditions.start_time is None:
        return replace(conditions, start_time=start)
    if (conditions.start_time.tzinfo is None) != (start.tzinfo is None):
        raise ValueError("one start time names its zone, the other does not")
    later = (start - conditions.start_time).total_seconds()
    warmer = float(np.interp(later, conditions.wind_time, conditions.temperature_change[:, 0])
                   if len(conditions.temperature_change) > 1 else 0.0)
    return replace(
        conditions, start_time=conditions.start_time + timedelta(seconds=later),
        wind_time=conditions.wind_time - (later if len(conditions.wind_time) > 1 else 0.0),
        temperature=conditions.temperature + warmer,
        temperature_change=conditions.temperature_change - warmer
        if conditions.temperature_change.size > 1 else conditions.temperature_change)
