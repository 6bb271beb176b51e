"""From raw points to an even line: cleaning, smoothing, resampling."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.course.course import Correction
from optimizer.course.geodesy import east_north, step_lengths
from optimizer.course.smoothing import smooth
from optimizer.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.course.gpx import Points

__all__ = ["Cleaning", "Line", "clean_line"]


@dataclass(frozen=True)
class Cleaning:
    """What may be mended, and how strongly.

    `skip` names corrections to leave out; `penalty` fixes the smoothing of elevation
    instead of letting the data choose; `step` is the grid [m].
    """

    step: float = 10.0
    skip: frozenset[str] = field(default_factory=frozenset)
    penalty: float | None = None


@dataclass(frozen=True)
class Line:
    """An even line on the ground: (n + 1,) nodes, with what was done to get there."""

    distance: NDArray[np.float64]
    latitude: NDArray[np.float64]
    longitude: NDArray[np.float64]
    elevation: NDArray[np.float64]
    elevation_sd: float
    corrections: tuple[Correction, ...]
    doubts: tuple[str, ...]


def clean_line(points: Points, file: str, cleaning: Cleaning) -> Line:
    """Clean, smooth and resample a track; InputError where there is nothing to ride on."""
    corrections: list[Correction] = []
    doubts: list[str] = []
    keep = np.concatenate([[True], step_lengths(points.latitude, points.longitude) > 0.01])
    if not keep.all():
        corrections.append(Correction("repeated points", int((~keep).sum()), "dropped"))
    points = _take(points, keep)
    if len(points) < 2:
        raise InputError(file, "", "has no length: all its points are at one place",
                         "export the track of a ride or a drawn course")
    points = _fill_elevation(points, file, corrections, doubts)
    raw = np.concatenate([[0.0], np.cumsum(step_lengths(points.latitude, points.longitude))])
    nodes = max(int(np.ceil(raw[-1] / cleaning.step)), 2) + 1
    distance = np.linspace(0.0, raw[-1], nodes)
    east, north = np.cumsum(np.concatenate(
        [np.zeros((2, 1)), east_north(points.latitude, points.longitude)], axis=1), axis=1)
    del east, north
    unrolled = np.unwrap(points.longitude, period=360.0)
    latitude = np.interp(distance, raw, points.latitude)
    longitude = (np.interp(distance, raw, unrolled) + 180.0) % 360.0 - 180.0
    where = raw / raw[-1] * (nodes - 1)
    result = smooth(where, points.elevation, nodes, penalty=cleaning.penalty)
    return Line(distance, latitude, longitude, result.values, result.noise_sd,
                tuple(corrections), tuple(doubts))


def _take(points: Points, keep: NDArray[np.bool_]) -> Points:
    return replace(points, **{name: getattr(points, name)[keep] for name in (
        "latitude", "longitude", "elevation", "time", "segment")})


def _fill_elevation(points: Points, file: str, corrections: list[Correction],
                    doubts: list[str]) -> Points:
    known = np.isfinite(points.elevation)
    if not known.any():
        raise InputError(file, "", "has no elevation, so its climbs are unknown",
                         "export it with elevation, or draw it in a planner that adds heights")
    if known.all():
        return points
    index = np.arange(len(known))
    filled = np.interp(index, index[known], points.elevation[known])
    corrections.append(Correction("missing elevation", int((~known).sum()), "interpolated"))
    if known.mean() < 0.9:
        doubts.append(f"{100 * (1 - known.mean()):.0f} % of the points have no elevation")
    return replace(points, elevation=filled)
