"""The cross wind of the day, what it forbids, and the chance that it passes a limit."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np

from optimizer.conditions import draw_wind, spread_wind
from optimizer.physics import lay_road

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from optimizer.conditions import Conditions, WindDraws
    from optimizer.course import Course
    from optimizer.kit.catalogue import Catalogue, Item
    from optimizer.physics import Road

__all__ = ["ACCEPTED", "OWN_WHEELS", "bike_passed", "crosswind_draws", "gustiness",
           "limit_chances", "other_wheels", "own_wheels", "strongest_crosswind"]

ACCEPTED = 0.1  # chance of a cross wind above a limit, up to which an item may be chosen
OWN_WHEELS = "the bike's own wheels"  # what the limit of the bike as it stands is about
_WHEELS = (("wheels",), ("front wheel", "rear wheel"))  # places that together replace them
_DRAWS, _SEED = 400, 1
_MANY = 4000  # draws of a single forecast for a chance that is shown: it is known to 1 or 2 %
_TOGETHER = 64  # places whose draws are gone through at once
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
        worst = np.maximum(worst, _strongest(road, draws) * gustiness(
            conditions, draws.weights, int(k)))
    return worst


def _strongest(road: Road, draws: WindDraws) -> NDArray[np.float64]:
    """(k,) m/s, strongest cross wind on a road in each draw."""
    if draws.weights is not None:
        return np.asarray(np.abs(spread_wind(road.headwind, road.crosswind, draws,
                                             road.departures)[1]).max(axis=1))
    turn = draws.speed_factor * np.array([np.cos(draws.turn), -np.sin(draws.turn)])
    winds = np.column_stack([road.crosswind, road.headwind])
    worst = np.zeros(turn.shape[1])
    # Some places at a time: thousands of draws of all of them leave the cache.
    for first in range(0, len(winds), _TOGETHER):
        across = winds[first:first + _TOGETHER] @ turn
        np.maximum(worst, np.abs(across, out=across).max(axis=0), out=worst)
    return worst


def gustiness(conditions: Conditions, weights: NDArray[np.float64] | None,
              hour: int) -> NDArray[np.float64]:
    """Gust over mean wind of one hour, at least 1.

    Parameters
    ----------
    conditions : weather of the race
    weights : (k, m) of the members in each draw; None for the forecast itself
    hour : index into `wind_time`

    Returns
    -------
    (k,) or (1,)
    """
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


def own_wheels(items: Iterable[Item]) -> bool:
    """Whether a set rides a wheel of the bike as it stands, and so with its limit.

    Parameters
    ----------
    items : of the set

    Returns
    -------
    False where the items hold the place of both wheels
    """
    held = {item.place for item in items}
    return not any(held.issuperset(places) for places in _WHEELS)


def bike_passed(course: Course, conditions: Conditions, limit: float,
                items: Iterable[Item]) -> float:
    """Give the cross wind that passes the limit of the bike, where its own wheels are ridden.

    Parameters
    ----------
    course : as `read_course` gives it
    conditions : weather of the race
    limit : m/s, of the bike as it stands
    items : of the set that is ridden

    Returns
    -------
    m/s as `strongest_crosswind` has it; 0 where all is well
    """
    if not (np.isfinite(limit) and own_wheels(items)):
        return 0.0
    crosswind = strongest_crosswind(course, conditions)
    return crosswind if crosswind > limit else 0.0


def other_wheels(catalogue: Catalogue, ruled_out: Iterable[str]) -> tuple[str, ...]:
    """Find what can be ridden in place of the bike's own wheels at no cost.

    Parameters
    ----------
    catalogue : items that could be had
    ruled_out : names of those that the day does not allow

    Returns
    -------
    places to fill; none where nothing that is there fills them
    """
    out = set(ruled_out)
    free = {item.name: item for item in catalogue.items if item.cost == 0 and item.name not in out}
    for places in _WHEELS:
        for chosen in itertools.product(*([item for item in free.values() if item.place == place]
                                          for place in places)):
            if _go_together(chosen, free):
                return places
    return ()


def _go_together(chosen: Iterable[Item], free: dict[str, Item]) -> bool:
    """Whether items, with all that they require, are among the free ones and fit each other."""
    ahead = [item.name for item in chosen]
    found: dict[str, Item] = {}
    while ahead:
        name = ahead.pop()
        if name not in free:
            return False
        if name not in found:
            found[name] = free[name]
            ahead += free[name].requires
    clash = any(name in found for item in found.values() for name in item.excludes)
    return not clash and len({item.place for item in found.values()}) == len(found)


def _nodes(course: Course) -> NDArray[np.float64]:
    return np.linspace(0.0, course.length, max(int(course.length / 200.0), 2) + 1)
