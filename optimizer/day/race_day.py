"""What is the same on race day whatever kit is ridden."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from optimizer.conditions import Conditions
    from optimizer.course import Course
    from optimizer.rider import Rider

__all__ = ["Pedalling", "RaceDay"]


@dataclass(frozen=True)
class Pedalling:
    """Where the rider's highest speed for pedalling shapes a ride, (n,) each.

    `coasting`: the road alone takes the rider beyond it, and nobody pedals; `held`: the rider
    pedals just enough to stay at it. Elsewhere it does not matter.
    """

    coasting: NDArray[np.bool_]
    held: NDArray[np.bool_]


@dataclass(frozen=True)
class RaceDay:
    """Course, weather and rider on the day; `optimizer.pacing.race_day` makes one.

    Attributes
    ----------
    course, conditions : where and in which weather
    rider : as height and heat leave them on this course
    step : m, longest step of the grid; None to let the course decide
    start_speed : m/s, 0 for a standing start
    position : (n,) rows of the rider's positions on the steps of the grid; None for the first
    pedalling : where the rider rolls too fast to pedal; None for nowhere
    cautions : what the reader has to know about the rider on the day
    """

    course: Course
    conditions: Conditions
    rider: Rider
    step: float | None = None
    start_speed: float = 0.0
    position: NDArray[np.int64] | None = None
    pedalling: Pedalling | None = None
    cautions: tuple[str, ...] = ()
