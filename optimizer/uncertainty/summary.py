"""What a set of drawn days comes to, in a few numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["chance_faster", "spread"]


def spread(times: NDArray[np.float64]) -> tuple[float, float, float]:
    """5, 50 and 95 % points of times.

    Parameters
    ----------
    times : (k,) s, or (n + 1, k), of which the last row counts

    Returns
    -------
    s
    """
    low, middle, high = np.percentile(times[-1] if times.ndim > 1 else times, [5.0, 50.0, 95.0])
    return float(low), float(middle), float(high)


def chance_faster(first: NDArray[np.float64], second: NDArray[np.float64]) -> float:
    """Share of common days on which the first is faster; ties count half.

    Parameters
    ----------
    first, second : (k,) s, times on the same days

    Returns
    -------
    chance, 0 to 1
    """
    return float(np.mean(np.where(first == second, 0.5, first < second)))
