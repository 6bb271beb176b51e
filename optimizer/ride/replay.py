"""How well the simulation of a ride, as it was, follows the ride; and what limits it.

One CdA, one Crr and a wind that changes slowly are fitted to the energy balance of the whole
ride. A fit follows what it was fitted to; so each tenth is also simulated with what the other
nine tenths say, which is what such a fit is worth on a road that it has not seen.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.physics import DragArea
from optimizer.ride.causes import CAUSES, turned
from optimizer.ride.disturbances import TIMES

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.ride.align import Passage
    from optimizer.ride.causes import Causes, Intended
    from optimizer.ride.field_test import FieldTest

__all__ = ["PARTS", "Splits", "splits_of", "weights_without"]

PARTS = 10
_ALL = frozenset(CAUSES)
_WIND, _GRADE = 0.5, 1e-3  # m/s, -: steps of differences
_AIR = "air that changes within minutes: gusts, shelter, riders in front"
_HEIGHTS = "heights of the road"
_METER = "noise of the power meter"


@dataclass(frozen=True)
class Splits:
    """Simulated against ridden time, without stops, on tenths of the way.

    Attributes
    ----------
    error : (k,) of each part's time, relative; positive where the simulation is slower
    cumulative : (k,) the same from the start to the end of each part
    unseen : (k,) of each part simulated with what the rest of the ride tells
    limits : cause -> what it alone moves a part by, relative standard deviation
    """

    error: NDArray[np.float64]
    cumulative: NDArray[np.float64]
    unseen: NDArray[np.float64]
    limits: dict[str, float]

    @property
    def unseen_rms(self) -> float:
        """Root mean square of the error on parts that the fit has not seen."""
        return float(np.sqrt(np.mean(self.unseen**2)))


def splits_of(causes: Causes, passage: Passage, intended: Intended, test: FieldTest,
              clock: NDArray[np.float64]) -> Splits:
    """Replay the ride, and each tenth of it with what the other nine tell.

    `clock` (m,) s of the middle of each step on the clock of the field test.
    """
    edges = np.linspace(0.0, float(passage.distance[-1]), PARTS + 1)
    stood = causes.stood
    ridden = np.interp(edges, passage.distance, passage.time - stood)
    replay = np.interp(edges, passage.distance, causes.times(_ALL) - stood)
    moments = np.interp(edges, passage.distance, np.append(clock, clock[-1]))
    unseen = np.empty(PARTS)
    for k in range(PARTS):
        without = _without(causes, intended, test, clock, moments[k], moments[k + 1])
        again = np.interp(edges[k:k + 2], passage.distance, without.times(_ALL) - stood)
        unseen[k] = np.diff(again)[0] / (ridden[k + 1] - ridden[k]) - 1.0
    return Splits(np.diff(replay) / np.diff(ridden) - 1.0,
                  (replay[1:] - replay[0]) / (ridden[1:] - ridden[0]) - 1.0, unseen,
                  _limits(causes, test, float(ridden[-1]) / PARTS, float(edges[1])))


def weights_without(precision: NDArray[np.float64], weighted: NDArray[np.float64],
                    out: NDArray[np.bool_]) -> NDArray[np.float64]:
    """(r,) precision times residual as if the rows `out` had not been seen.

    A row that may be anything is a row that is not there: its own unknown takes up all that it
    says (deletion by dummy variables; Cook and Weisberg 1982, Residuals and Influence in
    Regression, section 2.2).
    """
    if not out.any():
        return weighted
    taken = np.linalg.solve(precision[np.ix_(out, out)], weighted[out])
    left = weighted - precision[:, out] @ taken
    left[out] = 0.0
    return np.asarray(left)


def _without(causes: Causes, intended: Intended, test: FieldTest, clock: NDArray[np.float64],
             start: float, end: float) -> Causes:
    """Give the causes with the CdA, Crr and wind that the ride tells without some of its time."""
    post = test.posterior
    out = (post.turning.clock >= start) & (post.turning.clock <= end)
    weighted = weights_without(post.row_precision, post.weighted, out)
    move = post.scale * (post.rows.T @ (weighted - post.weighted))
    groups = len(test.names)
    area, rolling = float(move[0]), float(move[groups])
    steady = post.weight @ post.wind + move[groups + 1:]
    east, north, face = post.turning.at(clock, weighted)
    head, cross = turned(causes.planned, intended.course, steady[0] + east, steady[1] + north)
    return replace(
        causes, head=head + face, cross=cross,
        drag=DragArea(causes.drag.yaw, np.maximum(causes.drag.area + area, 0.05)),
        rolling=np.maximum(causes.rolling + rolling, 1e-4))


def _limits(causes: Causes, test: FieldTest, seconds: float, way: float) -> dict[str, float]:
    """Say what each disturbance moves the time of a part by that lasts `seconds`."""
    base = float(causes.times(_ALL)[-1] - causes.stood[-1])

    def moved(changed: Causes, step: float) -> float:
        return (float(changed.times(_ALL)[-1] - changed.stood[-1]) - base) / base / step

    by_wind = moved(replace(causes, head=causes.head + _WIND), _WIND)
    steeper = replace(causes.planned, grade=causes.planned.grade + _GRADE)
    by_grade = moved(replace(causes, planned=steeper), _GRADE)
    by_power = moved(replace(causes, ridden_power=1.01 * causes.ridden_power), 0.01)
    sizes = list(test.pattern.values())
    air = math.sqrt(sum(size**2 * _mean_variance(time, seconds)
                        for size, time in zip(sizes[:2], TIMES[:2], strict=True)))
    heights = math.hypot(*(test.pattern.get(name, 0.0) for name in (
        "noise of the altimeter, m", "wandering of the altimeter, m")))
    noise = test.spec.assumptions.power_noise / math.sqrt(max(seconds, 1.0))
    return {_AIR: abs(by_wind) * air, _HEIGHTS: abs(by_grade) * math.sqrt(2.0) * heights / way,
            _METER: abs(by_power) * noise}


def _mean_variance(time: float, seconds: float) -> float:
    """Variance of the mean of a process of unit variance that forgets in `time` seconds."""
    x = seconds / time
    return 2.0 / x * (1.0 - (1.0 - math.exp(-x)) / x)
