"""The fastest plan for a rider with one set of kit on a course: grid, wind on arrival, solver."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from optimizer.pacing.problem import pacing_problem
from optimizer.pacing.simulate import simulate
from optimizer.pacing.solver import solve
from optimizer.physics import lay_road

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from optimizer.conditions import Conditions
    from optimizer.course import Course
    from optimizer.pacing.plan import Plan
    from optimizer.pacing.problem import PacingProblem
    from optimizer.physics import Setup
    from optimizer.rider import Rider

__all__ = ["grid", "plan_ride"]

_STEPS = 1200  # about, where no step is asked for
_SHORTEST, _LONGEST = 10.0, 100.0  # m, the range of the step that is then taken
_FINEST = 2.0  # m, beside a standing start or a sharp corner
_GROWTH = 0.12  # of the step per metre away from there
_BEND = 0.12  # m^(1/3), of which a step is the share that the road's curvature leaves
_CLIMB = 2.5  # m, that a step may rise
_FELT = 50.0  # m, over which grade and its change are taken at least
_ARRIVALS = 4  # rounds of plan and wind until arrival times agree
_AGREED = 1.0  # s, with which they do


def grid(course: Course, step: float | None = None, start_speed: float = 0.0,
         ) -> NDArray[np.float64]:
    """Nodes of the computation [m from the start], increasing, marks and corners among them.

    `step` [m] is the longest step; None takes what gives about 1200. Steps shrink towards a
    standing start, towards corners that brake the rider, on steep climbs, at whose foot a rider
    soon loses the speed of the flat, and where the grade changes fast: the time that a step gets
    wrong grows with Δs³ h''², so that Δs goes with |h''| to the power -2/3.
    """
    longest = _longest_step(course, step)
    places = {corner.distance for corner in course.corners if corner.speed < 15.0}
    sharp = np.array(sorted(places | ({0.0} if start_speed < 3.0 else set())))
    fixed = np.array(sorted({0.0, course.length, *places,
                             *(mark.distance for mark in course.marks)}))
    fixed = fixed[(fixed >= 0) & (fixed <= course.length)]
    fixed = fixed[np.concatenate([[True], np.diff(fixed) > 0.5])]
    fixed[-1] = course.length
    fine = np.linspace(0.0, course.length, int(course.length / min(longest / 4, 5.0)) + 2)
    fine = np.unique(np.concatenate([fine, fixed]))
    middle = 0.5 * (fine[:-1] + fine[1:])
    share = longest / _longest_step(course, None)
    bend, climb = _bend(course, middle, max(longest, _FELT))
    wanted = np.clip(share * _BEND * np.maximum(bend, 1e-9) ** (-2 / 3),
                     min(max(longest / 4, _SHORTEST), longest), longest)
    wanted = np.minimum(wanted, np.maximum(share * _CLIMB / np.maximum(climb, 1e-9), _FINEST))
    if len(sharp):
        right = np.clip(np.searchsorted(sharp, middle), 0, len(sharp) - 1)
        away = np.minimum(np.abs(middle - sharp[right]),
                          np.abs(middle - sharp[np.maximum(right - 1, 0)]))
        wanted = np.minimum(wanted, min(_FINEST, longest) + _GROWTH * away)
    count = np.concatenate([[0.0], np.cumsum(np.diff(fine) / wanted)])
    at = np.interp(fixed, fine, count)
    nodes = [np.array([0.0])]
    for begin, end in pairwise(at):
        pieces = max(int(np.ceil(end - begin)), 1)
        nodes.append(np.interp(np.linspace(begin, end, pieces + 1)[1:], count, fine))
    return np.concatenate(nodes)


def _bend(course: Course, at: NDArray[np.float64], width: float,
          ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """|h''| of the road [1/m] and its grade, over windows of a width about places [m]."""
    before, here, after = (np.interp(at + move, course.distance, course.elevation)
                           for move in (-0.5 * width, 0.0, 0.5 * width))
    return (np.asarray(np.abs(before - 2 * here + after) / (0.5 * width) ** 2),
            np.asarray((after - before) / width))


def _longest_step(course: Course, step: float | None) -> float:
    return step or float(np.clip(course.length / _STEPS, _SHORTEST, _LONGEST))


def plan_ride(course: Course, conditions: Conditions, rider: Rider, setup: Setup, *,
              step: float | None = None, start_speed: float = 0.0,
              position: NDArray[np.int64] | None = None,
              critical_power_factor: NDArray[np.float64] | float = 1.0,
              warm: Plan | None = None, measure_grid: bool = False) -> Plan:
    """Plan the fastest ride.

    Parameters
    ----------
    step : longest step of the grid [m], None to let the course decide
    start_speed : m/s, 0 for a standing start
    position : (n,) indices into the rider's positions, on the grid that `grid` gives
    critical_power_factor : (n,) or scalar, what altitude and heat leave of CP
    warm : plan of a neighbouring problem (other kit, other wind) on the same course
    measure_grid : plan on a grid twice as coarse as well, and give the grid's error, a third of
        the difference (the error is of second order in the step)

    A wind that changes with time is taken at the arrival times of the plan itself, found by
    repeating plan and wind until they agree.

    Raises Infeasible, which names the limit, where there is no plan; StepTooLong where the grid is
    at fault.
    """
    longest = _longest_step(course, step)
    nodes = grid(course, longest, start_speed)
    changing = len(conditions.wind_time) > 1

    def problem_at(arrival: NDArray[np.float64] | None) -> PacingProblem:
        return pacing_problem(lay_road(course, conditions, nodes, arrival), rider, setup,
                              start_speed=start_speed, position=position,
                              critical_power_factor=critical_power_factor)

    arrival = _foreseen(problem_at, warm) if changing else None
    plan: Plan = warm  # type: ignore[assignment] # the loop runs at least once
    for _ in range(_ARRIVALS if changing else 1):
        problem = problem_at(arrival)
        plan = solve(problem, plan)
        if arrival is not None and np.max(np.abs(plan.time - arrival)) < _AGREED:
            break
        arrival = plan.time
    if measure_grid:
        coarse_nodes = grid(course, 2 * longest, start_speed)
        shrink = None if position is None else position[np.minimum(
            np.searchsorted(nodes, 0.5 * (coarse_nodes[:-1] + coarse_nodes[1:])) - 1,
            len(position) - 1)]
        factor = np.asarray(critical_power_factor)
        coarse = plan_ride(
            course, conditions, rider, setup, step=2 * longest, start_speed=start_speed,
            position=shrink, critical_power_factor=critical_power_factor if factor.ndim == 0
            else np.interp(0.5 * (coarse_nodes[:-1] + coarse_nodes[1:]),
                           0.5 * (nodes[:-1] + nodes[1:]), factor))
        plan = replace(plan, grid_error=abs(plan.finish_time - coarse.finish_time) / 3.0)
    return plan


def _foreseen(problem_at: Callable[[NDArray[np.float64] | None], PacingProblem],
              warm: Plan | None) -> NDArray[np.float64] | None:
    """When the nodes may be reached, in a wind that changes, as long as there is no plan [s].

    By the powers of a neighbouring plan, or else even ones; riding takes far less than planning.
    """
    arrival = None
    for _ in range(_ARRIVALS):
        problem = problem_at(arrival)
        known = warm is not None and len(warm.power) == problem.steps
        power = warm.power if warm is not None and known else np.minimum(
            problem.critical_power * min(problem.effort_rate, 1.0), problem.power_limit)
        ride = simulate(problem, power)
        if ride.stalled:
            return None
        before, arrival = arrival, ride.time
        if before is not None and np.max(np.abs(arrival - before)) < _AGREED:
            break
    return arrival
