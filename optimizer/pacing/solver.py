"""From a problem to a verified plan: convex program, polish where it is needed, certificate."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, NamedTuple, NoReturn

import numpy as np

from optimizer.errors import Infeasible
from optimizer.pacing.certificate import attainable, dual_bound, linear_bound
from optimizer.pacing.convex import ConvexProgram, convex_program
from optimizer.pacing.interior_point import Iterate, Solution, interior_point
from optimizer.pacing.lagrangian import Point
from optimizer.pacing.plan import Plan
from optimizer.pacing.problem import FASTEST, split_steps
from optimizer.pacing.rows import prices
from optimizer.pacing.simulate import SimulatedRide, holding_power, require_moving, simulate
from optimizer.pacing.start import OFF, beginning, passed_on
from optimizer.physics.road_load import road_force

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.pacing.problem import PacingProblem

__all__ = ["FINE", "SETTINGS", "Draft", "StepTooLong", "blame_step", "certified", "draft", "solve"]

_WAITING = 1e-3  # s of pace that no speed explains, above which a relaxation counts as lossy
_POLISHES = 30
_HOPEFUL = 6  # of them, after which waiting must have halved or a ride been found
_GIVEN_BACK = 0.2  # share of the powers, at most; each look may take a slow simulation
_SHARES = (1.0, 0.5, 0.2, 0.05, 0.01)  # of the way to a polished plan that are tried
_WON = 1e-5  # of the finish time, less than which ends the polish
_NOTICED = 0.1  # of that, less than which is no better plan
_PRICE = 0.3  # of waiting, to begin with; doubled while it lasts
_WIDE = 2e-5  # of the finish time, a gap for which narrower speed bounds are worth their while
FINE = 10.0  # m, steps that are short enough for any slope
_ON_LIMIT = 1e-6  # of the energy, closer than which a solution is on a speed limit
_PUSHED = 1e-5  # of the power, by which the ride is held there
_SPARE = 1e-9  # s of effort that is left where a solution ended, at least
_UNSETTLED = 1e-2  # largest violation of a row, of its size, with which a plan is still tried

_TRACE = 1e-6  # of reserve and effort, by which a ride may go beyond them
_MUCH = 1e-3  # of all powers given back, with which a ride that stalls has too little
_FINE_SHARE, _ROUGH_SHARE = 1e-7, 0.02  # of the power and of what is given back, found no closer

SETTINGS: Final = {"waiting": _WAITING, "polishes": _POLISHES, "hopeful": _HOPEFUL,
                   "shares": _SHARES, "won": _WON, "unsettled": _UNSETTLED, "off": OFF,
                   "trace": _TRACE, "fine_share": _FINE_SHARE, "rough_share": _ROUGH_SHARE,
                   "price": _PRICE, "much": _MUCH, "noticed": _NOTICED}
"""What a program that is written elsewhere has to know to do the same."""


class StepTooLong(Infeasible):
    """No plan on this grid, for which a step is too long; a finer one may have one."""


class Draft(NamedTuple):
    """A plan without its bound, and what a bound is made from."""

    plan: Plan
    program: ConvexProgram
    solution: Solution


def solve(problem: PacingProblem, warm: Plan | None = None, *,
          second_bound: bool = False) -> Plan:
    """Find the fastest plan for a problem, verify it by simulation, and bound it from below.

    Parameters
    ----------
    problem : n steps, rider and kit
    warm : plan of a neighbouring problem on the same grid, to start from
    second_bound : bound by HiGHS as well; it takes several times as long as the plan

    Returns
    -------
    a plan whose powers were ridden and keep all limits, with its multipliers and lower bound [s]

    Raises
    ------
    Infeasible
        where no plan meets the limits; it names the limit that binds
    """
    return certified(draft(problem, warm), second_bound=second_bound)


def draft(problem: PacingProblem, warm: Plan | None = None) -> Draft:
    """Find and verify the fastest plan as `solve` does, without a bound: its `lower_bound` is nan.

    Parameters
    ----------
    problem : n steps, rider and kit
    warm : plan of a neighbouring problem on the same grid

    Returns
    -------
    the plan, and what a bound is made from

    Raises
    ------
    Infeasible
        where no plan meets the limits; it names the limit that binds
    """
    _check_limits(problem)
    _check_climbs(problem)
    program = convex_program(problem)
    solution = interior_point(program, beginning(program, warm), for_bound=False)
    iterations = solution.iterations
    if not solution.converged and warm is not None:
        solution = interior_point(program, for_bound=False)
        iterations += solution.iterations
    notes: list[str] = []
    usable = solution.converged or solution.residual < _UNSETTLED
    lossless = usable and _waiting(program, solution.point) < _WAITING
    best = _ridden(problem, solution) if usable else None
    if not solution.converged:
        notes.append("the solver did not converge; the plan is the best one that it found")
    convex = problem.recovery_law.convex
    if (solution.converged or best is not None) and not (lossless and convex):
        best, polished, more = _polish(program, solution, best)
        iterations += more
        if not lossless:
            notes.append("this plan is the best among those near it; a better one may exist "
                         "within the gap to the bound")
        if not convex:
            notes.append("recovery slows as the reserve fills: the plan allows for that, the bound "
                         "does not; a better plan may exist within the gap")
    else:
        polished = solution
    if not lossless or best is None:
        best = _or_steady(problem, best, notes)
    if best is None:
        _explain(problem, solution)
    power, ride = best.power, best.ride
    worth = prices(program, polished.multipliers)
    plan = Plan(
        problem=problem, speed=ride.speed, time=ride.time, power=power, reserve=ride.reserve,
        lower_bound=float("nan"), lossless=lossless, iterations=iterations,
        seconds_per_joule=worth["joule"],
        seconds_per_reserve_joule=float(worth["reserve_joule"]),
        seconds_per_speed=worth["speed"], seconds_per_critical_joule=worth["critical_joule"],
        seconds_per_limit_joule=worth["limit_joule"],
        seconds_per_effort=solution.effort_multiplier if problem.effort is not None else 0.0,
        notes=tuple(notes), passed=passed_on(solution, warm))
    return Draft(plan, program, solution)


def certified(found: Draft, *, second_bound: bool = False) -> Plan:
    """Bound a plan from below; the better bound counts.

    Parameters
    ----------
    found : plan, program and solution
    second_bound : bound by HiGHS as well

    Returns
    -------
    the plan with `lower_bound` [s]
    """
    plan, narrow, solution = found
    if solution.converged:  # as a plan is; a bound asks for a little more
        better = interior_point(narrow, (_end(narrow, solution),))
        solution = better if better.converged else solution
    bound = dual_bound(narrow, solution)
    if plan.finish_time - bound > _WIDE * plan.finish_time:
        narrow = attainable(narrow)
        bound = max(bound, dual_bound(narrow, solution))
    linear = linear_bound(narrow, solution) if second_bound else float("nan")
    bound = float(np.fmax(bound, linear))
    return replace(plan, lower_bound=min(max(bound, 0.0), plan.finish_time), linear_bound=linear)


def _end(program: ConvexProgram, solution: Solution) -> Iterate:
    """Give where a solution ended, to go on from."""
    x = solution.point
    effort = (max(-program.effort(x.work, x.pace), _SPARE),
              solution.effort_multiplier) if program.has_effort else None
    return Iterate.at(program, x, solution.slacks, solution.multipliers, effort)


def _waiting(program: ConvexProgram, point: Point) -> float:
    """Seconds in a solution that its speeds do not account for."""
    speed = np.sqrt(2 * point.energy)
    return float(np.sum(program.problem.step * (point.pace - 2.0 / (speed[:-1] + speed[1:]))))


def _polish(program: ConvexProgram, solution: Solution, best: _Ridden | None,
            ) -> tuple[_Ridden | None, Solution, int]:
    """Local optimum of the true model: convex programs around the best ride met so far.

    Waiting is priced off by the tangent of the pace (a convex-concave procedure); slowing
    recovery is taken by its tangent in reserve and work at the best ride. Each program's powers
    are ridden, in part where the whole way to them wins nothing, and only what is verified
    counts. Gives the best ride, the last program's solution and all iterations.
    """
    p = program.problem
    current, iterations, weight = solution, 0, np.zeros(p.steps)
    idle, first = 0, np.inf
    for tried in range(_POLISHES):
        x = current.point
        speed = np.sqrt(2 * x.energy)
        total = speed[:-1] + speed[1:]
        slack = p.step * (x.pace - 2.0 / total)
        weight = np.where(slack > _WAITING / p.steps, np.maximum(2.0 * weight, _PRICE), weight)
        waiting = float(np.sum(slack))
        first = min(first, waiting) if tried < 2 else first
        if best is None and tried >= _HOPEFUL and waiting > 0.5 * first:
            break
        waits = waiting > _WAITING
        cost = np.zeros(p.steps + 1)
        priced = weight * p.step * 2.0 / total**2
        cost[1:-1] += priced[1:] / speed[1:-1]  # node 0 is fixed
        cost[1:] += priced / speed[1:]
        trial = replace(program, pace_cost=p.step * (1.0 + weight), energy_cost=cost)
        if not p.recovery_law.convex:
            trial = _with_recovery_line(trial, x if best is None else best.point)
        after = interior_point(trial, for_bound=False)
        iterations += after.iterations
        if not (after.converged or after.residual < _UNSETTLED):  # also where it is no number
            break
        current = after
        better = _towards(p, best, after)
        won = (np.inf if best is None else best.time - better.time) if better is not None else 0.0
        if won > 0:
            best = better
        if best is not None and won <= _WON * best.time and not waits:
            idle += 1
            if idle == 2:  # the first may still have moved where waiting was priced
                break
    return best, current, iterations


def _towards(p: PacingProblem, best: _Ridden | None, solution: Solution) -> _Ridden | None:
    """Ride a solution's powers, or a share of the way to them from the best ride so far."""
    for share in _SHARES if best is not None else (1.0,):
        after = _ridden(p, solution, None if share == 1.0 else best, share)
        if after is not None and (best is None or after.time < best.time * (1 - _NOTICED * _WON)):
            return after
    return None


def _with_recovery_line(program: ConvexProgram, x: Point) -> ConvexProgram:
    """Take the line that touches the recovery law at a ride."""
    p = program.problem
    net = p.step * (p.critical_power * x.pace - x.work)
    share, carry, offset = p.recovery_law.line(net, p.recovery, p.w_prime, x.reserve)
    return replace(program, recovery=share, carry=carry, offset=offset)


@dataclass(frozen=True)
class _Ridden:
    """Powers (n,) with the ride that comes of them, inside all limits."""

    problem: PacingProblem
    power: NDArray[np.float64]
    ride: SimulatedRide

    @property
    def time(self) -> float:
        """Finish time [s]."""
        return float(self.ride.finish_time)

    @property
    def point(self) -> Point:
        """The same in the unknowns of the program."""
        pace = np.diff(self.ride.time) / self.problem.step
        return Point(0.5 * self.ride.speed**2, self.ride.reserve, self.power * pace, pace)


def _ridden(problem: PacingProblem, solution: Solution, start: _Ridden | None = None,
            share: float = 1.0) -> _Ridden | None:
    """Ride a solution's powers, or a share of the way from `start` to them.

    What rounding and a last trace of waiting leave missing is taken from all powers alike. None
    where no share of the powers keeps the limits.
    """
    p = problem
    x = solution.point
    power = np.clip(x.work / x.pace, 0.0, p.power_limit)
    if start is None:
        # Where the solution is on a speed limit the ride is to be so, too, whatever rounding left.
        top = 0.5 * np.minimum(p.speed_limit, FASTEST)**2
        limited = np.flatnonzero(x.energy[1:] >= top[1:] * (1.0 - _ON_LIMIT))
        guess = np.array(x.energy)
        guess[limited + 1] = top[limited + 1]
        power[limited] = np.minimum(power[limited] * (1.0 + _PUSHED), p.power_limit[limited])
    else:
        power = start.power + share * (power - start.power)
        guess = 0.5 * start.ride.speed**2
    ride = simulate(p, power, guess)
    # None is spent against the brakes; without that the ride is the same.
    return _within(p, np.minimum(power, holding_power(p, ride)), ride)


def _within(p: PacingProblem, power: NDArray[np.float64], ride: SimulatedRide,
            most: float = _GIVEN_BACK) -> _Ridden | None:
    """Give back the least share of all powers that keeps the limits; None where `most` does not.

    `ride` is what comes of all the powers.
    """
    if np.any(ride.stalled):
        return None  # less power would not help
    guess = 0.5 * ride.speed**2
    if _spare(p, power, ride) >= 0:
        return _Ridden(p, power, ride)
    low, high = 0.0, 1.0
    best = None
    share = _TRACE
    for _ in range(60):  # find a share of power to give back, then as little as will do
        trial = power * (1.0 - share)
        after = simulate(p, trial, guess)
        if not np.any(after.stalled) and _spare(p, trial, after) >= 0:
            best, high = _Ridden(p, trial, after), share
        elif np.any(after.stalled) and share > _MUCH:
            high = share  # too much given back already
        else:
            low = share
        if best is None and high == 1.0:
            if share >= most:
                return None  # no trace of waiting: another plan altogether
            share = min(4 * share, 0.5 * (1 + share), most)
        elif high - low < max(_FINE_SHARE, _ROUGH_SHARE * high):
            return best
        else:
            share = 0.5 * (low + high)
    return best


def _or_steady(p: PacingProblem, best: _Ridden | None, notes: list[str]) -> _Ridden | None:
    """Ride at one share of CP instead, and note it, where that is faster."""
    steady = _steady(p)
    if steady is None or (best is not None and best.time <= steady.time):
        return best
    notes.append("the plan holds one share of critical power within the limits; on steps of this "
                 "length no better one was found")
    return steady


def _steady(p: PacingProblem) -> _Ridden | None:
    """Ride one share of CP all the way, the highest that the limits allow."""
    power = np.minimum(p.power_limit, 1.5 * p.critical_power)
    return _within(p, power, simulate(p, power), most=0.99)


def _spare(p: PacingProblem, power: NDArray[np.float64], ride: SimulatedRide) -> float:
    """How far the ride stays inside its limits; negative where it does not."""
    return min(_spare_reserve(p, ride), _spare_effort(p, power, ride))


def _spare_reserve(p: PacingProblem, ride: SimulatedRide) -> float:
    """Least reserve above its floor [J], and a trace more."""
    return float(ride.reserve.min()) - p.reserve_floor + _TRACE * p.w_prime


def _spare_effort(p: PacingProblem, power: NDArray[np.float64], ride: SimulatedRide) -> float:
    """Unspent share of the effort, and a trace more, in parts of W' [J]; inf without limit."""
    if p.effort is None:
        return float("inf")
    spent = p.effort.spent(power / p.critical_power, np.diff(ride.time))
    allowed = float(p.effort.allowed(ride.finish_time))
    return float((allowed * (1 + _TRACE) - spent) * p.w_prime / max(allowed, 1e-12))


def _check_limits(problem: PacingProblem) -> None:
    """Raise Infeasible where a limit leaves no plan whatever the road."""
    p = problem
    if p.reserve_floor >= p.w_prime:
        raise Infeasible(
            f"the reserve to keep, {p.reserve_floor / 1000:.1f} kJ, is not below the "
            f"{p.w_prime / 1000:.1f} kJ that the rider has", "lower the reserve to keep")
    if np.any(p.power_limit <= 0):
        raise Infeasible("the power limit is zero on part of the course", "raise the power limit")
    if p.effort is not None and p.effort.per_second <= 0 and p.effort.budget <= 0:
        raise Infeasible("the effort limit allows no effort at all", "raise the effort limit")


def _check_climbs(problem: PacingProblem) -> None:
    """Raise Infeasible where a climb takes more than the power limit even at walking speed."""
    p = problem
    climb = road_force(p.grade, p.mass, p.rolling_resistance) * p.lowest_speed
    needed = climb / p.drivetrain_efficiency
    short = needed - p.power_limit
    hardest = int(np.argmax(short))
    place = float(p.distance[hardest]) / 1000
    if short[hardest] > 0 and simulate(p, p.power_limit).stalled:
        raise Infeasible(
            f"the climb at {place:.2f} km ({100 * p.grade[hardest]:.0f} %) takes "
            f"{needed[hardest]:.0f} W at {p.lowest_speed:.0f} m/s and the power limit is "
            f"{p.power_limit[hardest]:.0f} W", "raise the power limit, or look at the grade there")


def _explain(problem: PacingProblem, solution: Solution) -> NoReturn:
    """Raise Infeasible with the limit that leaves no plan, found by riding."""
    p = problem
    fastest = simulate(p, p.power_limit)
    finer = split_steps(p, np.ceil(p.step / FINE).astype(np.int64))
    if fastest.stalled and not simulate(finer, finer.power_limit).stalled:
        blame_step(p, fastest)
    require_moving(fastest, p)
    least = _least_power(p)
    if least is not None:
        _explain_spending(p, *least)
    slow = simulate(p, np.minimum(p.critical_power, p.power_limit))
    if slow.stalled and not simulate(
            finer, np.minimum(finer.critical_power, finer.power_limit)).stalled:
        blame_step(p, slow)
    settled = "found only powers that cannot be ridden" if solution.converged else "found no plan"
    raise Infeasible(
        f"the solver {settled} (largest violation {solution.residual:.1e} after "
        f"{solution.iterations} iterations)", "take shorter steps where it is steep")


def blame_step(p: PacingProblem, ride: SimulatedRide) -> NoReturn:
    """Name the step on which a ride stalls that would not on shorter ones.

    Parameters
    ----------
    p : problem of n steps
    ride : which stalls

    Returns
    -------
    nothing

    Raises
    ------
    StepTooLong
        always
    """
    k = int(np.argmin(ride.speed[1:]))
    raise StepTooLong(f"a step of {p.step[k]:.0f} m is too long for the slope at "
                      f"{p.distance[k] / 1000:.2f} km ({100 * p.grade[k]:.0f} %)",
                      "take shorter steps")


def _explain_spending(p: PacingProblem, power: NDArray[np.float64], ride: SimulatedRide) -> None:
    """Raise Infeasible where the least ride spends too much effort or reserve."""
    if _spare_effort(p, power, ride) < 0:
        raise Infeasible(
            "the slowest ride that gets over the climbs takes more effort than the effort limit "
            "allows", "raise the effort limit, or look at the steepest climb")
    if _spare_reserve(p, ride) < 0:
        place = float(p.distance[int(ride.reserve.argmin())]) / 1000
        raise Infeasible(
            f"the reserve of {p.w_prime / 1000:.1f} kJ with {p.reserve_floor / 1000:.1f} kJ to "
            f"keep does not carry the rider over the climb that ends at {place:.2f} km",
            "lower the reserve to keep, or look at the grade there, critical power and W'")


def _least_power(p: PacingProblem) -> tuple[NDArray[np.float64], SimulatedRide] | None:
    """Ride the least share of the power limit at CP or less elsewhere that does not stall."""
    low, high, best = 0.0, 1.0, None
    for _ in range(30):
        share = 0.5 * (low + high)
        walking = road_force(p.grade, p.mass, p.rolling_resistance) * 2.0 * p.lowest_speed
        power = np.clip(np.maximum(share * p.critical_power,
                                   walking / p.drivetrain_efficiency), 0.0, p.power_limit)
        ride = simulate(p, power)
        if ride.stalled:
            low = share
        else:
            best, high = (power, ride), share
    return best
