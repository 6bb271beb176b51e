"""Wind at the rider, from the wind that is forecast at ten metres."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.conditions.grid import sample

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.conditions.conditions import Conditions

__all__ = ["RIDER_HEIGHT", "departures_along", "height_factor", "wind_along",
           "wind_from"]

RIDER_HEIGHT = 1.2  # m, middle of rider and bike; common practice, no source
_ROUGHEST = 0.5  # m


def height_factor(roughness: NDArray[np.float64] | float, height: float = RIDER_HEIGHT,
                  reference: float = 10.0) -> NDArray[np.float64]:
    """Wind at one height over wind at another.

    The log law, ln(h/z0) / ln(10/z0) (Davenport 1960; classes of z0 by Wieringa 1992,
    J. Wind Eng. Ind. Aerodyn. 41:357). From z0 = 0.5 m on, among houses and trees, the rider
    is between the obstacles and the law ends: its value at 0.5 m is kept, and what the
    street shelters has to be said as a shelter.

    Parameters
    ----------
    roughness : z0 [m]
    height : m, of the rider
    reference : m, of the stated wind

    Returns
    -------
    factor on the wind speed
    """
    z0 = np.minimum(np.asarray(roughness, dtype=float), _ROUGHEST)
    return np.asarray(np.log(height / z0) / np.log(reference / z0))


def wind_from(conditions: Conditions, distance: NDArray[np.float64],
              time: NDArray[np.float64]) -> NDArray[np.float64]:
    """Direction that the forecast wind comes from.

    Parameters
    ----------
    conditions : weather of the race
    distance : (n,) m
    time : (n,) s after the start

    Returns
    -------
    (n,) rad clockwise from north, 0 to 2π
    """
    east, north = (sample(conditions, component, distance, time)
                   for component in (conditions.wind_east, conditions.wind_north))
    return np.asarray(np.arctan2(-east, -north) % (2.0 * np.pi))


def wind_along(conditions: Conditions, distance: NDArray[np.float64], time: NDArray[np.float64],
               heading: NDArray[np.float64], roughness: NDArray[np.float64],
               shelter: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Head wind and cross wind at the rider.

    Head wind is positive, cross wind positive from the left.

    Parameters
    ----------
    conditions : weather of the race
    distance : (n,) m
    time : (n,) s after the start
    heading : (n,) rad clockwise from north
    roughness : (n,) m
    shelter : (n,) share of the open wind that is left

    Returns
    -------
    head wind and cross wind, each (n,) [m/s]
    """
    return _at_rider(conditions, (conditions.wind_east, conditions.wind_north), distance, time,
                     heading, roughness, shelter)


def departures_along(conditions: Conditions, distance: NDArray[np.float64],
                     time: NDArray[np.float64], heading: NDArray[np.float64],
                     roughness: NDArray[np.float64], shelter: NDArray[np.float64],
                     ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return what the head and cross wind of each member depart by from `wind_along`.

    Parameters
    ----------
    conditions : weather of the race
    distance : (n,) m
    time : (n,) s after the start
    heading : (n,) rad clockwise from north
    roughness : (n,) m
    shelter : (n,) share of the open wind that is left

    Returns
    -------
    (m, n) m/s, of head wind and cross wind

    Raises
    ------
    ValueError
        where the conditions carry no ensemble
    """
    if conditions.members is None:
        raise ValueError("these conditions carry no members")
    return _at_rider(conditions, (conditions.members.east, conditions.members.north), distance,
                     time, heading, roughness, shelter)


def _at_rider(conditions: Conditions, wind: tuple[NDArray[np.float64], NDArray[np.float64]],
              distance: NDArray[np.float64], time: NDArray[np.float64],
              heading: NDArray[np.float64], roughness: NDArray[np.float64],
              shelter: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Head and cross wind (..., n) of fields (..., t, d) of wind towards east and north."""
    east, north = (sample(conditions, component, distance, time) for component in wind)
    factor = shelter * height_factor(roughness, reference=conditions.wind_height)
    sine, cosine = np.sin(heading), np.cos(heading)
    return -factor * (east * sine + north * cosine), factor * (east * cosine - north * sine)
