"""The weather of the day."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from datetime import datetime

    from numpy.typing import NDArray

__all__ = ["Conditions"]


def _zeros() -> NDArray[np.float64]:
    return np.zeros(1)


def _calm() -> NDArray[np.float64]:
    return np.zeros((1, 1))


@dataclass(frozen=True)
class Conditions:
    """Air and wind, as forecast.

    Attributes
    ----------
    temperature : K, at `reference_elevation`
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
    """

    temperature: float = 293.15
    pressure: float = 101325.0
    humidity: float = 0.5
    reference_elevation: float = 0.0
    wind_time: NDArray[np.float64] = field(default_factory=_zeros)
    wind_distance: NDArray[np.float64] = field(default_factory=_zeros)
    wind_east: NDArray[np.float64] = field(default_factory=_calm)
    wind_north: NDArray[np.float64] = field(default_factory=_calm)
    wind_height: float = 10.0
    speed_sd: float = 0.25
    direction_sd: float = 0.35
    wet: bool = False
    start_time: datetime | None = None

    def __post_init__(self) -> None:
        for name in ("wind_time", "wind_distance", "wind_east", "wind_north"):
            array = np.array(getattr(self, name), dtype=float)
            array.flags.writeable = False
            object.__setattr__(self, name, array)
