"""Who says how fast a set is: the pacing solver, with a plan of its own for every set.

Solving a set with its multipliers gives a plan, and a bound on all other sets. The plan of a set
nearby, all its powers scaled until reserve or effort are used up again, is feasible and falls
short of the set's own optimum in second order only; measured on the demo courses that is less
than a millisecond for sets ten seconds apart. So most sets are judged by that, from above, and
by the bounds from below.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np

from optimizer.kit.bound import bound_from, coordinates
from optimizer.pacing import grid, pacing_problem, plan_ride, simulate, solve
from optimizer.pacing.convex import convex_program
from optimizer.pacing.interior_point import interior_point
from optimizer.pacing.simulate import holding_power
from optimizer.physics import lay_road

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.conditions import Conditions
    from optimizer.course import Course
    from optimizer.kit.bound import Bound
    from optimizer.pacing import PacingProblem, Plan, Ride
    from optimizer.physics import Road, Setup
    from optimizer.rider import Rider

__all__ = ["Judge", "PacingJudge", "pacing_judge"]

_SECANTS = 12
_LEFT = 1.0  # J of reserve that a scaled plan may leave unused, a few hundredths of a second
_AT_CP = 2e-4  # share of CP within which a power is held to be at CP
_CLOSE = 1e-3  # s of pace that speed does not explain, above which a solution is not a plan


class Judge(Protocol):
    """What the choice asks of whoever judges a set."""

    def time(self, setup: Setup) -> float:
        """Finish time of the best plan with a set of kit [s]."""
        ...

    def bound(self, setup: Setup, reach: NDArray[np.float64]) -> Bound:
        """Lower bound on all sets whose coordinates differ from this one by `reach` at most."""
        ...


class _Solved(NamedTuple):
    """A plan to start from: coordinates of its set, powers, energies at the nodes."""

    theta: NDArray[np.float64]
    power: NDArray[np.float64]
    energy: NDArray[np.float64]


class PacingJudge:
    """Plans on one road for one rider."""

    def __init__(self, road: Road, rider: Rider, start_speed: float,
                 position: NDArray[np.int64] | None = None) -> None:
        self.road, self.rider, self.start_speed = road, rider, start_speed
        self.position = position
        self._solved: list[_Solved] = []

    def problem(self, setup: Setup) -> PacingProblem:
        """Pacing problem of a set."""
        return pacing_problem(self.road, self.rider, setup, start_speed=self.start_speed,
                              position=self.position)

    def plan(self, setup: Setup) -> Plan:
        """Fastest plan with a set of kit."""
        return solve(self.problem(setup))

    def time(self, setup: Setup) -> float:
        """Finish time of the best plan with a set of kit [s]."""
        theta = coordinates(setup, self.rider.mass)
        if self._solved:
            scale = np.abs(theta) + 1e-3 * np.abs(theta).max()
            near = min(self._solved, key=lambda s: float(np.abs((s.theta - theta) / scale).sum()))
            time = _scaled(self.problem(setup), near)
            if time is not None:
                return time
        return self.plan(setup).finish_time

    def bound(self, setup: Setup, reach: NDArray[np.float64]) -> Bound:
        """Lower bound on all sets whose coordinates differ from this one by `reach` at most."""
        problem = self.problem(setup)
        program = convex_program(problem)
        solution = interior_point(program)
        x = solution.point
        speed = np.sqrt(2 * x.energy)
        waiting = float(np.sum(problem.step * (x.pace - 2.0 / (speed[:-1] + speed[1:]))))
        theta = coordinates(setup, self.rider.mass)
        if waiting > _CLOSE or problem.slowing_recovery:
            plan = self.plan(setup)
            self._solved.append(_Solved(theta, plan.power, 0.5 * plan.speed**2))
        else:
            power = np.clip(x.work / x.pace, 0.0, problem.power_limit)
            self._solved.append(_Solved(theta, power, x.energy))
        return bound_from(program, solution, setup, reach)


def _scaled(problem: PacingProblem, near: _Solved) -> float | None:
    """Finish time with the powers of `near` scaled to the limits; None where that fails.

    What would only work against the brakes is left out. Steps at CP stay there: power above CP
    costs reserve while power below it may not give any back.
    """
    share, energy, best = 0.0, near.energy, None
    free = np.abs(near.power / problem.critical_power - 1.0) > _AT_CP
    tried: list[tuple[float, float]] = []
    for _ in range(_SECANTS):
        wanted = np.minimum(near.power * (1.0 + share * free), problem.power_limit)
        ride = simulate(problem, wanted, energy)
        if np.any(ride.stalled):
            return None
        energy = 0.5 * ride.speed**2
        power = np.minimum(wanted, holding_power(problem, ride))
        left = _unused(problem, power, ride)
        tried.append((share, left))
        if left >= 0:
            time = float(ride.finish_time)
            best = time if best is None else min(best, time)
            if left < _LEFT:
                return best
        if len(tried) == 1:
            share = (left - 0.5 * _LEFT) / float((near.power * free) @ np.diff(ride.time))
            continue
        (first, before), (second, after) = tried[-2:]
        if after == before:
            return best
        share = second - (after - 0.5 * _LEFT) * (second - first) / (after - before)
    return best


def _unused(problem: PacingProblem, power: NDArray[np.float64], ride: Ride) -> float:
    """Joules of reserve that a ride leaves unused, or of effort where that is scarcer."""
    p = problem
    left = float(ride.reserve.min()) - p.reserve_floor
    if np.isfinite(p.effort_rate):
        ratio = (power / p.critical_power) ** p.effort_exponent
        time = np.diff(ride.time)
        spent = float(ratio @ time)
        allowed = p.effort_rate**p.effort_exponent * float(ride.finish_time) + p.effort_budget
        # Work that the effort left over is worth, at the ride's own mean price.
        left = min(left, (allowed - spent) / (p.effort_exponent * spent) * float(power @ time))
    return left


def pacing_judge(course: Course, conditions: Conditions, rider: Rider, baseline: Setup, *,
                 step: float | None = None, start_speed: float = 0.0,
                 position: NDArray[np.int64] | None = None) -> PacingJudge:
    """Judge on a course; a wind that changes with time is met when the baseline would meet it.

    `position` (n,) rows of the rider's positions on the grid, for every set alike.
    """
    arrival = None
    if len(conditions.wind_time) > 1:
        arrival = plan_ride(course, conditions, rider, baseline, step=step,
                            start_speed=start_speed, position=position).time
    road = lay_road(course, conditions, grid(course, step, start_speed), arrival)
    return PacingJudge(road, rider, start_speed, position)
