"""What a course is, once it has been read and cleaned."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.frozen import ReadOnlyArrays

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Corner", "Correction", "Course", "Mark", "Stretch"]


@dataclass(frozen=True)
class Mark:
    """A place with a name, where splits are taken.

    `distance` is metres from the start.
    """

    name: str
    distance: float


@dataclass(frozen=True)
class Corner:
    """A place where the road turns so much that it may limit speed.

    `distance` of the apex [m], `radius` [m], `turn` signed angle [rad, right positive],
    `speed` the limit there [m/s], `u_turn` where the road doubles back.
    """

    name: str
    distance: float
    radius: float
    turn: float
    speed: float
    u_turn: bool = False


@dataclass(frozen=True)
class Stretch:
    """A part of the course with a property: from `start` to `end` [m], named `kind`.

    `value` is what the property is worth there: a factor on Crr for a surface, the
    roughness length [m] for terrain, the share of wind that is left for shelter.
    """

    start: float
    end: float
    kind: str
    value: float


@dataclass(frozen=True)
class Correction:
    """Something that was mended in the data: what, how often, and what it changed.

    `option` is the name that leaves it undone; empty where it cannot be left undone.
    """

    what: str
    count: int
    effect: str
    option: str = ""


@dataclass(frozen=True)
class Course(ReadOnlyArrays):
    """A road from start to finish, on n steps between n + 1 nodes.

    Attributes
    ----------
    distance : (n + 1,) metres from the start, increasing, first 0
    latitude, longitude : (n + 1,) degrees, WGS84; zeros where unknown
    elevation : (n + 1,) metres, cleaned
    heading : (n,) direction of travel, radians clockwise from true north
    rolling_factor : (n,) multiplies a tyre's Crr on smooth asphalt
    speed_limit : (n + 1,) m/s from corners, descents and the law; inf where free.
        Braking distance is already in it.
    roughness : (n,) roughness length of the terrain [m]
    shelter : (n,) share of the open wind that reaches the road, 0 to 1
    elevation_sd : standard error of the smoothed elevation [m]
    grade_sd : standard error of the grade over 100 m
    height_error : (n + 1,) standard error of the elevation by place [m], None where only
        `elevation_sd` is known
    track_elevation : (n + 1,) what the track's own heights would have given [m], nan where it has
        none; None where they are the elevation
    shelter_from : (n, s) share of the open wind that reaches the road, on top of `shelter`, by
        where the wind comes from: s directions, evenly from north clockwise; None for all alike
    """

    name: str
    distance: NDArray[np.float64]
    latitude: NDArray[np.float64]
    longitude: NDArray[np.float64]
    elevation: NDArray[np.float64]
    heading: NDArray[np.float64]
    rolling_factor: NDArray[np.float64]
    speed_limit: NDArray[np.float64]
    roughness: NDArray[np.float64]
    shelter: NDArray[np.float64]
    marks: tuple[Mark, ...] = ()
    corners: tuple[Corner, ...] = ()
    corrections: tuple[Correction, ...] = ()
    warnings: tuple[str, ...] = ()
    elevation_sd: float = 0.0
    grade_sd: float = 0.0
    height_error: NDArray[np.float64] | None = None
    track_elevation: NDArray[np.float64] | None = None
    shelter_from: NDArray[np.float64] | None = None

    @property
    def length(self) -> float:
        """Length of the course [m]."""
        return float(self.distance[-1])

    @property
    def grade(self) -> NDArray[np.float64]:
        """(n,) rise over run of each step."""
        return np.diff(self.elevation) / np.diff(self.distance)

    @property
    def split_marks(self) -> tuple[Mark, ...]:
        """Marks where splits are taken: by distance, those at start and finish left out."""
        inside = [mark for mark in self.marks if 0.5 < mark.distance < self.length - 0.5]
        return tuple(sorted(inside, key=lambda mark: mark.distance))

    @property
    def ascent(self) -> float:
        """Sum of all climbs [m]."""
        return float(np.maximum(np.diff(self.elevation), 0.0).sum())
