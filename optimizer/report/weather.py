"""The wind that a ride meets, out of a forecast that changes by place and hour."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.conditions.grid import sample

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.conditions import Conditions
    from optimizer.job import Result

__all__ = ["steady", "wind_met"]


def wind_met(result: Result) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Wind towards east and north [m/s] at forecast height, (n,), where and when the plan rides."""
    air, plan = result.job.conditions, result.plan
    where = 0.5 * (plan.distance[1:] + plan.distance[:-1])
    when = 0.5 * (plan.time[1:] + plan.time[:-1])
    return (sample(air, air.wind_east, where, when), sample(air, air.wind_north, where, when))


def steady(result: Result, east: float | None = None, north: float | None = None) -> Conditions:
    """Conditions with one wind everywhere and always: the given one, or the mean of the ride."""
    met = wind_met(result)
    zero = np.zeros(1)
    return replace(
        result.job.conditions, wind_time=zero, wind_distance=zero,
        wind_east=np.array([[float(met[0].mean()) if east is None else east]]),
        wind_north=np.array([[float(met[1].mean()) if north is None else north]]),
        temperature_change=np.zeros((1, 1)), gust=np.zeros((1, 1)), members=None)
