"""The times that the page states: one finish time, one range, one time at each place."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from optimizer.job import Result

__all__ = ["Stated", "stated"]


class Stated(NamedTuple):
    """Elapsed time at the nodes (n + 1,) [s], and the range of the finish, from 5 to 95 %."""

    distance: NDArray[np.float64]
    time: NDArray[np.float64]
    low: float
    high: float

    @property
    def finish(self) -> float:
        """Finish time [s]."""
        return float(self.time[-1])

    def at(self, distance: ArrayLike) -> NDArray[np.float64]:
        """Elapsed time [s] at places [m]."""
        return np.asarray(np.interp(np.asarray(distance, dtype=float), self.distance, self.time))


def stated(result: Result) -> Stated:
    """Give the times of the plan, which every part of the page repeats."""
    low, _, high = result.spread
    return Stated(result.plan.distance, result.plan.time, low, high)
