"""The fastest plan on a race day with one set of kit: grid, wind on arrival, effort limit, solver.

Three things about a ride depend on the ride: the wind that is met, where it changes with time, the
effort that its duration allows, and where the rider rolls too fast to pedal. They are taken from
the plan itself, by repeating it until it agrees with them.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

from optimizer.day import Pedalling
from optimizer.errors import Infeasible
from optimizer.frozen import last_kept, locked
from optimizer.pacing.problem import FASTEST, pacing_problem
from optimizer.pacing.simulate import simulate
from optimizer.pacing.solver import Draft, StepTooLong, certified, draft
from optimizer.physics import lay_road
from optimizer.rider.effort import allowance, effort_limit

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from optimizer.course import Course
    from optimizer.day import RaceDay
    from optimizer.pacing.plan import Plan
    from optimizer.pacing.problem import PacingProblem
    from optimizer.physics import Setup
    from optimizer.rider import Rider

__all__ = ["SETTINGS", "bounded_twice", "consistent_plan", "continuous_time", "grid", "halved",
           "pedalling_of", "plan_ride", "problem_on"]

_STEPS = 1200  # about, where no step is asked for
_SHORTEST, _LONGEST = 10.0, 75.0  # m, the range of the step that is then taken
_FINEST = 2.0  # m, beside a sharp corner
_STANDING = 0.5  # m, at a standing start, where speed grows with the cube root of the distance
_SLOW = 3.0  # m/s, below which a start is a standing one
_GROWTH = 0.12  # of the step per metre away from there
_BEND = 0.12  # m^(1/3), of which a step is the share that the road's curvature leaves
_CLIMB = 2.5  # m, that a step may rise
_FELT = 50.0  # m, over which grade and its change are taken at least
_ROUNDS = 20  # of plan, wind, effort limit and pedalling until they agree
_CHANGES = 2  # of where nobody pedals, after which such stretches are added only
_AGREED = 0.05  # s of arrival, with which the wind does
_NEAR = 2.0  # s of arrival or duration, that change wind and effort by next to nothing
_OVER = 1e-3  # of the pedalling speed, above which nobody pedals
_SAME = 1e-3  # s of finish time that the effort limit may be off
_GUESSES = 6  # rounds of even rides before there is a plan
_RIDES = 2  # of a neighbouring plan's powers, to foresee how long a ride takes
_ALIKE = (0.8, 1.25)  # factors on a neighbouring plan's powers
_LONGER = (1.0, 1.25, 1.6)  # times the duration that was foreseen, where that has no plan
_CUTS = 3  # of each step, to see where ever shorter steps lead
_MOST_STEPS = 40_000  # of these; more take longer than all the rest of a plan
_FAITHFUL = 0.04 / 40e3  # s/m, by which another cut may move that before one more is tried
_USUAL = 9.0  # m/s, to begin with
_TRIED = 4000  # durations that a bound is held against

SETTINGS: Final = {"rounds": _ROUNDS, "changes": _CHANGES, "agreed": _AGREED, "met": _NEAR,
                    "over": _OVER, "same": _SAME, "longer": _LONGER}
"""What a program that is written elsewhere has to know to do the same."""


@last_kept
def grid(course: Course, step: float | None = None, start_speed: float = 0.0,
         ) -> NDArray[np.float64]:
    """Lay the nodes of the computation, marks and corners among them.

    Steps shrink towards a standing start, towards corners that brake the rider, on steep climbs, at
    whose foot a rider soon loses the speed of the flat, and where the grade changes fast: the time
    that a step gets wrong grows with Δs³ h''², so that Δs goes with |h''| to the power -2/3.

    Parameters
    ----------
    course : the road
    step : m, the longest step; None takes what gives about 1200
    start_speed : m/s; a standing start has the shortest steps

    Returns
    -------
    (n + 1,) metres from the start, increasing
    """
    longest = _longest_step(course, step)
    places = {corner.distance for corner in course.corners if corner.speed < 15.0}
    sharp = np.array(sorted(places | ({0.0} if start_speed < _SLOW else set())))
    fixed = np.array(sorted({0.0, course.length, *places, *_bottoms(course),
                             *(mark.distance for mark in course.marks)}))
    fixed = fixed[(fixed >= 0) & (fixed <= course.length)]
    fixed = fixed[np.concatenate([[True], np.diff(fixed) > 0.5])]
    fixed[-1] = course.length
    fine = np.linspace(0.0, course.length, int(course.length / min(longest / 4, 5.0)) + 2)
    fine = np.unique(np.concatenate([fine, fixed]))
    middle = 0.5 * (fine[:-1] + fine[1:])
    share = longest / _longest_step(course, None)
    curvature, climb = _curvature(course, middle, max(longest, _FELT))
    wanted = np.clip(share * _BEND * np.maximum(curvature, 1e-9) ** (-2 / 3),
                     min(max(longest / 4, _SHORTEST), longest), longest)
    wanted = np.minimum(wanted, np.maximum(share * _CLIMB / np.maximum(climb, 1e-9), _FINEST))
    if len(sharp):
        right = np.clip(np.searchsorted(sharp, middle), 0, len(sharp) - 1)
        away = np.minimum(np.abs(middle - sharp[right]),
                          np.abs(middle - sharp[np.maximum(right - 1, 0)]))
        wanted = np.minimum(wanted, min(_FINEST, longest) + _GROWTH * away)
        if start_speed < _SLOW:
            wanted = np.minimum(wanted, _STANDING + _GROWTH * middle)
    count = np.concatenate([[0.0], np.cumsum(np.diff(fine) / wanted)])
    at = np.interp(fixed, fine, count)
    nodes = [np.array([0.0])]
    for begin, end in pairwise(at):
        pieces = max(int(np.ceil(end - begin)), 1)
        nodes.append(np.interp(np.linspace(begin, end, pieces + 1)[1:], count, fine))
    return locked(np.concatenate(nodes))


def _bottoms(course: Course) -> list[float]:
    """Where the speed limit is lowest about a corner, and where a lower one begins and ends [m]."""
    limit = np.minimum(course.speed_limit, FASTEST)
    before, after = np.insert(limit[:-1], 0, FASTEST), np.append(limit[1:], FASTEST)
    low = (limit <= before) & (limit <= after) & ~((limit == before) & (limit == after))
    return [float(place) for place in course.distance[low & (limit < FASTEST)]]


def _curvature(course: Course, at: NDArray[np.float64], width: float,
               ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """|h''| of the road [1/m] and its grade, over windows of a width about places [m]."""
    before, here, after = (np.interp(at + move, course.distance, course.elevation)
                           for move in (-0.5 * width, 0.0, 0.5 * width))
    return (np.asarray(np.abs(before - 2 * here + after) / (0.5 * width) ** 2),
            np.asarray((after - before) / width))


def _longest_step(course: Course, step: float | None) -> float:
    """Longest step of the grid [m]: what is asked for, or what gives about 1200 steps."""
    return step or float(np.clip(course.length / _STEPS, _SHORTEST, _LONGEST))


def problem_on(day: RaceDay, setup: Setup, nodes: NDArray[np.float64],
               arrival: NDArray[np.float64] | None, duration: float,
               pedalling: Pedalling | None = None) -> PacingProblem:
    """Set up the problem of a day and a set of kit.

    Parameters
    ----------
    day : course, weather and rider
    setup : bike with the set of kit
    nodes : (n + 1,) of the grid [m]
    arrival : (n + 1,) s, when they are reached, for a wind that changes; None where it does not
    duration : s, at which the effort limit touches what the rider may spend
    pedalling : where the rider rolls too fast to pedal; None for where the day says so

    Returns
    -------
    the arrays of the n steps
    """
    return pacing_problem(
        lay_road(day.course, day.conditions, nodes, arrival), day.rider, setup,
        start_speed=day.start_speed, position=day.position,
        pedalling=day.pedalling if pedalling is None else pedalling,
        effort=effort_limit(day.rider, duration), left=day.left)


def plan_ride(day: RaceDay, setup: Setup, *, warm: Plan | None = None,
              measure_grid: bool = False, bounded: bool = True) -> Plan:
    """Plan the fastest ride.

    Parameters
    ----------
    day : course, weather and rider
    setup : bike with the set of kit
    warm : plan of a neighbouring problem (other kit, other wind) on the same course
    measure_grid : plan on shorter steps as well, and give `continuous_time`
    bounded : bound the plan from below; else its `lower_bound` is nan, and it comes sooner

    Returns
    -------
    a plan that agrees with the wind on arrival, the effort that its duration allows, and where the
    rider coasts

    Raises
    ------
    Infeasible
        where there is no plan; it names the limit that binds
    StepTooLong
        where the grid is at fault
    """
    nodes = grid(day.course, day.step, day.start_speed)
    found = consistent_plan(day, setup, nodes, warm)
    plan = found.plan
    if bounded:
        plan = certified(found)
        plan = replace(plan, lower_bound=_whatever_duration(day.rider, plan))
    if measure_grid:
        limit = continuous_time(day, setup, plan)
        plan = replace(plan, continuous_time=limit, grid_error=abs(plan.finish_time - limit))
    return plan


def consistent_plan(day: RaceDay, setup: Setup, nodes: NDArray[np.float64],
                    warm: Plan | None = None) -> Draft:
    """Repeat the plan on a grid until it agrees with the wind, the effort and the coasting.

    Parameters
    ----------
    day, setup : course, weather and rider; the set of kit
    nodes : (n + 1,) of the grid [m]
    warm : plan of a neighbouring problem

    Returns
    -------
    the plan, without a bound, and what one is made from

    Raises
    ------
    Infeasible
        where there is no plan
    """
    changing = len(day.conditions.wind_time) > 1
    arrival, duration = _foreseen(day, setup, nodes, warm)
    plan, pedalling, changes = warm, day.pedalling, 0
    for _ in range(_ROUNDS):
        found = _draft_for_some_duration(
            partial(problem_on, day, setup, nodes, arrival, pedalling=pedalling), duration, plan)
        plan = found.plan
        off = float(abs(plan.finish_time - duration) if arrival is None
                    else np.max(np.abs(plan.time - arrival)))
        agreed = (arrival is None or off < _AGREED) and (
            _duration_error(day.rider, plan) < _SAME)
        before = pedalling
        # Not before wind and duration are as good as met, so that the stretches do not depend on
        # where the rounds began.
        if agreed or off < _NEAR:
            pedalling = pedalling_of(plan, before)
            if before is not None and changes >= _CHANGES:
                pedalling = _joined(before, pedalling)
            changes += pedalling is not before
        if agreed and pedalling is before:
            break
        if changing and pedalling is not before:
            # Riding tells most of what new coasting does to the arrivals.
            arrival, duration = _ridden_here(replace(day, pedalling=pedalling), setup, nodes, plan)
        else:
            arrival, duration = plan.time if changing else None, plan.finish_time
    return found._replace(plan=replace(found.plan, pedalling=pedalling))


def _draft_for_some_duration(problem_for: Callable[[float], PacingProblem], duration: float,
                             warm: Plan | None) -> Draft:
    """Plan with the effort that a duration allows; by a longer one where that allows no plan.

    The tangent of the allowance at too short a duration can forbid what the ride's own allows.
    """
    refused: Infeasible | None = None
    for share in _LONGER:
        try:
            return draft(problem_for(share * duration), warm)
        except StepTooLong:
            raise
        except Infeasible as error:
            refused = refused or error
    assert refused is not None  # noqa: S101 - each duration was refused
    raise refused


def continuous_time(day: RaceDay, setup: Setup, plan: Plan) -> float:
    """Finish time that ever shorter steps come to, from the `plan` on the usual ones.

    The error is of second order in the step: steps of half the length leave a third of the
    difference (Richardson's extrapolation). Corners and walls make it fall more slowly at first, so
    steps are cut again until that hardly moves the limit, or there would be too many (a rough
    course of 180 km then stays some tenths of a second from it).

    Parameters
    ----------
    day, setup : of the plan
    plan : with its own stretches of coasting

    Returns
    -------
    s
    """
    nodes = grid(day.course, day.step, day.start_speed)
    case = replace(day, pedalling=plan.pedalling), setup, nodes
    finer, limit = plan, plan.finish_time
    for cut in range(_CUTS):
        if cut and 2 * len(case[2]) > _MOST_STEPS:
            break
        case, coarse, before = halved(*case), finer, limit
        finer = consistent_plan(*case, warm=_on(coarse, case[2])).plan
        limit = finer.finish_time + (finer.finish_time - coarse.finish_time) / 3.0
        if abs(limit - before) < _FAITHFUL * max(day.course.length, 40e3):
            break
    return limit


def _on(plan: Plan, nodes: NDArray[np.float64]) -> Plan:
    """Give speed, time, reserve and power of a plan at other nodes, to start the solver from."""
    at = np.clip(np.searchsorted(plan.distance, nodes[1:]) - 1, 0, plan.problem.steps - 1)
    speed, time, reserve = (np.interp(nodes, plan.distance, values)
                            for values in (plan.speed, plan.time, plan.reserve))
    return replace(plan, speed=speed, time=time, reserve=reserve, power=plan.power[at],
                   passed=())


def halved(day: RaceDay, setup: Setup, nodes: NDArray[np.float64],
           ) -> tuple[RaceDay, Setup, NDArray[np.float64]]:
    """Cut each step in two; positions and coasting of the day are those of the whole step.

    Parameters
    ----------
    day, setup : course, weather and rider; the set of kit
    nodes : (n + 1,) of the grid [m]

    Returns
    -------
    day, setup and (2 n + 1,) nodes [m]
    """
    finer = np.sort(np.concatenate([nodes, 0.5 * (nodes[:-1] + nodes[1:])]))
    return replace(day, position=None if day.position is None else np.repeat(day.position, 2),
                   pedalling=None if day.pedalling is None else Pedalling(
                       np.repeat(day.pedalling.coasting, 2),
                       np.repeat(day.pedalling.held, 2))), setup, finer


def bounded_twice(day: RaceDay, plan: Plan) -> Plan:
    """Bound a plan by HiGHS as well; the better of the two bounds counts.

    Parameters
    ----------
    day : for which it was made
    plan : with a bound of its own

    Returns
    -------
    the plan with `linear_bound` [s], and `lower_bound` [s] no lower than before
    """
    other = certified(draft(plan.problem, plan), second_bound=True)
    bound = _whatever_duration(day.rider, other)
    return replace(plan, linear_bound=other.linear_bound,
                   lower_bound=min(max(plan.lower_bound, bound), plan.finish_time))


def pedalling_of(plan: Plan, before: Pedalling | None) -> Pedalling | None:
    """Where a rider who follows the plan rolls too fast to pedal.

    Found by riding the powers of the plan on the road as it is, without what `before` asked for.

    Parameters
    ----------
    plan : of n steps
    before : what the plan was made with; None for pedalling everywhere

    Returns
    -------
    steps to coast on and to hold the speed on; `before` itself where that is so already, None for
    nowhere
    """
    p, top = plan.problem, plan.problem.pedalling_speed
    if before is None:
        ride_speed = plan.speed
    else:
        free = np.array(p.speed_limit)
        free[1:] = np.where(before.held & (free[1:] >= top), np.inf, free[1:])
        ride_speed = simulate(replace(p, speed_limit=free), plan.power,
                              0.5 * plan.speed**2).speed
    coasting = ride_speed[1:] > (1.0 + _OVER) * top
    held = (ride_speed[1:] > (1.0 - _OVER) * top) & ~coasting
    if not (coasting | held).any():
        return None
    if before is not None and np.array_equal(coasting, before.coasting) and np.array_equal(
            held, before.held):
        return before
    return Pedalling(coasting, held)


def _joined(before: Pedalling, after: Pedalling | None) -> Pedalling:
    """Add stretches to those before, so that rounds end that go to and fro; the same if none.

    On a stretch too many the rider coasts where a trace of pedalling would still be possible.
    """
    if after is None:
        return before
    coasting = before.coasting | after.coasting
    held = (before.held | after.held) & ~coasting
    if np.array_equal(coasting, before.coasting) and np.array_equal(held, before.held):
        return before
    return Pedalling(coasting, held)


def _duration_error(rider: Rider, plan: Plan) -> float:
    """Seconds of finish time by which the effort limit is off at the plan's own duration."""
    limit = plan.problem.effort
    if limit is None:
        return 0.0
    return plan.seconds_per_effort * abs(float(allowance(rider, plan.finish_time)
                                               - limit.allowed(plan.finish_time)))


def _whatever_duration(rider: Rider, plan: Plan) -> float:
    """Lower bound [s] that also covers rides whose own duration allows them more effort.

    The plan's bound b is for the tangent of the allowance G at its own duration. A ride of
    another duration t may spend h(t) = G(t) - tangent(t) more, and by the multiplier μ of the
    effort row (the bound is convex in what may be spent) takes at least b - μ h(t). So none takes
    less than the least t with t ≥ b - μ h(t), from the ride at the power limit on.
    """
    p, bound = plan.problem, plan.lower_bound
    limit = p.effort
    if limit is None or plan.seconds_per_effort <= 0.0:
        return bound
    fastest = min(float(simulate(p, p.power_limit, 0.5 * plan.speed**2).finish_time), bound)
    far = np.linspace(max(fastest, 1.0), bound, _TRIED)
    near = bound - np.geomspace(1e-9, 1.0, _TRIED) * (bound - far[0])
    tried = np.unique(np.concatenate([far, near]))
    more = np.maximum(allowance(rider, tried) - limit.allowed(tried), 0.0)
    reached = tried >= bound - plan.seconds_per_effort * more
    return float(tried[np.argmax(reached)]) if reached.any() else bound


def _foreseen(day: RaceDay, setup: Setup, nodes: NDArray[np.float64],
              warm: Plan | None) -> tuple[NDArray[np.float64] | None, float]:
    """When the nodes may be reached, where the wind changes, and how long the ride may take [s].

    By the powers of a neighbouring plan, scaled to what the effort allows here, or else by even
    rides at what their own duration allows; riding takes far less than planning.
    """
    changing = len(day.conditions.wind_time) > 1
    if warm is not None and len(warm.time) == len(nodes):
        return _ridden_here(day, setup, nodes, warm)
    arrival, duration = None, day.course.length / _USUAL
    for _ in range(_GUESSES):
        problem = problem_on(day, setup, nodes, arrival, duration)
        rate = float(allowance(day.rider, duration) / duration) ** (1 / day.rider.effort_exponent)
        ride = simulate(problem, np.minimum(problem.critical_power * rate, problem.power_limit))
        if ride.stalled:
            return None, duration
        before, duration = duration, float(ride.finish_time)
        arrival = ride.time if changing else None
        if abs(duration - before) < 1e-3 * duration:
            break
    return arrival, duration


def _ridden_here(day: RaceDay, setup: Setup, nodes: NDArray[np.float64],
                 warm: Plan) -> tuple[NDArray[np.float64] | None, float]:
    """When the nodes are reached with the scaled powers of a neighbouring plan, and the finish."""
    time = warm.time
    energy = 0.5 * warm.speed**2
    for _ in range(_RIDES):
        arrival = time if len(day.conditions.wind_time) > 1 else None
        problem = problem_on(day, setup, nodes, arrival, float(time[-1]))
        power, limit = warm.power, problem.effort
        if limit is not None:
            spent = limit.spent(power / problem.critical_power, np.diff(time))
            share = float(limit.allowed(float(time[-1]))) / max(spent, 1e-9)
            power = power * np.clip(share ** (1 / limit.exponent), *_ALIKE)
        ride = simulate(problem, np.minimum(power, problem.power_limit), energy)
        if ride.stalled:
            break
        time, energy = ride.time, 0.5 * ride.speed**2
    return (time if len(day.conditions.wind_time) > 1 else None), float(time[-1])
