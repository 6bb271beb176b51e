"""A plan: what to ride where, how long it takes, and how far from the best it can be."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from optimizer.frozen import ReadOnlyArrays

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.course.laps import Laps
    from optimizer.day import Pedalling
    from optimizer.pacing.interior_point import Iterate
    from optimizer.pacing.problem import PacingProblem

__all__ = ["Block", "Plan", "RideablePlan"]


@dataclass(frozen=True)
class Plan(ReadOnlyArrays):
    """The fastest plan found for one problem, verified by forward simulation.

    Attributes
    ----------
    problem : the arrays it was computed on (n steps)
    speed, time, reserve : (n + 1,) m/s, s, J at the nodes
    power : (n,) W at the cranks
    lower_bound : s, no plan on this problem is faster
    lossless : whether the convex relaxation was exact; else the plan was polished locally
    iterations : of the solver
    continuous_time : s, finish time that ever shorter steps come to; within 0.05 s per 40 km of
        it on 97 of 100 random courses, 0.08 s on the worst (`tests/benchmarks/grid_error.py`); nan
        where it was not measured
    grid_error : s, distance of this grid's finish time from that; nan where it was not measured
    seconds_per_joule : (n,) time won by one more joule at the cranks, given here for free
    seconds_per_reserve_joule : time won by one more joule of W'
    seconds_per_speed : (n + 1,) time won per m/s of a higher speed limit
    seconds_per_critical_joule : (n,) time won by one more joule that CP gives on a step
    seconds_per_limit_joule : (n,) time won by one more joule that the power limit allows there
    seconds_per_effort : time won by one more second of the allowed effort
    linear_bound : s, lower bound by the second route, HiGHS; nan where it was not asked for
    notes : what a reader should know about how it was found
    pedalling : where the rider rolls too fast to pedal on it; None for nowhere, or not looked at
    passed : iterates of the solver that neighbouring problems start from, nearest to the end first
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
    continuous_time: float = float("nan")
    grid_error: float = float("nan")
    notes: tuple[str, ...] = ()
    pedalling: Pedalling | None = None
    passed: tuple[Iterate | None, ...] = field(default=(), repr=False, compare=False)

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
    def seconds_per_newton(self) -> NDArray[np.float64]:
        """(n,) time lost by one more newton against the rider on a step [s/N]."""
        return np.asarray(self.seconds_per_joule * self.problem.step
                          / self.problem.drivetrain_efficiency)

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
    """One line of the card, from `start` to `end` [m].

    Attributes
    ----------
    power : W to ride; on the flat where climbs and descents have figures of their own
    place : name of the mark or turn where it starts, empty where there is none
    comes : what the road does here, in words
    climb, descent : W on climbs of more than 1.5 % and on descents of more than that, felt over
        120 m, for 300 m or more; None where `power` is for all of the block
    mean : W, what is ridden on average while pedalling freely
    position : in which most of it is ridden
    line : number of the line on the card, from 0; each lap rides the same lines
    """

    start: float
    end: float
    power: float
    place: str
    comes: str = ""
    climb: float | None = None
    descent: float | None = None
    mean: float = float("nan")
    position: str = ""
    line: int = 0


@dataclass(frozen=True)
class RideablePlan:
    """A card of few lines, simulated as a rider rides it who takes it literally.

    Attributes
    ----------
    blocks : in the order of the road; laps repeat the lines
    speed, time, reserve : (n + 1,) m/s, s, J at the nodes
    power : (n,) W put in
    asked : (n,) W that the card asks for; less is put in against the brakes and above
        `pedalling_speed`
    price : s, what it costs against the ideal plan, by the same simulation
    even : whether one power is as good as any card, so that the card says just that
    even_price : s, what one power in whole watts costs against the ideal plan; nan where no one
        power keeps the limits
    saves : s that each line saves, against riding on as on the line before it, with all other
        powers at their best for that; inf for a line that cannot be left out
    hills_save : s that figures of their own for climbs and descents save; 0 where there are none
    ceiling : W, the power limit
    pedalling_speed : m/s, above which the rider coasts
    laps : which repeat the lines; None where there are none
    """

    blocks: tuple[Block, ...]
    speed: NDArray[np.float64]
    time: NDArray[np.float64]
    power: NDArray[np.float64]
    reserve: NDArray[np.float64]
    price: float
    asked: NDArray[np.float64]
    even: bool = False
    even_price: float = float("nan")
    saves: tuple[float, ...] = ()
    hills_save: float = 0.0
    ceiling: float = float("inf")
    pedalling_speed: float = float("inf")
    laps: Laps | None = None

    @property
    def finish_time(self) -> float:
        """Seconds."""
        return float(self.time[-1])

    @property
    def mean_power(self) -> float:
        """Time mean of the power that is put in [W]."""
        return float(self.power @ np.diff(self.time)) / self.finish_time

    @property
    def lines(self) -> tuple[Block, ...]:
        """The first block of each line of the card."""
        first = {block.line: block for block in reversed(self.blocks)}
        return tuple(first[line] for line in sorted(first))
