"""Recordings that no rider, meter or wheel can have made: refused before and after a fit."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.course.smoothing import runs_of
from optimizer.errors import InputError
from optimizer.physics import GRAVITY

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.ride.ride import Ride

__all__ = ["check_recording", "check_result", "dead_power"]

# Common practice, no source: the least and the most of a rider with a bike, as rider files allow.
_DRAG_AREA = (0.1, 1.0)  # m²
_CRR = (0.001, 0.03)
_FAR_OFF = 9.21  # squared distance that one true pair in a hundred exceeds (chi square, 2 d.f.)
# A bike that coasts pays at least this part of its way in height: tyres, and some air.
_LEAST_LOSS = 0.004
_DRIFT = 5.0  # m, of an altimeter over one stretch
_SPELL = 60.0  # s without power; shorter ones are coasting


def dead_power(time: NDArray[np.float64], distance: NDArray[np.float64],
               speed: NDArray[np.float64], power: NDArray[np.float64],
               elevation: NDArray[np.float64]) -> NDArray[np.bool_]:
    """(n,) samples whose zeros are those of a meter that is dead, not of a rider who coasts.

    Over a spell without power the height and the height of the speed, v²/2g, pay for tyres and
    air. Where they pay nothing over a long way, somebody pedalled. Without heights only a meter
    that never shows any power is dead.
    """
    if not np.isfinite(elevation).any():
        return np.asarray((power == 0.0) & ~np.any(power > 0.0))
    head = elevation + speed**2 / (2.0 * GRAVITY)
    out = np.zeros(len(time), dtype=bool)
    for start, end in runs_of(power == 0.0):
        last = end - 1
        way = distance[last] - distance[start]
        paid = head[start] - head[last]
        if time[last] - time[start] >= _SPELL and paid < _LEAST_LOSS * way - _DRIFT:
            out[start:end] = True
    return out


def check_recording(ride: Ride) -> None:
    """Raise InputError for a ride that does not move."""
    if not (ride.length > 0.0 and np.any(ride.speed > 0.0)):
        raise InputError(ride.place, "", "does not move: its distance or its speed is 0 throughout",
                         "check the speed sensor, or record positions")


def check_result(name: str, setups: Sequence[str], mean: NDArray[np.float64],
                 covariance: NDArray[np.float64]) -> None:
    """Raise InputError where no CdA and Crr that a rider can have agree with the rides.

    `mean` (g + 1,) CdA of each of the `setups` [m²] and Crr, with their `covariance`. Such a
    result comes from what the fit takes as given: the power, the distance, the mass.
    """
    for k, setup in enumerate(setups):
        pair = np.ix_([k, len(mean) - 1], [k, len(mean) - 1])
        if _distance(mean[[k, -1]], covariance[pair]) > _FAR_OFF:
            raise InputError(
                name, "", f'gives "{setup}" a CdA of {mean[k]:.3f} m² with a Crr of '
                f"{mean[-1]:.4f}, which no rider has",
                "check that the power meter worked and was set to zero, the mass, and the unit of "
                "the speed")


def _distance(mean: NDArray[np.float64], covariance: NDArray[np.float64]) -> float:
    """Least squared standardised distance from `mean` to any pair that can be true."""
    (low, high), precision = zip(_DRAG_AREA, _CRR, strict=True), np.linalg.inv(covariance)
    if np.all((mean >= low) & (mean <= high)):
        return 0.0
    best = np.inf
    for fixed, value in ((0, low[0]), (0, high[0]), (1, low[1]), (1, high[1])):
        free = 1 - fixed
        # On an edge the best point is where the slope along it is 0, or the nearer corner.
        at = mean[free] - precision[0, 1] / precision[free, free] * (value - mean[fixed])
        point = np.empty(2)
        point[fixed], point[free] = value, np.clip(at, low[free], high[free])
        best = min(best, float((point - mean) @ precision @ (point - mean)))
    return best
