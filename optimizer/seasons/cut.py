"""A plane under the times of an entry's sets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["Cut"]


@dataclass(frozen=True)
class Cut:
    """Time is at least floor - Σ price x - Σ overlap u over items and overlaps of a set [s]."""

    floor: float
    price: NDArray[np.float64]
    overlap: NDArray[np.float64]
