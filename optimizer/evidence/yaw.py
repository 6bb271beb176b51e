"""Yaw as it is met on the road."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["hat_weights", "road_weights"]


def road_weights(nodes: NDArray[np.float64], angle_90: float) -> NDArray[np.float64]:
    """Weights of yaw angles in the mean over a ride.

    Yaw falls off exponentially from straight ahead.

    Parameters
    ----------
    nodes : (m,) rad, rising from 0
    angle_90 : rad, within which it is nine tenths of the time

    Returns
    -------
    (m,) weights, which sum to 1

    References
    ----------
    Barry 2018, Proceedings 2:211, quoting Cooper (16 degrees at 30 mph).
    """
    angles = -angle_90 / math.log(10) * np.log1p(-(np.arange(400) + 0.5) / 400)
    return np.asarray(_hats(nodes, angles).mean(axis=0))


def hat_weights(nodes: NDArray[np.float64], low: float, high: float) -> NDArray[np.float64]:
    """Weights of yaw angles in the mean over a range.

    Parameters
    ----------
    nodes : (m,) rad, rising
    low, high : rad

    Returns
    -------
    (m,) weights with a sum of one
    """
    return np.asarray(_hats(nodes, np.linspace(low, high, 61)).mean(axis=0))


def _hats(nodes: NDArray[np.float64], angles: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return linear interpolation between nodes as a matrix (a, m); constant beyond them."""
    return np.stack([np.interp(angles, nodes, unit) for unit in np.eye(len(nodes))], axis=1)
