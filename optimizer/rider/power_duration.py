"""Power against duration: models, fits and their errors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Efforts"]


@dataclass(frozen=True)
class Efforts:
    """Best efforts: `duration` (m,) s, increasing; `power` (m,) W, the mean over it."""

    duration: NDArray[np.float64]
    power: NDArray[np.float64]
    source: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        order = np.argsort(self.duration, kind="stable")
        for name in ("duration", "power"):
            array = np.array(getattr(self, name), dtype=float)[order]
            array.flags.writeable = False
            object.__setattr__(self, name, array)
        if self.source:
            object.__setattr__(self, "source", tuple(self.source[k] for k in order))
