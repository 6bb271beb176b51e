"""A GPX file read as a course."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.course.corners import Handling, braking_envelope, find_corners
from optimizer.course.course import Course, Mark
from optimizer.course.geodesy import east_north, step_lengths
from optimizer.course.gpx import read_gpx
from optimizer.course.profile import Cleaning, Line, clean_line

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from optimizer.course.gpx import Points

__all__ = ["read_course"]


def read_course(path: Path | str, *, cleaning: Cleaning | None = None,
                handling: Handling | None = None) -> Course:
    """Read, clean and resample a GPX file; InputError where it holds no rideable course."""
    points = read_gpx(path)
    line = clean_line(points, str(path), cleaning or Cleaning())
    return _course(points.name, points, line, handling or Handling())


def _course(name: str, points: Points, line: Line, handling: Handling) -> Course:
    east, north = east_north(line.latitude, line.longitude)
    heading = np.arctan2(east, north)
    corners = find_corners(line.distance, heading, handling)
    limit = np.full(len(line.distance), handling.descent_cap)
    for corner in corners:
        k = int(np.argmin(np.abs(line.distance - corner.distance)))
        limit[k] = min(limit[k], corner.speed)
    limit = braking_envelope(limit, line.distance, line.elevation, handling.braking)
    n = len(heading)
    return Course(
        name=name, distance=line.distance, latitude=line.latitude, longitude=line.longitude,
        elevation=line.elevation, heading=heading, rolling_factor=np.ones(n), speed_limit=limit,
        roughness=np.full(n, 0.03), shelter=np.ones(n), marks=_marks(points, line),
        corners=corners, corrections=line.corrections, doubts=line.doubts,
        elevation_sd=line.elevation_sd)


def _marks(points: Points, line: Line) -> tuple[Mark, ...]:
    """Waypoints within 200 m of the line, where it comes nearest."""
    marks = []
    for name, latitude, longitude in points.places:
        away = _distance_to(line, latitude, longitude)
        k = int(np.argmin(away))
        if name and away[k] < 200.0:
            marks.append(Mark(name, float(line.distance[k])))
    return tuple(sorted(marks, key=lambda mark: mark.distance))


def _distance_to(line: Line, latitude: float, longitude: float) -> NDArray[np.float64]:
    n = len(line.latitude)
    lat = np.column_stack([line.latitude, np.full(n, latitude)]).ravel()
    lon = np.column_stack([line.longitude, np.full(n, longitude)]).ravel()
    return step_lengths(lat, lon)[::2]
