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
    t, later = _between(conditions.wind_time, time)
    d, further = _between(conditions.wind_distance, distance)
    before = values[..., t, d]
    if values.shape[-1] > 1:
        before = before + further * (values[..., t, d + 1] - before)
    if values.shape[-2] == 1:
        return np.asarray(before)
    after = values[..., t + 1, d]
    if values.shape[-1] > 1:
        after = after + further * (values[..., t + 1, d + 1] - after)
    return np.asarray(before + later * (after - before))


def _between(axis: NDArray[np.float64], where: NDArray[np.float64],
             ) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    """Entry of an axis before each place, and the share of the way to the next one."""
    if len(axis) == 1:
        return np.zeros(len(where), dtype=np.intp), np.zeros(len(where))
    left = np.clip(np.searchsorted(axis, where, side="right") - 1, 0, len(axis) - 2)
    return left, np.clip((where - axis[left]) / (axis[left + 1] - axis[left]), 0.0, 1.0)
