"""A ride laid on a course: when each place was passed, with which power, and where it stood."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.course.geodesy import local_metres
from optimizer.errors import InputError
from optimizer.ride.places import heading_of
from optimizer.ride.spans import STANDING, running, spans_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.course import Course
    from optimizer.ride.ride import Ride

__all__ = ["Passage", "align", "pass_nodes"]

_ELSEWHERE = 20_000.0  # m from the start beyond which a ride was on another course
_NEAR = 40.0  # m from the road that still count as on it
_AHEAD = 400.0  # m along the course within which the next sample is looked for
_MOST_OFF = 0.1  # of the samples
_MOST_LONGER = 0.05  # difference of lengths where there are no positions
_AT_THE_LINE = 10.0  # m; a rider who stands so near the start waits for it
_WHEEL_OFF, _WHEEL_LAG = 0.1, 200.0  # of the way, m: of the wheel against the map
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
    power : (n,) W, mean while riding; nan where it was not recorded
    standing : (n,) s stood still
    slowest : (n,) m/s, least speed that was recorded in the step
    begin : s after the first sample at which the start of the course was passed
    stretch : metres of the course for each metre by the wheel
    complete : whether the ride goes to the end of the course
    off_course : share of the samples that were not on it
    """

    distance: NDArray[np.float64]
    time: NDArray[np.float64]
    speed: NDArray[np.float64]
    power: NDArray[np.float64]
    standing: NDArray[np.float64]
    slowest: NDArray[np.float64]
    begin: float
    stretch: float
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
    # Before the first fix and after the last the wheel alone tells the place.
    begin, end = ride.fixes
    located = ride.between(begin, end)
    origin = (float(course.latitude[0]), float(course.longitude[0]))
    road = np.column_stack(local_metres(course.latitude, course.longitude, origin))
    track = np.column_stack(local_metres(located.latitude, located.longitude, origin))
    first, at = _start(road, track, located, course, float(ride.distance[begin]))
    matched, last, off = _march(located, course, road, track, first, at)
    share = off / max(last - first + 1, 1)
    reached = float(np.nanmax(matched, initial=0.0))
    if share > _MOST_OFF or reached < _LEAST * course.length:
        raise InputError(ride.place, "", f"is off the course for {100 * share:.0f} % of its time "
                         f"and follows it for {reached / 1000:.1f} of "
                         f"{course.length / 1000:.1f} km", "give the ride of this course")
    along = _smoothed(ride, np.concatenate([np.full(begin, np.nan), matched,
                                            np.full(len(ride.time) - end, np.nan)]))
    number = np.arange(len(along))
    out = (along < 0.0) | (along > course.length)
    if at == course.distance[0]:
        out |= number < begin + first
    if last < len(matched) - 1:  # the line was passed; what comes after it is another ride
        out |= number > begin + last
    along[out] = np.nan
    return along, share


def _march(ride: Ride, course: Course, road: NDArray[np.float64], track: NDArray[np.float64],
           first: int, at: float) -> tuple[NDArray[np.float64], int, int]:
    """Match sample after sample from metre `at` on.

    Returns the matches (n,), the last sample, how many were off.
    """
    pointing = heading_of(ride)
    matched = np.full(len(track), np.nan)
    behind, off, k = ride.distance[first], 0, first
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
        raise InputError(ride.place, "", f"is {ride.length / 1000:.2f} km long, the course "
                         f"{course.length / 1000:.2f} km, and there are no positions",
                         "record positions, or cut the ride to start and finish")
    return np.asarray(ride.distance * factor)


def _start(road: NDArray[np.float64], track: NDArray[np.float64], ride: Ride, course: Course,
           wheeled: float) -> tuple[int, float]:
    """Sample at which the ride of the course begins, and the metre of the course there.

    The last sample before the rider leaves the start for good, or leaves the wait for it; where
    the first fix came after `wheeled` metres on the way, that first fix.
    """
    if wheeled > _WHEEL_LAG:
        reach = _WHEEL_OFF * wheeled + _WHEEL_LAG
        low, high = np.searchsorted(course.distance, [wheeled - reach, wheeled + reach])
        low, high = max(int(low) - 1, 0), min(int(high) + 1, len(road) - 1)
        if low < high:
            place, off, agrees = _project(road, course, track[0], float(heading_of(ride)[0]), low,
                                          high)
            if off < _NEAR and agrees:
                return 0, place
    away = np.hypot(*(track - road[0]).T)
    near = np.flatnonzero(away < _NEAR)
    if not len(near):
        nearest = float(away.min())
        if nearest > _ELSEWHERE:
            raise InputError(ride.place, "", f"is {nearest / 1000:,.0f} km away from the start: "
                             "this is another course", "give the ride of this course")
        raise InputError(ride.place, "", f"never comes closer than {nearest:.0f} m to the start "
                         "of the course", "give the ride of this course, from its start")
    # The first visit only, so that a course that comes back here is not cut short.
    leaves = near[np.concatenate([np.diff(near) > 1, [True]])][0]
    visit = np.arange(near[0], leaves + 1)
    nearest = int(visit[np.argmin(away[visit])])
    waits = visit[(ride.speed[visit] < STANDING) & (away[visit] < away[nearest] + _AT_THE_LINE)]
    return max(int(waits[-1]), nearest) if len(waits) else nearest, float(course.distance[0])


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
    spans = spans_of(ride)
    span, seen, done = (np.diff(np.interp(time, ride.time, running(values)))
                        for values in (spans.riding, spans.known, spans.work))
    mean = np.divide(done, seen, out=np.full(len(span), np.nan),
                     where=seen > np.maximum(0.5 * span, 1e-6))
    still = span < 1e-6  # the road of a step that a stop takes whole
    mean[still] = np.interp(0.5 * (time[1:] + time[:-1]), ride.time, ride.power)[still]
    return Passage(reached, time - time[0], np.interp(time, ride.time, ride.speed),
                   mean, np.diff(time) - span, _slowest(ride, time), float(time[0]),
                   _stretch(ride, time, float(reached[-1] - reached[0])), complete, off)


def _stretch(ride: Ride, time: NDArray[np.float64], way: float) -> float:
    """Ratio of the course's metres to the wheel's, if a wheel can be so far off."""
    wheel = float(np.diff(np.interp(time[[0, -1]], ride.time, ride.distance))[0])
    ratio = way / max(wheel, 1.0)
    return ratio if abs(ratio - 1.0) < _MOST_LONGER else 1.0


def _slowest(ride: Ride, time: NDArray[np.float64]) -> NDArray[np.float64]:
    """Least of the speeds at the samples about each step and in it [m/s]."""
    first = np.maximum(np.searchsorted(ride.time, time[:-1], side="right") - 1, 0)
    end = np.minimum(np.searchsorted(ride.time, time[1:], side="left") + 1, len(ride.time))
    edges = np.stack([first, end], axis=1).ravel()
    return np.asarray(np.minimum.reduceat(np.append(ride.speed, np.inf), edges)[::2])
