"""A plan: what to ride where, how long it takes, and how far from the best it can be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.pacing.problem import PacingProblem

__all__ = ["Block", "Hill", "Plan", "RideablePlan"]


@dataclass(frozen=True)
class Plan:
    """The fastest plan found for one problem, verified by forward simulation.

    Attributes
    ----------
    problem : the arrays it was computed on (n steps)
    speed, time, reserve : (n + 1,) m/s, s, J at the nodes
    power : (n,) W at the cranks
    lower_bound : s, no plan on this problem is faster
    lossless : whether the convex relaxation was exact; else the plan was polished locally
    iterations : of the solver
    grid_error : s, estimated distance of this grid's time from the continuous limit; nan
        where it was not measured
    seconds_per_joule : (n,) time won by one more joule at the cranks, given here for free
    seconds_per_reserve_joule : time won by one more joule of W'
    seconds_per_speed : (n + 1,) time won per m/s of a higher speed limit
    seconds_per_critical_joule : (n,) time won by one more joule that CP gives on a step
    seconds_per_limit_joule : (n,) time won by one more joule that the power limit allows there
    seconds_per_effort : time won by one more second of the allowed effort
    linear_bound : s, lower bound by the second route, HiGHS; nan where it was not asked for
    notes : what a reader should know about how it was found
    """

    problem: PacingProblem
    speed: NDArray[np.float64]
    time: NDArray[np.float64]
    power: NDArray[np.float64]
    reserve: NDArray[np.float64]
    lower_bound: float
    lossless: bool
    iterations: int
    seconds_per_joule: NDArray[np.float64]
    seconds_per_reserve_joule: float
    seconds_per_speed: NDArray[np.float64]
    seconds_per_critical_joule: NDArray[np.float64]
    seconds_per_limit_joule: NDArray[np.float64]
    seconds_per_effort: float = 0.0
    linear_bound: float = float("nan")
    grid_error: float = float("nan")
    notes: tuple[str, ...] = ()

    @property
    def distance(self) -> NDArray[np.float64]:
        """(n + 1,) metres from the start."""
        return self.problem.distance

    @property
    def finish_time(self) -> float:
        """Seconds."""
        return float(self.time[-1])

    @property
    def gap(self) -> float:
        """Seconds between the plan and the lower bound."""
        return max(self.finish_time - self.lower_bound, 0.0)

    @property
    def work(self) -> float:
        """Work at the cranks [J]."""
        return float(np.sum(self.power * np.diff(self.time)))

    @property
    def mean_power(self) -> float:
        """Time mean of the power [W]."""
        return self.work / self.finish_time

    @property
    def lowest_reserve(self) -> float:
        """Least reserve on the way [J]."""
        return float(self.reserve.min())

    def time_at(self, distance: float) -> float:
        """Elapsed seconds at a place [m from the start]."""
        return float(np.interp(distance, self.distance, self.time))


@dataclass(frozen=True)
class Block:
    """Constant power from `start` to `end` [m]; `place` says in words where it starts."""

    start: float
    end: float
    power: float
    place: str
    position: str = ""


@dataclass(frozen=True)
class Hill:
    """What to add to the block's power where the road is between two grades (rise over run)."""

    low: float
    high: float
    extra: float


@dataclass(frozen=True)
class RideablePlan:
    """A plan in a few blocks of constant power, simulated as it will be ridden.

    `speed`, `time`, `reserve`: (n + 1,); `power`: (n,); `price`: seconds it costs against the
    ideal plan, by the same simulation. `hills` is one rule for all blocks, empty where power
    stays constant through rises and dips.
    """

    blocks: tuple[Block, ...]
    speed: NDArray[np.float64]
    time: NDArray[np.float64]
    power: NDArray[np.float64]
    reserve: NDArray[np.float64]
    price: float
    hills: tuple[Hill, ...] = ()

    @property
    def finish_time(self) -> float:
        """Seconds."""
        return float(self.time[-1])
