"""What was stated before the rides against what they say without it.

A posterior hides a clash between the two: it lies between them, and is surer than either. With
a normal prior (p, q²) of one parameter and its posterior (m, s²), the rides alone say

    1/t² = 1/s² - 1/q²,    l = t² (m/s² - p/q²)

and stated and ridden disagree where (l - p)²/(t² + q²) is larger than chance makes it. (Box 1980,
J. R. Stat. Soc. A 143:383, on checking a prior by what the data were to be expected to be.)
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from optimizer.defaults import NINE_IN_TEN

if TYPE_CHECKING:
    from optimizer.ride.field_test import FieldTest

__all__ = ["Alone", "rolling_alone", "wind_disagrees", "wind_stated"]

# Chi square of two, exceeded one time in ten; of one direction alone, one in thirty.
_NINE_IN_TEN_PLANE: Final = 4.605
_CALM: Final = 0.3  # m/s; who states less has stated no wind
_LEARNT: Final = 1e-3  # of the prior's precision; less tells nothing


@dataclass(frozen=True)
class Alone:
    """Crr by the rides alone, its standard deviation, and whether what was stated disagrees."""

    rolling: float
    rolling_sd: float
    disagrees: bool


def rolling_alone(test: FieldTest) -> Alone:
    """Crr as the rides alone ask for it; errors of meter, wheel and mass widen it."""
    q = test.spec.assumptions.rolling_resistance_sd
    p = test.spec.bike.rolling_resistance
    mean, covariance = test.free.moments()
    moved = float(np.linalg.norm(test.free.moved[-1]))
    own = max(float(covariance[-1, -1]) - moved**2, 1e-16)
    gain = 1.0 - own / q**2  # of the rides in the posterior
    if gain < _LEARNT:
        return Alone(p, np.inf, disagrees=False)
    rolling = p + (float(mean[-1]) - p) / gain
    sd = float(np.sqrt(own / gain + (moved / gain)**2))
    return Alone(rolling, sd, abs(rolling - p) > NINE_IN_TEN * float(np.hypot(sd, q)))


def wind_disagrees(test: FieldTest) -> bool:
    """Whether the steady wind by the rides is another one than the wind that was stated."""
    if not all(ride.has_position for ride in test.spec.rides) or not _stated(test):
        return False
    free = test.free
    found = free.weight @ free.wind
    apart = free.wind - found
    known = test.spec.assumptions.wind_sd**2
    left = (known * np.eye(2) - np.einsum("c,ci,cj->ij", free.weight, apart, apart))
    learnt, axes = np.linalg.eigh(left)
    seen = learnt > _LEARNT * known  # else the rides tell nothing in that direction
    return bool(np.sum((axes.T @ found)[seen]**2 / learnt[seen]) > _NINE_IN_TEN_PLANE)


def wind_stated(test: FieldTest) -> tuple[float, float] | None:
    """Mean wind at the rider as it was stated, towards east and north [m/s].

    None where none was, or where a ride without positions cannot tell another one from it.
    """
    if not all(ride.has_position for ride in test.spec.rides) or not _stated(test):
        return None
    east, north = np.array(test.wind) - test.free.weight @ test.free.wind
    return float(east), float(north)


def _stated(test: FieldTest) -> bool:
    """Whether any ride came with a wind."""
    return any(float(c.wind_speed.max()) > _CALM for c in test.spec.conditions)
