"""From cleaned points to an even line on the ground, and what can be done with such a line."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.course.cleaning import Log
from optimizer.course.geodesy import east_north, move, step_lengths
from optimizer.course.heights import road_heights
from optimizer.course.smoothing import smooth
from optimizer.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.course.cleaning import Cleaning
    from optimizer.course.gpx import Points
    from optimizer.course.terrain import HeightModel

__all__ = ["Line", "Shape", "draw_line", "shape_line"]

FINE_STEP = 5.0  # m, of the line on which corners are found
_SPARSE = 25.0  # m; points further apart than this were drawn, not recorded
_WIDEST = 100.0  # penalty: half of a wave of 100 m passes, else corners are rounded off
_CLOSED = 100.0  # m between finish and start of a lap
_LONGEST, _SHORTEST = 3_000_000.0, 100.0  # m


@dataclass(frozen=True)
class Shape:
    """Which part of the track is ridden, and how: first cut, then turned round, then repeated.

    `start`, `end` [m along the cleaned track]; `reverse` to ride it the other way; `laps`.
    """

    start: float = 0.0
    end: float | None = None
    reverse: bool = False
    laps: int = 1


@dataclass(frozen=True)
class Line:
    """An even line on the ground.

    `distance`, `latitude`, `longitude`, `elevation`: (n + 1,); `height_sd` [m] and `grade_sd`
    of the elevation; `heading_sd` [rad] of the direction of one step. With a terrain model also
    `height_error` (n + 1,), the standard error by place [m], and `track_elevation` (n + 1,), what
    the file alone would have given [m], nan where it has no heights.
    """

    distance: NDArray[np.float64]
    latitude: NDArray[np.float64]
    longitude: NDArray[np.float64]
    elevation: NDArray[np.float64]
    height_sd: float = 0.0
    grade_sd: float = 0.0
    heading_sd: float = 0.0
    height_error: NDArray[np.float64] | None = None
    track_elevation: NDArray[np.float64] | None = None

    @property
    def heading(self) -> NDArray[np.float64]:
        """(n,) rad clockwise from north."""
        east, north = east_north(self.latitude, self.longitude)
        return np.asarray(np.arctan2(east, north))


def draw_line(points: Points, cleaning: Cleaning, log: Log,
              terrain: HeightModel | None = None) -> Line:
    """Smooth positions and heights of cleaned points onto an even line.

    Parameters
    ----------
    points : cleaned
    cleaning : how to smooth
    log : of what was corrected
    terrain : model that gives the heights, where there is one

    Returns
    -------
    an even line, m

    Raises
    ------
    InputError
        for a course that is too short or too long
    """
    raw = np.concatenate([[0.0], np.cumsum(step_lengths(points.latitude, points.longitude))])
    if not _SHORTEST <= raw[-1] <= _LONGEST:
        size = f"{raw[-1]:.0f} m" if raw[-1] < 10_000 else f"{raw[-1] / 1000:.0f} km"
        raise InputError(log.file, "", f"is {size} long", "a course is "
                         f"{_SHORTEST:.0f} m to {_LONGEST / 1000:.0f} km long")
    nodes = np.linspace(0.0, raw[-1], max(int(np.ceil(raw[-1] / FINE_STEP)), 2) + 1)
    latitude, longitude, heading_sd = _positions(points, raw, nodes, log)
    length = np.concatenate([[0.0], np.cumsum(step_lengths(latitude, longitude))])
    latitude, longitude = _spread(length, latitude, longitude, FINE_STEP)
    fine = np.linspace(0.0, length[-1], len(latitude))
    coarse = np.linspace(0.0, length[-1], max(int(np.ceil(length[-1] / cleaning.step)), 2) + 1)
    where = np.interp(raw, nodes, length)
    place = (coarse, np.interp(coarse, fine, latitude), _between(coarse, fine, longitude))
    if terrain is None:
        heights = road_heights(where, points.elevation, *place, cleaning.penalty, log)
        return Line(fine, latitude, longitude, np.interp(fine, coarse, heights.values),
                    heights.height_sd, heights.grade_sd, heading_sd)
    return _on_ground(Line(fine, latitude, longitude, np.zeros(len(fine)), heading_sd=heading_sd),
                      where, points.elevation, place, cleaning, log, terrain)


def _on_ground(line: Line, where: NDArray[np.float64], height: NDArray[np.float64],
               place: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]],
               cleaning: Cleaning, log: Log, terrain: HeightModel) -> Line:
    """Give a line the heights of a terrain model, and beside them those of its own file."""
    track = own = None
    if np.isfinite(height).all():
        # What is wrong with the file's heights is not wrong with the course: a log of its own.
        aside = Log(log.file, log.skip)
        own = np.interp(line.distance, place[0], road_heights(
            where, height, *place, cleaning.penalty, aside).values)
        rough = Log(log.file, log.skip | {"heights"})
        track = np.interp(line.distance, place[0], road_heights(
            where, height, *place, cleaning.penalty, rough).values)
    from optimizer.course.terrain import ground_along  # filters that take long to import

    ground = ground_along(line.distance, line.latitude, line.longitude, track, terrain, log)
    barometer_free = Log(log.file, log.skip | {"drift"})
    heights = road_heights(line.distance, ground.height, *place, cleaning.penalty, barometer_free)
    log.corrections += [c for c in barometer_free.corrections if c.option != "heights"]
    log.warnings += barometer_free.warnings
    error = np.hypot(ground.sd, heights.height_sd)
    return replace(
        line, elevation=np.interp(line.distance, place[0], heights.values),
        height_sd=float(np.sqrt(np.mean(error**2))), grade_sd=heights.grade_sd,
        height_error=error,
        track_elevation=np.full(len(line.distance), np.nan) if own is None else own)


def _positions(points: Points, raw: NDArray[np.float64], nodes: NDArray[np.float64], log: Log,
               ) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """Latitude and longitude at nodes along the raw way, and the error of a step's direction.

    East and north are smoothed together with one penalty, which the data choose; drawn
    courses have no noise and stay as they are.
    """
    latitude = np.interp(nodes, raw, points.latitude)
    longitude = _between(nodes, raw, points.longitude)
    if not log.wants("positions"):
        return latitude, longitude, 0.0
    plane = np.concatenate([np.zeros((2, 1)), np.cumsum(
        east_north(points.latitude, points.longitude), axis=1)], axis=1).T
    where, data = _drawn_through(raw, plane)
    scaled = where / raw[-1] * (len(nodes) - 1)
    fit = smooth(scaled, data, len(nodes), largest_penalty=_WIDEST)
    straight = np.stack([np.interp(nodes, raw, axis) for axis in plane.T], axis=1)
    shift = fit.values - straight
    step = float(nodes[1] - nodes[0])
    noise = np.random.default_rng(0).standard_normal((len(scaled), 1)) * fit.noise_sd
    left = smooth(scaled, noise, len(nodes), penalty=fit.penalty).values
    heading_sd = float(np.sqrt(np.mean(np.diff(left[:, 0]) ** 2)) / step)
    if fit.noise_sd > 0.3:
        log.corrected("positions", "noise of the positions", len(points),
                      f"smoothed, {np.sqrt(np.mean(shift**2)) * np.sqrt(2):.1f} m typical shift")
        return *move(latitude, longitude, shift[:, 0], shift[:, 1]), heading_sd
    return latitude, longitude, heading_sd


def _drawn_through(where: NDArray[np.float64], plane: NDArray[np.float64],
                   ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Points on the straight lines through long steps, so that no spline swings out there."""
    long = np.diff(where) > _SPARSE
    count = np.where(long, np.ceil(np.diff(where) / FINE_STEP).astype(np.int64), 1)
    index = np.repeat(np.arange(len(count)), count)
    part = (np.arange(len(index)) - np.repeat(np.cumsum(count) - count, count)) / count[index]
    dense = np.append(where[index] + part * np.diff(where)[index], where[-1])
    return dense, np.stack([np.interp(dense, where, axis) for axis in plane.T], axis=1)


def _between(where: NDArray[np.float64], known: NDArray[np.float64],
             longitude: NDArray[np.float64]) -> NDArray[np.float64]:
    """Longitude between known points, across the antimeridian too."""
    unrolled = np.interp(where, known, np.unwrap(longitude, period=360.0))
    return np.asarray((unrolled + 180.0) % 360.0 - 180.0)


def _spread(length: NDArray[np.float64], latitude: NDArray[np.float64],
            longitude: NDArray[np.float64], step: float,
            ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give the same line nodes that lie evenly along it."""
    even = np.linspace(0.0, length[-1], max(int(np.ceil(length[-1] / step)), 2) + 1)
    return np.interp(even, length, latitude), _between(even, length, longitude)


def shape_line(line: Line, shape: Shape, file: str) -> Line:
    """Cut, turn round and repeat a line.

    Parameters
    ----------
    line : as drawn
    shape : part, direction and laps
    file : named in messages

    Returns
    -------
    the line that is ridden

    Raises
    ------
    InputError
        where that is not possible
    """
    line = _cut(line, shape, file)
    if shape.reverse:
        line = replace(line, **{name: values[::-1] for name, values in _by_place(line).items()})
    return _repeat(line, shape.laps, file) if shape.laps != 1 else line


def _by_place(line: Line) -> dict[str, Any]:
    """All that a line holds by place."""
    return {name: values for name in ("latitude", "longitude", "elevation", "height_error",
                                      "track_elevation")
            if (values := getattr(line, name)) is not None}


def _sampled(where: NDArray[np.float64], known: NDArray[np.float64],
             by_place: dict[str, Any]) -> dict[str, Any]:
    """Give the same at other places [m] along."""
    return {name: (_between if name == "longitude" else np.interp)(where, known, values)
            for name, values in by_place.items()}


def _cut(line: Line, shape: Shape, file: str) -> Line:
    length = float(line.distance[-1])
    end = length if shape.end is None else shape.end
    if end == length and shape.start == 0.0:
        return line
    if not (0.0 <= shape.start < end <= length + 50.0 and end - shape.start >= _SHORTEST):
        key = "from_km" if shape.start >= length or shape.end is None else "to_km"
        raise InputError(file, key, f"cannot be cut from {shape.start / 1000:.2f} to "
                         f"{end / 1000:.2f} km", f"it is {length / 1000:.2f} km long; name two "
                         "places on it, the nearer one first")
    end = min(end, length)
    nodes = np.linspace(shape.start, end, max(int(np.ceil((end - shape.start) / FINE_STEP)), 2) + 1)
    return replace(line, distance=nodes - shape.start,
                   **_sampled(nodes, line.distance, _by_place(line)))


def _repeat(line: Line, laps: int, file: str) -> Line:
    """`laps` times the same closed line; what is missing at its seam is ridden straight."""
    if laps < 1 or laps * line.distance[-1] > _LONGEST:
        raise InputError(file, "laps", f"cannot be ridden {laps} times", "give 1 or more laps, "
                         f"{_LONGEST / 1000:.0f} km at most")
    ends = [-1, 0]
    seam = float(step_lengths(line.latitude[ends], line.longitude[ends])[0])
    if seam > _CLOSED:
        raise InputError(file, "laps", f"is not a lap: its finish lies {seam:.0f} m from its start",
                         "cut it where it comes back to its start")
    # The height at the seam is one: share out what the two ends differ by.
    tilt = (line.elevation[0] - line.elevation[-1]) * line.distance / line.distance[-1]
    first = slice(1, None) if seam < 0.5 else slice(0, None)
    level = replace(line, elevation=line.elevation + tilt)
    ridden = {name: np.concatenate([lap, np.tile(lap[first], laps - 1)])
              for name, lap in _by_place(level).items()}
    length = np.concatenate([[0.0], np.cumsum(step_lengths(ridden["latitude"],
                                                           ridden["longitude"]))])
    even = np.linspace(0.0, length[-1], max(int(np.ceil(length[-1] / FINE_STEP)), 2) + 1)
    return replace(line, distance=even, **_sampled(even, length, ridden))
