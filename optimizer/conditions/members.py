"""An ensemble forecast: several equally likely weathers, as departures from the one in the middle.

Departures add: whoever changes the wind of `Conditions` moves the whole ensemble with it, and the
head wind of a member departs from that of the forecast by the head wind of its departure.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.frozen import ReadOnlyArrays

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.conditions.conditions import Conditions

__all__ = ["AirDepartures", "Members", "with_members"]

_LEAST_WIND = 0.5  # m/s; below it a relative spread says nothing


@dataclass(frozen=True)
class Members(ReadOnlyArrays):
    """What each of m members departs by from the forecast of `Conditions`, on the same axes.

    Attributes
    ----------
    east, north : (m, t, d) of the wind [m/s]
    temperature : (m, t, d) K
    gust : (m, t, d) m/s
    pressure : (m,) Pa
    humidity : (m,) relative
    """

    east: NDArray[np.float64]
    north: NDArray[np.float64]
    temperature: NDArray[np.float64]
    gust: NDArray[np.float64]
    pressure: NDArray[np.float64]
    humidity: NDArray[np.float64]

    @property
    def count(self) -> int:
        """Number of members m."""
        return len(self.east)


@dataclass(frozen=True)
class AirDepartures:
    """What the air of each member departs by on the n steps of a road.

    `headwind`, `crosswind`: (m, n) m/s at the rider; `density`: (m,) relative, the mean of the
    road.
    """

    headwind: NDArray[np.float64]
    crosswind: NDArray[np.float64]
    density: NDArray[np.float64]


def with_members(conditions: Conditions, *, east: NDArray[np.float64],
                 north: NDArray[np.float64], gust: NDArray[np.float64] | None = None,
                 temperature: NDArray[np.float64] | None = None,
                 pressure: NDArray[np.float64] | None = None,
                 humidity: NDArray[np.float64] | None = None) -> Conditions:
    """Conditions in the middle of an ensemble, which they carry where it has several members.

    The middle is the mean of the members, of the wind as a vector: it has the least mean square
    error. The spreads `speed_sd` and `direction_sd` are then those of the members.

    Parameters
    ----------
    conditions : the axes, and what the ensemble says nothing of
    east, north, gust, temperature : (m, t, d) of each member; m/s, K at
        `conditions.reference_elevation`
    pressure, humidity : (m,) at the start; Pa, relative

    Returns
    -------
    conditions of the mean
    """
    m = len(east)
    still = np.zeros(east.shape)
    changes: dict[str, object] = {}
    warm = still
    if temperature is not None:
        middle = temperature.mean(axis=0)
        now = _at_start(conditions, middle)
        warm = temperature - middle
        changes |= {"temperature": now, "temperature_change": middle - now}
    if gust is not None:
        changes["gust"] = gust.mean(axis=0)
    if pressure is not None:
        changes["pressure"] = float(pressure.mean())
    if humidity is not None:
        changes["humidity"] = float(humidity.mean())
    mid_east, mid_north = east.mean(axis=0), north.mean(axis=0)
    made = replace(conditions, wind_east=mid_east, wind_north=mid_north, members=None,
                   **changes)  # type: ignore[arg-type]
    if m == 1:
        return made
    speed_sd, direction_sd = _spreads(east, north)
    return replace(
        made, speed_sd=speed_sd, direction_sd=direction_sd, members=Members(
            east - mid_east, north - mid_north, warm,
            still if gust is None else gust - gust.mean(axis=0),
            np.zeros(m) if pressure is None else pressure - pressure.mean(),
            np.zeros(m) if humidity is None else humidity - humidity.mean()))


def _at_start(conditions: Conditions, values: NDArray[np.float64]) -> float:
    """Value of a field (t, d) at the start of the ride and of the course."""
    return float(np.interp(0.0, conditions.wind_time, values[:, 0])
                 if len(conditions.wind_time) > 1 else values[0, 0])


def _spreads(east: NDArray[np.float64], north: NDArray[np.float64]) -> tuple[float, float]:
    """Relative spread of the speed and spread of the direction [rad], over members.

    The direction as the circular standard deviation, √(-2 ln R) with R the length of the mean
    unit vector (Mardia and Jupp 2000, Directional Statistics, eq. 2.3.11), weighted by speed so
    that near-calm hours with any direction do not count.
    """
    speed = np.hypot(east, north)
    middle = float(speed.mean())
    if middle < _LEAST_WIND:
        return 0.0, 0.0
    speed_sd = float(np.sqrt(speed.var(axis=0, ddof=1).mean())) / middle
    together = float(np.hypot(east.mean(axis=0), north.mean(axis=0)).mean()) / middle
    return speed_sd, float(np.sqrt(-2.0 * np.log(np.clip(together, 1e-3, 1.0))))
