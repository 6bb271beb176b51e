"""Course and conditions laid on the steps of a computation."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from optimizer.conditions import AirDepartures
from optimizer.conditions.air import air_density_along, density_departures, temperature_along
from optimizer.conditions.wind import departures_along, wind_along, wind_from
from optimizer.frozen import last_kept, locked

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.conditions import Conditions
    from optimizer.course import Course

__all__ = ["Road", "lay_road"]

_NO_LIMIT = 1e3  # m/s, where the course is free


@dataclass(frozen=True)
class Road:
    """Road, air and wind on n steps between n + 1 nodes.

    Attributes
    ----------
    distance, speed_limit : (n + 1,) m, m/s at the nodes
    grade : (n,) rise over run
    heading : (n,) rad clockwise from north
    headwind, crosswind : (n,) m/s at the rider; head wind positive into the face,
        cross wind positive from the left
    air_density : (n,) kg/m³
    rolling_factor : (n,) factor on the tyre's Crr
    elevation, temperature : (n,) m above the sea, K of the air, in the middle of each step
    departures : of the members of an ensemble forecast, None for a single one
    """

    distance: NDArray[np.float64]
    speed_limit: NDArray[np.float64]
    grade: NDArray[np.float64]
    heading: NDArray[np.float64]
    headwind: NDArray[np.float64]
    crosswind: NDArray[np.float64]
    air_density: NDArray[np.float64]
    rolling_factor: NDArray[np.float64]
    elevation: NDArray[np.float64]
    temperature: NDArray[np.float64]
    departures: AirDepartures | None = None

    @property
    def step(self) -> NDArray[np.float64]:
        """(n,) length of each step [m]."""
        return np.diff(self.distance)


def lay_road(course: Course, conditions: Conditions, nodes: NDArray[np.float64],
             arrival: NDArray[np.float64] | None = None) -> Road:
    """Sample course and conditions at `nodes`.

    Step properties are means over the course's own steps, so that no short climb or
    corner falls between two nodes; a speed limit between two nodes counts at the nearer one.

    Parameters
    ----------
    course : the road
    conditions : air and wind over place and time
    nodes : (n + 1,) metres from the start, increasing, within the course
    arrival : (n + 1,) seconds after the start at each node, for a wind that changes
        with time; None takes the wind of the start everywhere

    Returns
    -------
    what each of the n steps is like, in SI
    """
    ground = _ground(course, nodes)
    middle, height = (0.5 * (ends[:-1] + ends[1:]) for ends in (nodes, ground.elevation))
    time = np.zeros_like(middle) if arrival is None else 0.5 * (arrival[:-1] + arrival[1:])
    where = (middle, time, ground.heading, ground.roughness,
             _shelter(ground, conditions, middle, time))
    headwind, crosswind = wind_along(conditions, *where)
    departures = None if conditions.members is None else AirDepartures(
        *departures_along(conditions, *where), density_departures(conditions, middle, time))
    return Road(
        distance=nodes, speed_limit=ground.speed_limit, grade=ground.grade,
        heading=ground.heading, headwind=headwind, crosswind=crosswind,
        air_density=air_density_along(conditions, height, middle, time),
        rolling_factor=ground.rolling_factor,
        elevation=height, temperature=temperature_along(conditions, height, middle, time),
        departures=departures)


class _Ground(NamedTuple):
    """What of a road no weather changes, as in `Road`, but elevations (n + 1,) of the nodes.

    Shelter by direction, where it is known.
    """

    elevation: NDArray[np.float64]
    speed_limit: NDArray[np.float64]
    grade: NDArray[np.float64]
    heading: NDArray[np.float64]
    roughness: NDArray[np.float64]
    rolling_factor: NDArray[np.float64]
    shelter: NDArray[np.float64]
    shelter_from: NDArray[np.float64] | None


@last_kept
def _ground(course: Course, nodes: NDArray[np.float64]) -> _Ground:
    """Sample a course at `nodes`; the rounds of a plan ask for it in one wind after the other."""
    elevation = np.interp(nodes, course.distance, course.elevation)
    roughness, rolling_factor, shelter = (_mean_over_steps(course, values, nodes) for values in (
        course.roughness, course.rolling_factor, course.shelter))
    heading = np.arctan2(_mean_over_steps(course, np.sin(course.heading), nodes),
                         _mean_over_steps(course, np.cos(course.heading), nodes))
    table = None if course.shelter_from is None else np.stack(
        [_mean_over_steps(course, column, nodes) for column in course.shelter_from.T], axis=1)
    found = _Ground(elevation, _limit_at(course, nodes), np.diff(elevation) / np.diff(nodes),
                    heading, roughness, rolling_factor, shelter, table)
    for values in found:
        if values is not None:
            locked(values)
    return found


def _shelter(ground: _Ground, conditions: Conditions, middle: NDArray[np.float64],
             time: NDArray[np.float64]) -> NDArray[np.float64]:
    """Share of the open wind (n,) that is left, in the direction that is forecast.

    Linear between the directions of the course's table. The members of an ensemble and draws
    about a forecast take the shelter of its own direction.
    """
    left, table = ground.shelter, ground.shelter_from
    if table is None:
        return left
    sectors = table.shape[1]
    at = wind_from(conditions, middle, time) / (2.0 * np.pi) * sectors
    low = np.floor(at).astype(np.int64)
    share, steps = at - low, np.arange(len(middle))
    return np.asarray(left * ((1 - share) * table[steps, low % sectors]
                              + share * table[steps, (low + 1) % sectors]))


def _mean_over_steps(course: Course, values: NDArray[np.float64],
                     nodes: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean of a step function of the course between neighbouring nodes."""
    integral = np.concatenate([[0.0], np.cumsum(values * np.diff(course.distance))])
    return np.asarray(np.diff(np.interp(nodes, course.distance, integral)) / np.diff(nodes))


def _limit_at(course: Course, nodes: NDArray[np.float64]) -> NDArray[np.float64]:
    """Speed limit (n + 1,) of the course at nodes; one between two nodes counts at the nearer.

    Its square is linear while a rider brakes evenly. A limit that its neighbours on the course
    do not undercut, and the nodes beside it do, would be ridden through unseen.
    """
    limit = np.minimum(course.speed_limit, _NO_LIMIT)
    least = np.sqrt(np.interp(nodes, course.distance, limit**2))
    bottom = np.flatnonzero((limit < _NO_LIMIT)
                            & (limit <= np.append(limit[1:], _NO_LIMIT))
                            & (limit <= np.insert(limit[:-1], 0, _NO_LIMIT)))
    after = np.clip(np.searchsorted(nodes, course.distance[bottom]), 1, len(nodes) - 1)
    unseen = np.minimum(least[after - 1], least[after]) > limit[bottom]
    bottom, after = bottom[unseen], after[unseen]
    middle = 0.5 * (nodes[after - 1] + nodes[after])
    np.minimum.at(least, np.where(course.distance[bottom] < middle, after - 1, after),
                  limit[bottom])
    return np.asarray(least)
