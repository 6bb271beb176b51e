"""Laps: where a course goes round the same road several times, found from its line alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.course.geodesy import local_metres
from optimizer.course.smoothing import runs_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.course.course import Course

__all__ = ["Laps", "find_laps"]

_SHORTEST = 400.0  # m, a lap of a track
_COARSE = 1500  # places at which the line is compared with itself
_BESIDE = 25.0  # m, that two passes of one road may lie apart: lanes, and the noise of a track
_AHEAD = 0.02  # of a lap, by which passes may differ in length
_SAME_WAY = np.cos(np.radians(40.0))  # of the headings of two passes
_KEPT = 0.95  # of a lap that has to be the same road
_BRIDGED = 2  # places between two that are the same road
_FINE = 10.0  # m, to which ends of laps are found
_SLACK = 0.03  # of a lap, ridden before the first or after the last, that belongs to it


@dataclass(frozen=True)
class Laps:
    """Places [m from the start] where laps begin and end: `edges` (count + 1,)."""

    edges: tuple[float, ...]

    @property
    def count(self) -> int:
        """How many."""
        return len(self.edges) - 1

    @property
    def length(self) -> float:
        """Mean length of a lap [m]."""
        return (self.edges[-1] - self.edges[0]) / self.count

    def within(self, distance: NDArray[np.float64] | float,
               ) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
        """Lap (from 0) and metres into a lap of mean length; -1 before the first, count after it.

        Outside of the laps the metres are those from the start of the course, or from the end
        of the last lap.
        """
        s = np.asarray(distance, dtype=float)
        edges = np.array(self.edges)
        lap = np.searchsorted(edges, s, side="right") - 1
        lap = np.where((lap == self.count) & (s <= edges[-1]), self.count - 1, lap)
        inside = np.clip(lap, 0, self.count - 1)
        into = (s - edges[inside]) / np.diff(edges)[inside] * self.length
        return lap, np.where(lap < 0, s, np.where(lap >= self.count, s - edges[-1], into))


def find_laps(course: Course) -> Laps | None:
    """Find the laps of a course: the same road in the same direction, at least twice.

    A road ridden out and back is not a lap. A lead-in or a run to the finish of less than 3 % of a
    lap belongs to the lap beside it.

    Parameters
    ----------
    course : as `read_course` gives it

    Returns
    -------
    laps; None where there are none, or no coordinates
    """
    if not (np.ptp(course.latitude) or np.ptp(course.longitude)):
        return None
    line = _Line(course)
    apart = max(course.length / _COARSE, _FINE)
    s = np.arange(0.0, course.length, apart)
    place = line.at(s)
    way = line.way(s)
    reach = _BESIDE + 0.6 * apart
    for lag in range(max(int(_SHORTEST / apart), 2), int(0.55 * len(s))):
        east, north = place[:, lag:] - place[:, :-lag]
        same = east * east + north * north < reach * reach
        if (1 + _BRIDGED) * np.count_nonzero(same) < _KEPT * lag:
            continue  # no stretch can be long enough, as with nearly every lag
        same &= (np.sum(way[:, lag:] * way[:, :-lag], axis=0) > _SAME_WAY)
        begin, end = _longest_run(same)
        if (end - begin) < _KEPT * lag:
            continue
        found = _lay(line, begin * apart, lag * apart, course.length)
        if found is not None:
            return found
    return None


class _Line:
    """The course in metres on a plane."""

    def __init__(self, course: Course) -> None:
        self.east, self.north = local_metres(course.latitude, course.longitude,
                                             (float(np.mean(course.latitude)),
                                              float(course.longitude[0])))
        self.distance = course.distance
        self.end = course.length

    def at(self, s: NDArray[np.float64]) -> NDArray[np.float64]:
        """(2, k) metres east and north."""
        return np.stack([np.interp(s, self.distance, self.east),
                         np.interp(s, self.distance, self.north)])

    def way(self, s: NDArray[np.float64]) -> NDArray[np.float64]:
        """(2, k) unit vector of travel, over 30 m."""
        step = self.at(np.minimum(s + 15.0, self.end)) - self.at(np.maximum(s - 15.0, 0.0))
        return np.asarray(step / np.maximum(np.hypot(*step), 1e-9))

    def next_pass(self, s: float, lap: float) -> tuple[float, float]:
        """Where about a lap later the road is nearest to place `s`, and how near [m]."""
        window = np.arange(max(lap - max(_AHEAD * lap, 3 * _FINE), 0.5 * lap),
                           lap + max(_AHEAD * lap, 3 * _FINE), 0.25 * _FINE)
        there = s + window[s + window <= self.end + 1e-6]
        if not len(there):
            return np.nan, np.inf
        gap = np.hypot(*(self.at(there) - self.at(np.array([s]))))
        ways = np.sum(self.way(there) * self.way(np.array([s])), axis=0)
        gap = np.where(ways > _SAME_WAY, gap, np.inf)
        k = int(np.argmin(gap))
        return float(there[k]), float(gap[k])


def _longest_run(same: NDArray[np.bool_]) -> tuple[int, int]:
    """First and behind-last place of the longest stretch that is true; short breaks are bridged."""
    runs: list[tuple[int, int]] = []
    for a, b in runs_of(same):
        if runs and a - runs[-1][1] <= _BRIDGED:  # a corner cut or a wrong fix
            runs[-1] = (runs[-1][0], b)
        else:
            runs.append((a, b))
    return max(runs, key=lambda run: run[1] - run[0], default=(0, 0))


def _lay(line: _Line, begin: float, lap: float, length: float) -> Laps | None:
    """Follow the road from pass to pass; None where it does not come round."""
    def passes(start: float) -> list[float]:
        edges = [start]
        while True:
            place, gap = line.next_pass(edges[-1], lap)
            if gap > _BESIDE:
                return edges
            edges.append(place)

    start = 0.0 if begin < _SLACK * lap else begin
    edges = passes(start)
    if len(edges) < 2:
        # The start may lie beside the road of the laps.
        edges = passes(start + _SLACK * lap)
        if len(edges) < 2:
            return None
        edges[0] = 0.0 if start == 0.0 else edges[0]
    rest = length - edges[-1]
    if rest > (1 - _SLACK) * lap - _BESIDE:
        edges.append(length)  # a last lap that ends just short of where it began
    elif rest < _SLACK * lap:
        edges[-1] = length
    return Laps(tuple(edges)) if len(edges) >= 3 else None
