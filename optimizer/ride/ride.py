"""A recorded ride, as the field test and the debrief need it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from datetime import datetime

    from numpy.typing import NDArray

    from optimizer.course import Correction

__all__ = ["Ride"]


@dataclass(frozen=True)
class Ride:
    """What a head unit wrote down, one entry a sample, in SI.

    Attributes
    ----------
    name : of the ride, as a rider would say it
    time : (n,) seconds after the first sample, increasing
    distance : (n,) metres from the first sample, not decreasing
    speed : (n,) m/s
    power : (n,) W at the cranks; nan where none was recorded
    elevation : (n,) m; nan where unknown
    latitude, longitude : (n,) degrees, WGS84; nan where unknown
    start : date and time of the first sample, None if unknown
    corrections : what was mended or derived while reading
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

    def __post_init__(self) -> None:
        for name in ("time", "distance", "speed", "power", "elevation", "latitude", "longitude"):
            array = np.array(getattr(self, name), dtype=float)
            array.flags.writeable = False
            object.__setattr__(self, name, array)

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
        """Whether the place on the map is known at every sample."""
        return bool(np.isfinite(self.latitude).all())

    @property
    def duration(self) -> float:
        """Seconds from the first to the last sample."""
        return float(self.time[-1])

    @property
    def length(self) -> float:
        """Metres from the first to the last sample."""
        return float(self.distance[-1])
