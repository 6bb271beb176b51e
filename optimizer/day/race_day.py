"""What is the same on race day whatever kit is ridden."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from optimizer.frozen import ReadOnlyArrays

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from optimizer.conditions import Conditions
    from optimizer.course import Course
    from optimizer.rider import Rider

__all__ = ["Pedalling", "RaceDay"]


@dataclass(frozen=True)
class Pedalling(ReadOnlyArrays):
    """Where the rider's highest speed for pedalling shapes a ride, (n,) each.

    `coasting`: the road alone takes the rider beyond it, and nobody pedals; `held`: the rider
    pedals just enough to stay at it. Elsewhere it does not matter.
    """

    coasting: NDArray[np.bool_]
    held: NDArray[np.bool_]


@dataclass(frozen=True)
class RaceDay(ReadOnlyArrays):
    """Course, weather and rider on the day; `optimizer.pacing.race_day` makes one.

    Attributes
    ----------
    course, conditions : where and in which weather
    rider : for whom the ride is planned: as height and heat leave them on this course, and less
        where a margin is kept
    kept : part of CP and W' that the plan is made for; 1 without a margin
    step : m, longest step of the grid; None to let the course decide
    start_speed : m/s, 0 for a standing start
    position : (n,) rows of the rider's positions on the steps of the grid; None for the first
    pedalling : where the rider rolls too fast to pedal; None for nowhere
    left : part of CP that height and heat leave in the mean over the course, which `rider` has;
        on each step CP follows its own height and hour. None where no relation is chosen
    cautions : what the reader has to know about the rider on the day
    """

    course: Course
    conditions: Conditions
    rider: Rider
    kept: float = 1.0
    step: float | None = None
    start_speed: float = 0.0
    position: NDArray[np.int64] | None = None
    pedalling: Pedalling | None = None
    left: float | None = None
    cautions: tuple[str, ...] = ()

    @property
    def expected(self) -> Rider:
        """The rider as expected on the day, without the margin."""
        if self.kept == 1.0:
            return self.rider
        return replace(self.rider, critical_power=self.rider.critical_power / self.kept,
                       w_prime=self.rider.w_prime / self.kept)

    def keeping(self, part: float) -> RaceDay:
        """Return the day with a rider who has `part` of the expected CP and W'."""
        rider = self.expected
        return replace(self, kept=part, rider=replace(
            rider, critical_power=part * rider.critical_power, w_prime=part * rider.w_prime))
