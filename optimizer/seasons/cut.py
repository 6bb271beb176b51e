"""A plane under the times of an entry's sets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["Cut", "Halves"]


@dataclass(frozen=True)
class Cut:
    """Time is at least floor - Σ price x - Σ overlap u over items and overlaps of a set [s]."""

    floor: float
    price: NDArray[np.float64]
    overlap: NDArray[np.float64]


@dataclass(frozen=True)
class Halves:
    """Planes of which one holds below and one above a place along a coordinate.

    Attributes
    ----------
    along : the coordinate as a cut with the signs turned: floor - Σ price x - Σ overlap u
    slack : by how much that may miss
    place, ends : where the halves meet, and the range of the coordinate
    whole : a plane over all of the range
    low, high : the planes of the halves
    rise : s, by how much each may lie above the other's sets
    """

    along: Cut
    slack: float
    place: float
    ends: tuple[float, float]
    whole: Cut
    low: Cut
    high: Cut
    rise: tuple[float, float]
