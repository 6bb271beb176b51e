"""A quantity that is forecast by time and place, sampled along a ride."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.conditions.conditions import Conditions

__all__ = ["sample"]


def sample(conditions: Conditions, values: NDArray[np.float64], distance: NDArray[np.float64],
           time: NDArray[np.float64]) -> NDArray[np.float64]:
    """Sample fields by place and time.

    Linear between the entries, constant beyond the first and the last.

    Parameters
    ----------
    conditions : weather of the race
    values : (..., t, d) on the axes of the wind
    distance : (n,) m
    time : (n,) s after the start

    Returns
    -------
    (..., n)
    """
    leading = values.shape[:-2]
    if values.shape[-2:] == (1, 1):
        return np.broadcast_to(values[..., 0], (*leading, len(distance))).copy()
    from scipy.interpolate import RegularGridInterpolator  # slow, and not needed for one wind

    ends = ((conditions.wind_time, time), (conditions.wind_distance, distance))
    used = [(axis, np.clip(where, axis[0], axis[-1])) for axis, where in ends if len(axis) > 1]
    table = np.moveaxis(values.reshape(-1, *(len(axis) for axis, _ in used)), 0, -1)
    points = np.column_stack([where for _, where in used])
    found = RegularGridInterpolator([axis for axis, _ in used], table)(points)
    return np.asarray(found.T.reshape(*leading, len(distance)))
