"""GPX files read as a course."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from optimizer.course.cleaning import Cleaning, Log, clean_points
from optimizer.course.corners import (
    LIKELY_U_TURN,
    Handling,
    braking_envelope,
    corner_limit,
    find_corners,
    set_limits,
)
from optimizer.course.course import Corner, Course, Mark
from optimizer.course.features import TERRAINS, Features, Limit, lay
from optimizer.course.geodesy import cartesian, step_lengths
from optimizer.course.gpx import Points, read_gpx
from optimizer.course.profile import Shape, draw_line, shape_line
from optimizer.course.shelter import obstacle_sectors, surface_sectors
from optimizer.course.smoothing import runs_of
from optimizer.defaults import NINE_IN_TEN
from optimizer.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from optimizer.course.profile import Line
    from optimizer.course.terrain import HeightModel

__all__ = ["read_course"]

_ONE_PLACE = 1.0  # m
_BESIDE = 100.0  # m; a waypoint further from the road is not on the course
_JOINED = 200.0  # m
_TANGLE = np.radians(400.0)  # a ramp that turns once round, and a corner, are roads
_TOLD = 3
_BACK, _TWICE = np.radians(150.0), 60.0  # rad, m: no rider turns back so soon again


def read_course(path: Path | str | Sequence[Path | str], *, shape: Shape | None = None,
                cleaning: Cleaning | None = None, handling: Handling | None = None,
                features: Features | None = None,
                terrain: HeightModel | None = None,
                surface: HeightModel | None = None,
                reader: Callable[[Path | str], Points] = read_gpx) -> Course:
    """Read, clean and resample a track, or several that follow on each other.

    Parameters
    ----------
    path : of the file, or of several that follow on each other
    shape : part, direction and laps; the whole track once by default
    cleaning : what may be corrected
    handling : how the rider takes corners
    features : what no track holds: surfaces, terrain, shelter, limits, marks
    terrain : a terrain model, which gives the heights instead of the file
    surface : a surface model, of what stands on the ground of `terrain` and shelters the road
    reader : reads the points of a file; GPX by default

    Returns
    -------
    course on even steps of `cleaning.step` [m], in SI

    Raises
    ------
    InputError
        where there is no rideable course in the file
    """
    cleaning, handling = cleaning or Cleaning(), handling or Handling()
    features = features or Features()
    files = [path] if isinstance(path, str | Path) else list(path)
    points = _joined([(str(file), reader(file)) for file in files])
    log = Log(str(files[0]), cleaning.skip)
    line = draw_line(clean_points(points, cleaning, log, heights=terrain is None), cleaning, log,
                     terrain)
    line = shape_line(line, shape or Shape(), log.file)
    course = _course(points, line, cleaning.step, handling, features, log)
    if terrain is None or surface is None:
        return course
    seen = surface_sectors(course.distance, course.latitude, course.longitude, terrain, surface)
    beside = course.shelter_from
    return replace(course, shelter_from=seen if beside is None else np.minimum(seen, beside))


def _joined(parts: list[tuple[str, Points]]) -> Points:
    if not parts:
        raise InputError("course", "", "names no file", "name at least one track")
    whole = parts[0][1]
    for file, part in parts[1:]:
        gap = step_lengths(np.array([whole.latitude[-1], part.latitude[0]]),
                           np.array([whole.longitude[-1], part.longitude[0]]))[0]
        if gap > _JOINED:
            raise InputError(file, "", f"begins {gap / 1000:.1f} km from where the file before it "
                             "ends", "name the files in the order in which they are ridden")
        latitude, longitude, elevation = (
            np.concatenate([getattr(whole, name), getattr(part, name)])
            for name in ("latitude", "longitude", "elevation"))
        # Times of two files need not follow on each other; without them order is the files'.
        whole = Points(whole.name, latitude, longitude, elevation, np.full(len(latitude), np.nan),
                       np.concatenate([whole.segment, part.segment + whole.segment[-1] + 1]),
                       whole.places + part.places)
    return whole


def _course(points: Points, line: Line, step: float, handling: Handling, features: Features,
            log: Log) -> Course:
    length = float(line.distance[-1])
    nodes = np.linspace(0.0, length, max(int(np.ceil(length / step)), 2) + 1)
    marks = _marks(points, line, features, log)
    limits = _placed(features.limits, marks, log)
    corners = _named(_without_tangles(find_corners(line, handling), log), marks)
    corners = _told_wide_turns(corners, set_limits(corners, limits, length), log)
    corners = tuple(corner for corner in corners
                    if corner.speed < handling.descent_cap)  # the others limit nothing
    fine = np.minimum(corner_limit(line.distance, corners), handling.descent_cap)
    for stretch in features.stretches:
        if stretch.kind == "speed":
            inside = (line.distance >= stretch.start) & (line.distance <= stretch.end)
            fine[inside] = np.minimum(fine[inside], stretch.value)
    fine = braking_envelope(fine, line.distance, line.elevation, handling.deceleration)
    _warn(line, log)
    heading = _mean_heading(nodes, line)
    return Course(
        name=points.name, distance=nodes,
        latitude=np.interp(nodes, line.distance, line.latitude),
        longitude=_longitude(nodes, line),
        elevation=np.interp(nodes, line.distance, line.elevation),
        heading=heading,
        shelter_from=obstacle_sectors(features.obstacles, nodes, heading),
        rolling_factor=lay(features.stretches, "surface", nodes, 1.0),
        speed_limit=_least(nodes, line.distance, fine),
        roughness=lay(features.stretches, "terrain", nodes, TERRAINS["open"]),
        shelter=lay(features.stretches, "shelter", nodes, 1.0),
        marks=_together(marks), corners=corners, corrections=tuple(log.corrections),
        warnings=tuple(log.warnings), elevation_sd=line.height_sd, grade_sd=line.grade_sd, **{
            name: np.interp(nodes, line.distance, values) for name, values in (
                ("height_error", line.height_error), ("track_elevation", line.track_elevation))
            if values is not None})


def _without_tangles(corners: tuple[Corner, ...], log: Log) -> tuple[Corner, ...]:
    """Corners without those that turn further than any road: knots of a receiver at a stop."""
    tangles = [corner for corner in corners if abs(corner.turn) > _TANGLE]
    for corner in tangles[:_TOLD]:
        log.warnings.append(
            f"At km {corner.distance / 1000:.1f} the track winds around itself, "
            f"{abs(np.degrees(corner.turn)):.0f}° in all: a stop, not a corner. The way there is "
            "too long; cut it out of the track.")
    back = [corner for corner in corners if abs(corner.turn) > _BACK]
    twice = next((a for a, b in pairwise(back) if b.distance - a.distance < _TWICE), None)
    if twice is not None:
        log.warnings.append(f"At km {twice.distance / 1000:.1f} the track turns back on itself "
                            f"twice within {_TWICE:.0f} m: a stop, or points in disorder; cut "
                            "them out.")
    return tuple(corner for corner in corners if corner not in tangles)


def _told_wide_turns(found: tuple[Corner, ...], limited: tuple[Corner, ...],
                     log: Log) -> tuple[Corner, ...]:
    """Say which U-turns may as well be hairpins, if the rider gives no speed for them."""
    wide = [corner for corner in limited if corner in found and corner.u_turn
            and corner.radius >= LIKELY_U_TURN]
    if wide:
        *firsts, last = [f"{corner.distance / 1000:.1f}" for corner in wide[:_TOLD]]
        places = f"{', '.join(firsts)} and {last}" if firsts else last
        more = f" and {len(wide) - _TOLD} more places" if len(wide) > _TOLD else ""
        log.warnings.append(
            f"At km {places}{more} the way comes back 10 m beside itself or a little more: it is "
            f"ridden as a U-turn, {3.6 * wide[0].speed:.0f} km/h. If it is a bend of the road, "
            "give its speed in the scenario: [[corner]] with "
            f"km = {wide[0].distance / 1000:.2f} and speed_kmh.")
    return limited


def _longitude(nodes: NDArray[np.float64], line: Line) -> NDArray[np.float64]:
    unrolled = np.interp(nodes, line.distance, np.unwrap(line.longitude, period=360.0))
    return np.asarray((unrolled + 180.0) % 360.0 - 180.0)


def _mean_heading(nodes: NDArray[np.float64], line: Line) -> NDArray[np.float64]:
    """(n,) direction of the mean way over each step."""
    heading = line.heading
    step = np.diff(line.distance)
    way = [np.diff(np.interp(nodes, line.distance,
                             np.concatenate([[0.0], np.cumsum(part * step)])))
           for part in (np.sin(heading), np.cos(heading))]
    return np.asarray(np.arctan2(*way))


def _least(nodes: NDArray[np.float64], fine: NDArray[np.float64],
           limit: NDArray[np.float64]) -> NDArray[np.float64]:
    """Least limit of the fine line within half a step of each node."""
    middles = 0.5 * (nodes[:-1] + nodes[1:])
    least = np.full(len(nodes), np.inf)
    np.minimum.at(least, np.searchsorted(middles, fine), limit)
    return least


# --- places with names ------------------------------------------------------------------


def _marks(points: Points, line: Line, features: Features, log: Log) -> tuple[Mark, ...]:
    """Give the marks that are known, and the file's waypoints at each passing of the line."""
    marks = [mark for mark in features.marks if 0.0 <= mark.distance <= line.distance[-1]]
    if len(marks) < len(features.marks):
        log.warnings.append("Some marks lie beyond the end of the course and were left out.")
    place = cartesian(line.latitude, line.longitude)
    lost = []
    for name, latitude, longitude in points.places:
        away = np.linalg.norm(place - cartesian(np.array([latitude]), np.array([longitude])),
                              axis=0)
        passes = _passes(away, line.distance)
        if not name or not passes:
            lost.append(name or "one without a name")
        marks += [Mark(name if not k else f"{name} ({k + 1})", distance)
                  for k, distance in enumerate(passes if name else [])]
    if lost:
        log.warnings.append(f"Waypoints beside the course or without a name were left out: "
                            f"{', '.join(lost[:5])}{' ...' if len(lost) > 5 else ''}.")
    return tuple(sorted(marks, key=lambda mark: mark.distance))


def _together(marks: tuple[Mark, ...]) -> tuple[Mark, ...]:
    """Join marks at one place to one that has all their names; they come by distance.

    Between two marks at one place there is no stretch to tell anything about.
    """
    found: list[Mark] = []
    for mark in marks:
        if found and mark.distance - found[-1].distance < _ONE_PLACE:
            known = found[-1].name.split(", ")
            if mark.name not in known:
                found[-1] = replace(found[-1], name=f"{found[-1].name}, {mark.name}")
        else:
            found.append(mark)
    return tuple(found)


def _passes(away: NDArray[np.float64], distance: NDArray[np.float64]) -> list[float]:
    """Places where the line passes a point: nearest of each spell within reach of it."""
    if away.min() > _BESIDE:
        return []
    near = away < max(30.0, 1.5 * float(away.min()))
    return [float(distance[a + int(np.argmin(away[a:b]))]) for a, b in runs_of(near)]


def _named(corners: tuple[Corner, ...], marks: tuple[Mark, ...]) -> tuple[Corner, ...]:
    """Corners with the name of a mark that stands at them."""
    named = []
    for corner in corners:
        near = [mark for mark in marks if abs(mark.distance - corner.distance) < 40.0]
        named.append(replace(corner, name=min(near, key=lambda mark: abs(
            mark.distance - corner.distance)).name) if near else corner)
    return tuple(named)


def _placed(limits: tuple[Limit, ...], marks: tuple[Mark, ...], log: Log) -> tuple[Limit, ...]:
    """Limits at distances; those that only name a mark stand at each of its passings."""
    placed = []
    for limit in limits:
        if limit.distance is not None:
            placed.append(limit)
            continue
        found = [mark for mark in marks
                 if mark.name == limit.name or mark.name.startswith(f"{limit.name} (")]
        if not found:
            raise InputError(log.file, "", f'has no place called "{limit.name}" for a speed limit',
                             "give the limit its distance, or name a waypoint or mark")
        placed += [Limit(mark.name, mark.distance, limit.speed) for mark in found]
    return tuple(placed)


def _warn(line: Line, log: Log) -> None:
    if line.grade_sd > 0.005:
        log.warnings.append("Grades over 100 m are uncertain by "
                            f"±{100 * NINE_IN_TEN * line.grade_sd:.1f} percentage points.")
    if line.heading_sd > np.radians(10.0):
        log.warnings.append("Positions are noisy; tight corners may be missed or invented.")
