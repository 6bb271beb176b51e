"""What disturbs an energy balance, as patterns of correlated errors of unknown size."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.ride.segments import gravity_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.ride.balance import Balance

__all__ = ["LOG_SD", "OF_THE_ROAD", "SIZES", "TIMES", "patterns"]

# s, correlation times of gusts as a moving rider meets them, of what lasts over several
# segments, and of a wind that turns and grows in the course of a test. Two of the short ones
# stand for any between.
TIMES = (5.0, 30.0, 1200.0)
_ALTIMETER_TIME = 120.0  # s, of an altimeter that follows wind and warmth
_HOUR = 3600.0

# Median of each size (square of a standard deviation) before the ride is seen: common practice,
# no source. The rides move them by what they hold.
SIZES = {
    "gusts, m/s": 0.6**2,
    "wind over half a minute, m/s": 0.3**2,
    "turning wind, m/s": 0.5**2,
    "speed and place at the nodes, m of height": 0.15**2,
    "noise of the altimeter, m": 0.5**2,
    "wandering of the altimeter, m": 0.7**2,
    "drift of the altimeter, m in an hour": 2.0**2,
}
LOG_SD = 1.4  # of a size: a factor of two in the standard deviation
OF_THE_ROAD = 3  # the first ones act on the rider, whose speed answers


def patterns(balance: Balance, by_headwind: NDArray[np.float64], east: NDArray[np.float64],
             north: NDArray[np.float64]) -> tuple[list[NDArray[np.float64]],
                                                  list[NDArray[np.float64]]]:
    """Covariance of each disturbance at unit size: of the road by row [m²], then all projected.

    `by_headwind`, `east`, `north` (s,): energy that one m/s of head, east and north wind takes
    [J s/m].
    """
    segments, kept, heights = balance.segments, balance.kept, balance.heights
    top, bottom = balance.free[:len(kept)], balance.free[len(kept):]
    weight, clock = gravity_of(segments), segments.clock[kept]
    by_headwind, east, north = by_headwind[kept] / weight, east[kept] / weight, north[kept] / weight
    along = np.outer(by_headwind, by_headwind)
    gusts, swell, slow = (_averaged(clock, segments.duration[kept], time) for time in TIMES)
    road = [gusts * along, swell * along,
            slow * (np.outer(east, east) + np.outer(north, north))]
    steps = np.zeros((len(kept), len(segments.node_clock)))
    rows, first = np.arange(len(kept)), segments.first[kept]
    steps[rows, first], steps[rows, first + 1] = -1.0, 1.0
    out = [*(top.T @ k @ top for k in road), _square(top.T @ steps)]
    if len(heights):
        out += _altimeter(balance, bottom)
    return road, out


def _altimeter(balance: Balance, bottom: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    clock = balance.segments.node_clock[balance.heights]
    ride = balance.segments.nodes.ride[balance.heights]
    same = ride[:, None] == ride[None, :]
    begin = np.array([clock[ride == number].min(initial=np.inf)
                      for number in range(int(ride.max()) + 1)])[ride]
    walked = np.minimum.outer(clock - begin, clock - begin) / _HOUR * same
    return [_square(bottom.T), bottom.T @ (_decay(clock, _ALTIMETER_TIME) * same) @ bottom,
            bottom.T @ walked @ bottom]


def _averaged(clock: NDArray[np.float64], duration: NDArray[np.float64],
              time: float) -> NDArray[np.float64]:
    """Covariance of the means over segments of a process that forgets in `time` seconds."""
    x = duration / time
    end = -np.expm1(-x) / x
    half = 0.5 * duration
    gap = np.abs(clock[:, None] - clock[None, :]) - half[:, None] - half[None, :]
    out = np.exp(-np.maximum(gap, 0.0) / time) * np.outer(end, end)
    np.fill_diagonal(out, 2.0 * (1.0 - end) / x)
    return np.asarray(out)


def _decay(clock: NDArray[np.float64], time: float) -> NDArray[np.float64]:
    return np.asarray(np.exp(-np.abs(clock[:, None] - clock[None, :]) / time))


def _square(columns: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(columns @ columns.T)
