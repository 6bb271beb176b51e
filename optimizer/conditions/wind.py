"""Wind at the rider, from the wind that is forecast at ten metres."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.interpolate import RegularGridInterpolator

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.conditions.conditions import Conditions

__all__ = ["RIDER_HEIGHT", "height_factor", "wind_along"]

RIDER_HEIGHT = 1.2  # m, middle of rider and bike; common practice, no source


def height_factor(roughness: NDArray[np.float64] | float, height: float = RIDER_HEIGHT,
                  reference: float = 10.0) -> NDArray[np.float64]:
    """Wind at `height` over wind at `reference` [m] by the log law for a roughness length [m]."""
    z0 = np.asarray(roughness, dtype=float)
    return np.asarray(np.maximum(np.log(height / z0), 0.0) / np.log(reference / z0))


def wind_along(conditions: Conditions, distance: NDArray[np.float64], time: NDArray[np.float64],
               heading: NDArray[np.float64], roughness: NDArray[np.float64],
               shelter: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Head wind and cross wind at the rider [m/s], each (n,).

    Parameters
    ----------
    distance, time : (n,) where [m] and when [s after the start]
    heading : (n,) rad clockwise from north
    roughness : (n,) m
    shelter : (n,) share of the open wind that is left

    Head wind is positive into the face, cross wind positive from the left.
    """
    at = np.column_stack([
        np.clip(time, conditions.wind_time[0], conditions.wind_time[-1]),
        np.clip(distance, conditions.wind_distance[0], conditions.wind_distance[-1])])
    east, north = (_sample(conditions, component, at)
                   for component in (conditions.wind_east, conditions.wind_north))
    factor = shelter * height_factor(roughness, reference=conditions.wind_height)
    sine, cosine = np.sin(heading), np.cos(heading)
    return -factor * (east * sine + north * cosine), factor * (east * cosine - north * sine)


def _sample(conditions: Conditions, component: NDArray[np.float64],
            at: NDArray[np.float64]) -> NDArray[np.float64]:
    if component.size == 1:
        return np.full(len(at), component[0, 0])
    axes, keep = [], []
    for k, axis in enumerate((conditions.wind_time, conditions.wind_distance)):
        if len(axis) > 1:
            axes.append(axis)
            keep.append(k)
    table = component.reshape([len(axis) for axis in axes])
    return np.asarray(RegularGridInterpolator(axes, table)(at[:, keep]))
