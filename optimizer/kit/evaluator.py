"""How fast a set is, by the pacing solver, with a plan of its own for every set.

Solving a set with its multipliers gives a plan, and a bound on all other sets. The plan of a set
nearby, all its powers scaled until reserve or effort are used up again, is feasible and falls
short of the set's own optimum in second order only: measured on the demo courses, a few
milliseconds where no corner binds and up to 0.3 s among U-turns and hairpins. So most sets are
evaluated by that, from above, and by the bounds from below; what is too far apart is solved.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np

from optimizer.kit.bound import bound_from, coordinates
from optimizer.pacing import pacing_problem, plan_ride, simulate, solve
from optimizer.pacing.convex import convex_program
from optimizer.pacing.interior_point import interior_point
from optimizer.pacing.simulate import holding_power, reserve_along
from optimizer.pacing.start import beginning, passed_on
from optimizer.physics import lay_road
from optimizer.side_by_side import side_by_side

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.day import RaceDay
    from optimizer.kit.bound import Bound
    from optimizer.pacing import PacingProblem, Plan, SimulatedRide
    from optimizer.physics import Setup

__all__ = ["Evaluator", "PacingEvaluator", "pacing_evaluator"]

_ROUNDS = 12
_EMPTY = 0.004  # of W', below which a reserve has run out
_FULL = 0.9999  # of W', from which a reserve is full
_LEFT = 1.0  # J of reserve that a scaled plan may leave unused, a few hundredths of a second
_AT_CP = 2e-4  # share of CP within which a power is held to be at CP
_LOOSE = 1e-5  # of the optimum, by which a bound may stay below it
_CLOSE = 1e-3  # s of pace that speed does not explain, above which a solution is not a plan


class Evaluator(Protocol):
    """What the choice asks about a set."""

    def time(self, setup: Setup) -> float:
        """Finish time of the best plan with a set of kit [s]."""
        ...

    def bounds(self, setups: Sequence[Setup], half_range: NDArray[np.float64],
               within: float = np.inf) -> list[Bound]:
        """Lower bounds, each on all sets that differ from one by `half_range` (d,) at most.

        On those only that differ by `within` at most in their first coordinate.
        """
        ...


    def plan_own(self, *sets: tuple[Setup, float]) -> None:
        """Learn the times of sets, each in its own wind and with its own limits.

        Each set with its time here [s].
        """
        ...

    def own_time(self, setup: Setup, time: float) -> float:
        """Time of a set in its own wind and with its own limits, from its `time` here [s]."""
        ...


class _Solved(NamedTuple):
    """A plan to start from: coordinates and corner speeds of its set, powers, node energies.

    `like` is it as a plan that the solver of a neighbour starts from.
    """

    theta: NDArray[np.float64]
    cornering: float
    power: NDArray[np.float64]
    energy: NDArray[np.float64]
    like: Plan


class PacingEvaluator:
    """Plans on one race day, compared in the wind and with the effort limit of one of them."""

    def __init__(self, day: RaceDay, like: Plan) -> None:
        self.day, self.like, self.rider = day, like, day.rider
        nodes = like.distance
        changing = len(day.conditions.wind_time) > 1
        self._road = lay_road(day.course, day.conditions, nodes, like.time if changing else None)
        self._solved: list[_Solved] = []
        self._own: dict[bytes, tuple[float, Plan]] = {}  # time here, own plan

    def problem(self, setup: Setup) -> PacingProblem:
        """Pacing problem of a set, in the wind and with the effort limit of the plan `like`."""
        problem = pacing_problem(
            self._road, self.rider, setup, start_speed=self.day.start_speed,
            position=self.day.position, pedalling=self.day.pedalling,
            effort=self.like.problem.effort, left=self.day.left)
        # Where the rider coasts is that of `like`; a set that is a little faster elsewhere keeps
        # pedalling here, and coasts in its own plan.
        return replace(problem, pedalling_speed=np.inf)

    def _held(self, problem: PacingProblem) -> NDArray[np.bool_] | bool:
        """Tell steps that end at the speed up to which the rider pedals, whatever corners allow."""
        stretches = self.day.pedalling
        return False if stretches is None else stretches.held & (
            problem.speed_limit[1:] >= self.rider.pedalling_speed)

    def plan(self, setup: Setup) -> Plan:
        """Fastest plan with a set of kit on the road that all sets are compared on."""
        return solve(self.problem(setup), self.like)

    def own_plan(self, setup: Setup) -> Plan:
        """Fastest plan with a set of kit, in the wind and with the limit that it meets itself."""
        known = self._own.get(self._key(setup))
        if known is None:
            return plan_ride(self.day, setup, warm=self.like)
        near = known[1]  # it lacks a bound only
        return plan_ride(replace(self.day, pedalling=near.pedalling), setup, warm=near)

    def plan_own(self, *sets: tuple[Setup, float]) -> None:
        """Learn the times of sets, each in its own wind and with its own limits.

        Each set with its time here [s].
        """
        new = {self._key(setup): (setup, time) for setup, time in sets}
        for key in self._own.keys() & new.keys():
            del new[key]
        plans = side_by_side({str(k): partial(self._planned, setup)
                              for k, (setup, _) in enumerate(new.values())})
        self._own.update((key, (time, plan)) for (key, (_, time)), plan in zip(
            new.items(), plans, strict=True))

    def _planned(self, setup: Setup) -> Plan:
        """Plan a set for itself, without a bound."""
        near = self._nearest(setup)
        return plan_ride(self.day, setup, warm=near.like if near else self.like, bounded=False)

    def own_time(self, setup: Setup, time: float) -> float:
        """Time of a set in its own wind and with its own limits, from its `time` here [s].

        That of its own plan for a set that is settled; for others by what it differed by for
        settled sets that are about as fast, which is smooth in the time.
        """
        known = self._own.get(self._key(setup))
        if known is not None:
            return known[1].finish_time
        if not self._own:
            return time
        here, own = np.array(sorted((here, plan.finish_time)
                                    for here, plan in self._own.values())).T
        return time + float(np.interp(time, here, own - here))

    def _key(self, setup: Setup) -> bytes:
        return coordinates(setup, self.rider.mass).tobytes() + bytes(str(setup.cornering_factor),
                                                                     "ascii")

    def time(self, setup: Setup) -> float:
        """Finish time of the best plan with a set of kit [s]."""
        near = self._nearest(setup)
        time = _scaled(self.problem(setup), near) if near else None
        return self.plan(setup).finish_time if time is None else time

    def _nearest(self, setup: Setup) -> _Solved | None:
        """Solved set that is most like another one, if there is any."""
        theta = coordinates(setup, self.rider.mass)
        scale = np.abs(theta) + 1e-3 * np.abs(theta).max()
        # Where corners bind elsewhere, another plan brakes elsewhere: those come last.
        return min(self._solved, default=None, key=lambda s: (
            abs(s.cornering - setup.cornering_factor),
            float(np.abs((s.theta - theta) / scale).sum())))

    def bound(self, setup: Setup, half_range: NDArray[np.float64],
              within: float = np.inf) -> Bound:
        """Lower bound on all sets that differ from this one by `half_range` (d,) at most."""
        return self.bounds([setup], half_range, within)[0]

    def bounds(self, setups: Sequence[Setup], half_range: NDArray[np.float64],
               within: float = np.inf) -> list[Bound]:
        """Lower bounds, each on all sets that differ from one by `half_range` (d,) at most.

        Each starts from what was solved before, not from the others.
        """
        found = side_by_side({str(k): partial(self._bounded, setup, half_range, within)
                              for k, setup in enumerate(setups)})
        self._solved += [solved for _, solved in found]
        return [bound for bound, _ in found]

    def _bounded(self, setup: Setup, half_range: NDArray[np.float64],
                 within: float) -> tuple[Bound, _Solved]:
        """Bound from one set, and that set as one to start from."""
        problem = self.problem(setup)
        program = convex_program(problem)
        near = self._nearest(setup)
        start = near.like if near else self.like
        solution = interior_point(program, beginning(program, start))
        held = self._held(problem)
        found = bound_from(program, solution, setup, half_range, within, held)
        # Beside a neighbour the solver may end with multipliers that bound more loosely over a
        # range of sets than at one: gradients that are not quite zero count by the whole range.
        optimum = float(program.pace_cost @ solution.point.pace)
        if not solution.converged or optimum - found.value > _LOOSE * optimum:
            solution = interior_point(program)
            found = bound_from(program, solution, setup, half_range, within, held)
        x = solution.point
        speed = np.sqrt(2 * x.energy)
        waiting = float(np.sum(problem.step * (x.pace - 2.0 / (speed[:-1] + speed[1:]))))
        theta = coordinates(setup, self.rider.mass)
        if waiting > _CLOSE or not problem.recovery_law.convex:
            plan = self.plan(setup)
            power, energy = plan.power, 0.5 * plan.speed**2
        else:
            power, energy = np.clip(x.work / x.pace, 0.0, problem.power_limit), x.energy
        like = replace(
            self.like, problem=problem, speed=speed, reserve=x.reserve, power=power,
            time=np.append(0.0, np.cumsum(2.0 * problem.step / (speed[:-1] + speed[1:]))),
            passed=passed_on(solution, start))
        return found, _Solved(theta, setup.cornering_factor, power, energy, like)


def _scaled(problem: PacingProblem, near: _Solved) -> float | None:
    """Finish time with the powers of `near` scaled to the limits; None where that fails.

    The reserve of `near` runs out at some places; what is left there is used up, or saved, by one
    factor on each stretch between them. What would only work against the brakes is left out, and
    steps at CP stay there: power above it costs reserve while power below may give none back.
    """
    free = np.abs(near.power / problem.critical_power - 1.0) > _AT_CP
    stretch = _stretches(problem, near)
    count = int(stretch[-1]) + 1
    share, energy, best = np.zeros(count), near.energy, None
    step, before, answer = np.zeros(count), np.zeros(count), np.ones(count)
    for _ in range(_ROUNDS):
        wanted = np.minimum(near.power * (1.0 + share[stretch] * free), problem.power_limit)
        ride = simulate(problem, wanted, energy)
        if np.any(ride.stalled):
            return best
        energy = 0.5 * ride.speed**2
        power = np.minimum(wanted, holding_power(problem, ride))
        work = np.bincount(stretch, near.power * free * np.diff(ride.time),
                           count).astype(float)
        left, more = _left(problem, power, ride, stretch, work)
        if left.min() >= 0:
            time = float(ride.finish_time)
            best = time if best is None else min(best, time)
            if left.max() < _LEFT:
                break
        # Work before the reserve was last full does not count: the last step tells how much does.
        moved = np.abs(step * work) > 1e-3
        answer[moved] = np.clip(((before - more) / np.where(moved, step * work, 1.0))[moved],
                                0.1, 1.5)
        step = np.clip(more / np.maximum(answer * work, 1.0), -0.1, 0.1)
        share, before = share + step, more
    return best


def _stretches(problem: PacingProblem, near: _Solved) -> NDArray[np.int64]:
    """Give each step the number of its stretch, which ends where the reserve has run out."""
    speed = np.sqrt(2 * near.energy)
    reserve = reserve_along(problem, near.power, 2.0 / (speed[:-1] + speed[1:]))
    out = reserve - problem.reserve_floor < _EMPTY * problem.w_prime
    # Of neighbouring nodes with an empty reserve the last one counts.
    ends = np.flatnonzero(out[1:-1] & ~out[2:]) + 1
    return np.asarray(np.searchsorted(ends, np.arange(problem.steps), side="right"))


def _left(problem: PacingProblem, power: NDArray[np.float64], ride: SimulatedRide,
          stretch: NDArray[np.int64], work: NDArray[np.float64],
          ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Joules left unused on each stretch, and what more work on each would use them up."""
    p, count = problem, len(work)
    time = np.diff(ride.time)
    reserve = reserve_along(p, power, time / p.step)
    left, fullest = np.full(count, np.inf), np.zeros(count)
    np.minimum.at(left, stretch, reserve[1:] - p.reserve_floor)
    np.maximum.at(fullest, stretch, reserve[1:])
    if p.effort is not None:
        spent = p.effort.spent(power / p.critical_power, time)
        allowed = float(p.effort.allowed(ride.finish_time))
        # Work that the effort left over is worth, at the ride's own mean price.
        spare = (allowed - spent) / (p.effort.exponent * spent) * float(power @ time)
    more = left - 0.5 * _LEFT
    # What is left on one stretch reaches the next, unless the reserve is full in between.
    more[1:] -= np.where(fullest[1:] < _FULL * p.w_prime, more[:-1], 0.0)
    if p.effort is not None and more.sum() > spare - 0.5 * _LEFT:
        # The reserve says what goes on the stretches that it ends; effort, what is left to do.
        if count == 1 or spare - 0.5 * _LEFT - more[:-1].sum() < -0.1 * work[-1]:
            return np.full(count, spare), (spare - 0.5 * _LEFT) * work / work.sum()
        more[-1] = spare - 0.5 * _LEFT - more[:-1].sum()
        left[-1] = min(left[-1], spare)
    return left, more


def pacing_evaluator(day: RaceDay, baseline: Setup,
                     near: Plan | None = None) -> PacingEvaluator:
    """Evaluate sets on a day, in the wind and with the effort limit of a ride with `baseline`.

    Parameters
    ----------
    day : course, weather and rider of the race day
    baseline : bike as it stands
    near : a plan for about that, to start from

    Returns
    -------
    evaluator that plans each set once

    Raises
    ------
    Infeasible
        where the baseline has no plan
    """
    return PacingEvaluator(day, plan_ride(day, baseline, warm=near))
