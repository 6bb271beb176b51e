"""Planes under the times of an entry's sets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["Cut", "Pieces"]


@dataclass(frozen=True)
class Cut:
    """Time is at least floor - Σ price x - Σ overlap u over items and overlaps of a set [s]."""

    floor: float
    price: NDArray[np.float64]
    overlap: NDArray[np.float64]


@dataclass(frozen=True)
class Pieces:
    """Planes of which each holds on one piece of the range of a coordinate.

    Attributes
    ----------
    along : the coordinate as a cut with the signs turned: floor - Σ price x - Σ overlap u
    slack : by how much that may miss
    edges : (k + 1,) where the pieces meet, rising
    planes : (k,)
    rise : (k,) s, by how much each may lie above a plane for the whole range
    """

    along: Cut
    slack: float
    edges: tuple[float, ...]
    planes: tuple[Cut, ...]
    rise: tuple[float, ...]
