"""A recorded ride, as the field test and the debrief need it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from optimizer.frozen import ReadOnlyArrays

if TYPE_CHECKING:
    from datetime import datetime

    from numpy.typing import NDArray

    from optimizer.course import Correction

__all__ = ["Ride"]

_ARRAYS = ("time", "distance", "speed", "power", "elevation", "latitude", "longitude")


@dataclass(frozen=True)
class Ride(ReadOnlyArrays):
    """What a head unit wrote down, one entry a sample, in SI.

    Attributes
    ----------
    name : of the ride, as a rider would say it
    time : (n,) seconds after the first sample, increasing
    distance : (n,) metres from the first sample, not decreasing
    speed : (n,) m/s
    power : (n,) W at the cranks; nan where none was recorded
    elevation : (n,) m; nan where unknown
    latitude, longitude : (n,) degrees, WGS84; nan before the first fix and after the last
    start : date and time of the first sample, None if unknown
    corrections : what was mended or derived while reading
    virtual : whether the file says that it was ridden on no road, so that its speed is computed
    file : from which it was read, as it was named; "" for none
    """

    name: str
    time: NDArray[np.float64]
    distance: NDArray[np.float64]
    speed: NDArray[np.float64]
    power: NDArray[np.float64]
    elevation: NDArray[np.float64]
    latitude: NDArray[np.float64]
    longitude: NDArray[np.float64]
    start: datetime | None = None
    corrections: tuple[Correction, ...] = ()
    virtual: bool = False
    file: str = ""

    @property
    def place(self) -> str:
        """What an error about the ride names: its file, or its name where it has none."""
        return self.file or self.name

    @property
    def has_power(self) -> bool:
        """Whether any power was recorded."""
        return bool(np.isfinite(self.power).any())

    @property
    def has_elevation(self) -> bool:
        """Whether the height is known at every sample."""
        return bool(np.isfinite(self.elevation).all())

    @property
    def has_position(self) -> bool:
        """Whether the place on the map is known, from the first fix to the last."""
        return bool(np.isfinite(self.latitude).any())

    @property
    def fixes(self) -> tuple[int, int]:
        """First sample with a place on the map, and the one after the last; all without any."""
        known = np.flatnonzero(np.isfinite(self.latitude))
        return (int(known[0]), int(known[-1]) + 1) if len(known) else (0, len(self.time))

    @property
    def duration(self) -> float:
        """Seconds from the first to the last sample."""
        return float(self.time[-1])

    @property
    def length(self) -> float:
        """Metres from the first to the last sample."""
        return float(self.distance[-1])

    def between(self, first: int, end: int) -> Ride:
        """Give the samples from `first` to before `end` as a ride of their own."""
        if (first, end) == (0, len(self.time)):
            return self
        part = {name: getattr(self, name)[first:end] for name in _ARRAYS}
        part["time"] = part["time"] - self.time[first]
        part["distance"] = part["distance"] - self.distance[first]
        start = self.start + timedelta(seconds=float(self.time[first])) if self.start else None
        return replace(self, start=start, **part)
