"""The cross wind of the day, and the chance that it passes what a piece of kit allows."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.conditions import draw_wind, spread_wind
from optimizer.physics import lay_road

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.conditions import Conditions
    from optimizer.course import Course
    from optimizer.kit.catalogue import Catalogue

__all__ = ["ACCEPTED", "crosswind_draws", "limit_chances", "strongest_crosswind"]

ACCEPTED = 0.1  # chance of a cross wind above a limit, up to which an item may be chosen
_DRAWS, _SEED = 400, 1
_MANY = 4000  # draws of a single forecast for a chance that is shown: it is known to 1 or 2 %
_SLOWEST = 6.0  # m/s, mean speed of the slowest ride whose hours are looked at


def strongest_crosswind(course: Course, conditions: Conditions) -> float:
    """Strongest cross wind at the rider that is to be reckoned with, gusts included.

    Of a single forecast the strongest that it holds anywhere; of an ensemble the one that is
    passed, during the ride, with a chance of one in ten.

    Parameters
    ----------
    course : as `read_course` gives it
    conditions : weather of the race

    Returns
    -------
    m/s
    """
    if conditions.members is not None:
        return float(np.quantile(crosswind_draws(course, conditions), 1.0 - ACCEPTED))
    nodes = _nodes(course)
    worst = 0.0
    for time in conditions.wind_time:
        road = lay_road(course, conditions, nodes, np.full(len(nodes), float(time)))
        worst = max(worst, float(np.abs(road.crosswind).max()))
    wind = float(conditions.wind_speed.max())
    return worst * max(1.0, float(conditions.gust.max()) / wind) if wind > 0 else worst


def crosswind_draws(course: Course, conditions: Conditions, count: int = _DRAWS,
                    ) -> NDArray[np.float64]:
    """Strongest cross wind at the rider during the ride in draws of the weather.

    Gusts of the hour stand to its mean wind as forecast, member by member.

    Parameters
    ----------
    course : as `read_course` gives it
    conditions : weather of the race
    count : of the draws, k

    Returns
    -------
    (k,) m/s
    """
    draws = draw_wind(conditions, np.random.default_rng(_SEED), count)
    nodes = _nodes(course)
    times = conditions.wind_time
    step = float(np.max(np.diff(times))) if len(times) > 1 else 0.0
    ridden = np.flatnonzero((times > -step) & (times < course.length / _SLOWEST + step))
    worst = np.zeros(count)
    for k in ridden if len(ridden) else range(len(times)):
        road = lay_road(course, conditions, nodes, np.full(len(nodes), float(times[k])))
        cross = np.abs(spread_wind(road.headwind, road.crosswind, draws, road.departures)[1])
        worst = np.maximum(worst, cross.max(axis=1) * _gustiness(conditions, draws.weights, int(k)))
    return worst


def _gustiness(conditions: Conditions, weights: NDArray[np.float64] | None,
               hour: int) -> NDArray[np.float64]:
    """Gust over mean wind of one hour, (k,) or (1,), at least 1."""
    row = min(hour, len(conditions.gust) - 1)
    gust, east, north = (field[row].mean(keepdims=True) for field in (
        conditions.gust, conditions.wind_east, conditions.wind_north))
    members = conditions.members
    if weights is not None and members is not None:
        gust, east, north = (middle + weights @ departures[:, min(row, departures.shape[1] - 1)]
                             .mean(axis=1) for middle, departures in (
            (gust, members.gust), (east, members.east), (north, members.north)))
    wind = np.maximum(np.hypot(east, north), 1.0)
    return np.asarray(np.clip(gust / wind, 1.0, 4.0))


def limit_chances(course: Course, conditions: Conditions,
                  catalogue: Catalogue) -> tuple[tuple[str, float], ...]:
    """Give each item with a limit for cross wind, and the chance that the ride passes it.

    Parameters
    ----------
    course : as `read_course` gives it
    conditions : weather of the race
    catalogue : items that could be had

    Returns
    -------
    item and chance, 0 to 1: of an ensemble by its members, of a single forecast by the spread that
    it is given
    """
    limited = [item for item in catalogue.items if np.isfinite(item.crosswind_limit)]
    if not limited:
        return ()
    drawn = crosswind_draws(course, conditions, _MANY if conditions.members is None else _DRAWS)
    return tuple((item.name, float(np.mean(drawn > item.crosswind_limit))) for item in limited)


def _nodes(course: Course) -> NDArray[np.float64]:
    return np.linspace(0.0, course.length, max(int(course.length / 200.0), 2) + 1)
