"""A ride laid on a course: when each place was passed, with which power, and where it stood."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.errors import InputError
from optimizer.ride.places import heading_of, local_metres

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.course import Course
    from optimizer.ride.ride import Ride

__all__ = ["Passage", "align", "pass_nodes"]

_NEAR = 40.0  # m from the road that still count as on it
_AHEAD = 400.0  # m along the course within which the next sample is looked for
_MOST_OFF = 0.1  # of the samples
_MOST_LONGER = 0.05  # difference of lengths where there are no positions
_STANDING = 1.0  # m/s
_LEAST = 0.2  # of the course that a ride has to follow
_CELL = 100.0  # m
_SAME_WAY = 0.7  # cosine between ride and road of a match that counts


@dataclass(frozen=True)
class Passage:
    """A ride at the nodes of a computation.

    Attributes
    ----------
    distance : (n + 1,) m along the course
    time : (n + 1,) s after the start
    speed : (n + 1,) m/s
    power : (n,) W, mean while moving; nan where none was recorded
    standing : (n,) s stood still
    begin : s after the first sample at which the start of the course was passed
    complete : whether the ride goes to the end of the course
    off_course : share of the samples that were not on it
    """

    distance: NDArray[np.float64]
    time: NDArray[np.float64]
    speed: NDArray[np.float64]
    power: NDArray[np.float64]
    standing: NDArray[np.float64]
    begin: float
    complete: bool
    off_course: float


def align(ride: Ride, course: Course) -> tuple[NDArray[np.float64], float]:
    """Metres along the course at each sample (n,), nan before and after it; share off course.

    By the map where there is one, going forward only, so that a lap is not taken for another;
    between its steady matches by the distance that the wheel counted, which sees a dead turn
    better than a map does. Without positions by distance alone. Raises InputError where the
    ride is not one of this course.
    """
    if not ride.has_position or not np.any(course.latitude):
        return _by_distance(ride, course), 0.0
    origin = (float(course.latitude[0]), float(course.longitude[0]))
    road = np.column_stack(local_metres(course.latitude, course.longitude, origin))
    track = np.column_stack(local_metres(ride.latitude, ride.longitude, origin))
    first = _start(road, track, ride)
    matched, last, off = _march(ride, course, road, track, first)
    share = off / max(last - first + 1, 1)
    reached = float(np.nanmax(matched, initial=0.0))
    if share > _MOST_OFF or reached < _LEAST * course.length:
        raise InputError(ride.name, "", f"is off the course for {100 * share:.0f} % of its time "
                         f"and follows it for {reached / 1000:.1f} of "
                         f"{course.length / 1000:.1f} km", "give the ride of this course")
    along = _smoothed(ride, matched)
    along[(np.arange(len(along)) < first) | (along < 0.0) | (along > course.length)] = np.nan
    along[last + 1:] = np.nan
    return along, share


def _march(ride: Ride, course: Course, road: NDArray[np.float64], track: NDArray[np.float64],
           first: int) -> tuple[NDArray[np.float64], int, int]:
    """Match sample after sample; returns the matches (n,), the last sample, how many were off."""
    pointing = heading_of(ride)
    matched = np.full(len(track), np.nan)
    at, behind, off, k = float(course.distance[0]), ride.distance[first], 0, first
    for k in range(first, len(track)):
        moved = ride.distance[k] - behind
        # After a spell off the course it may be met again well ahead.
        reach = 1.2 * moved + 30.0 if moved < _AHEAD else 2.0 * moved
        low = max(int(np.searchsorted(course.distance, at - 5.0)) - 1, 0)
        high = min(int(np.searchsorted(course.distance, at + reach)) + 1, len(road) - 1)
        place, away, agrees = _project(road, course, track[k], pointing[k], low, high)
        if away > _NEAR:
            off += 1
            continue
        at, behind = max(at, place), ride.distance[k]
        if agrees:
            matched[k] = at
        if at >= course.length - 1.0:
            break
    return matched, k, off


def _smoothed(ride: Ride, matched: NDArray[np.float64]) -> NDArray[np.float64]:
    """Distance by the wheel plus its median lag behind the map over some 100 m."""
    good = np.flatnonzero(np.isfinite(matched))
    lag = matched[good] - ride.distance[good]
    cell = (ride.distance[good] / _CELL).astype(int)
    edges = np.flatnonzero(np.diff(cell, prepend=-1))
    parts = np.split(np.arange(len(good)), edges[1:])
    middle = np.array([ride.distance[good[part]].mean() for part in parts])
    median = np.array([np.median(lag[part]) for part in parts])
    return np.asarray(np.maximum.accumulate(ride.distance + np.interp(ride.distance, middle,
                                                                      median)))


def _by_distance(ride: Ride, course: Course) -> NDArray[np.float64]:
    factor = course.length / ride.length
    if abs(factor - 1.0) > _MOST_LONGER:
        raise InputError(ride.name, "", f"is {ride.length / 1000:.2f} km long, the course "
                         f"{course.length / 1000:.2f} km, and there are no positions",
                         "record positions, or cut the ride to start and finish")
    return np.asarray(ride.distance * factor)


def _start(road: NDArray[np.float64], track: NDArray[np.float64], ride: Ride) -> int:
    """Last sample before the rider leaves the start for good."""
    away = np.hypot(*(track - road[0]).T)
    near = np.flatnonzero(away < _NEAR)
    if not len(near):
        raise InputError(ride.name, "", f"never comes closer than {away.min():.0f} m to the start "
                         "of the course", "give the ride of this course, from its start")
    # The first visit only, so that a course that comes back here is not cut short.
    leaves = near[np.concatenate([np.diff(near) > 1, [True]])][0]
    visit = np.arange(near[0], leaves + 1)
    return int(visit[np.argmin(away[visit])])


def _project(road: NDArray[np.float64], course: Course, point: NDArray[np.float64],
             pointing: float, low: int, high: int) -> tuple[float, float, bool]:
    """Place on the nearest of some steps, how far off it is [m], whether it leads that way."""
    start, step = road[low:high], np.diff(road[low:high + 1], axis=0)
    size = np.maximum(np.sum(step**2, axis=1), 1e-9)
    part = np.clip(np.sum((point - start) * step, axis=1) / size, 0.0, 1.0)
    away = np.hypot(*(start + part[:, None] * step - point).T)
    # Beyond a dead turn the road lies beside itself: the direction tells the two apart.
    agrees = np.cos(course.heading[low:high] - pointing)
    k = int(np.argmin(away + _NEAR * (agrees < 0.0)))
    place = course.distance[low + k] + part[k] * (course.distance[low + k + 1]
                                                  - course.distance[low + k])
    return float(place), float(away[k]), bool(agrees[k] > _SAME_WAY)


def pass_nodes(ride: Ride, course: Course, nodes: NDArray[np.float64]) -> Passage:
    """When and how a ride passes `nodes` [m along the course], as far as it goes.

    Raises InputError where the ride is not one of this course.
    """
    along, off = align(ride, course)
    known = np.flatnonzero(np.isfinite(along))
    end = float(along[known[-1]])
    complete = end >= course.length - 3.0 * _NEAR
    if complete:  # the last fix before the line is as good as the line
        along = along * (course.length / end) if end > 0.9 * course.length else along
        end = course.length
    reached = nodes[nodes <= end + 1e-9]
    # A stop stays at one place: let it creep, so that its time lies on one side of it.
    axis = along[known] + 1e-6 * np.arange(len(known))
    clock = ride.time[known]
    time = np.interp(reached, axis, clock)
    moving = np.interp(ride.time, ride.time, np.concatenate([[0.0], np.cumsum(
        np.diff(ride.time) * (0.5 * (ride.speed[1:] + ride.speed[:-1]) >= _STANDING))]))
    power = np.where(np.isfinite(ride.power), ride.power, 0.0)
    work = np.concatenate([[0.0], np.cumsum(0.5 * (power[1:] + power[:-1]) * np.diff(ride.time))])
    blind = np.concatenate([[0.0], np.cumsum(np.diff(ride.time) * ~np.isfinite(ride.power[1:]))])
    span = np.diff(np.interp(time, ride.time, moving))
    done = np.diff(np.interp(time, ride.time, work))
    unknown = np.diff(np.interp(time, ride.time, blind)) > 0.5 * np.maximum(span, 1e-6)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(span > 0.05, done / np.maximum(span, 1e-6), np.interp(
            0.5 * (time[1:] + time[:-1]), ride.time, power))
    return Passage(reached, time - time[0], np.interp(time, ride.time, ride.speed),
                   np.where(unknown, np.nan, mean), np.diff(time) - span, float(time[0]),
                   complete, off)
