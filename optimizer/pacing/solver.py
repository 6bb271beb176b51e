"""From a problem to a verified plan: convex program, polish where it is needed, certificate."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.errors import Infeasible
from optimizer.pacing.certificate import dual_bound, linear_bound
from optimizer.pacing.convex import ConvexProgram, convex_program
from optimizer.pacing.interior_point import ROWS, Point, Solution, interior_point
from optimizer.pacing.plan import Plan
from optimizer.pacing.simulate import Ride, holding_power, require_moving, simulate

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.pacing.problem import PacingProblem

__all__ = ["solve"]

_WAITING = 1e-3  # s of pace that no speed explains, above which a relaxation counts as lossy
_POLISHES = 12


def solve(problem: PacingProblem, warm: Plan | None = None, *,
          second_bound: bool = False) -> Plan:
    """Find the fastest plan for a problem, verify it by simulation, and bound it from below.

    Parameters
    ----------
    warm : plan of a neighbouring problem on the same grid, to start from
    second_bound : bound by HiGHS as well; it takes several times as long as the plan

    Raises
    ------
    Infeasible
        where no plan meets the limits; it names the limit that binds
    """
    program = convex_program(problem)
    solution = interior_point(program, _start(program, warm))
    if not solution.converged and warm is not None:
        solution = interior_point(program)
    if not solution.converged:
        _explain(program, solution)
    bound = dual_bound(program, solution)
    best, iterations = solution, solution.iterations
    lossless = _waiting(program, solution.point) < _WAITING
    notes: list[str] = []
    if not lossless or problem.slowing_recovery:
        best, more = _polish(program, solution)
        iterations += more
        if not lossless:
            notes.append("the relaxation let the rider wait; the plan is a local optimum")
        if problem.slowing_recovery:
            notes.append("recovery slows as the reserve fills: the bound takes full recovery, "
                         "the plan is a local optimum of the slowing one")
    power, ride = _ridden(problem, best)
    row = dict(zip(ROWS, best.multipliers, strict=False))
    refill = row.get("recovery", np.zeros(problem.steps)) * problem.recovery
    return Plan(
        problem=problem, speed=ride.speed, time=ride.time, power=power, reserve=ride.reserve,
        lower_bound=min(bound, float(ride.finish_time)), lossless=lossless, iterations=iterations,
        seconds_per_joule=row["work"] * problem.drivetrain_efficiency / problem.step,
        seconds_per_reserve_joule=float(row["reserve"][0] + row.get("recovery", [0.0])[0]
                                        + np.sum(row["full"])),
        seconds_per_speed=np.concatenate([[0.0], row["top"] * np.sqrt(2 * program.top)]),
        seconds_per_critical_joule=row["reserve"] + refill,
        seconds_per_limit_joule=row["power"] / problem.step,
        linear_bound=linear_bound(program, solution) if second_bound else float("nan"),
        notes=tuple(notes))


def _start(program: ConvexProgram, warm: Plan | None) -> Point | None:
    """Move a neighbouring plan off its bounds."""
    p = program.problem
    if warm is None or len(warm.power) != p.steps:
        return None
    energy = 0.5 * warm.speed**2
    energy[0] = program.start_energy
    room = program.top - program.bottom
    energy[1:] = np.clip(energy[1:], program.bottom + 0.02 * room, program.top - 0.02 * room)
    speed = np.sqrt(2 * energy)
    pace = 2.02 / (speed[:-1] + speed[1:])
    share = 0.02 * (p.w_prime - p.reserve_floor)
    reserve = np.clip(warm.reserve, p.reserve_floor + share, p.w_prime - share)
    reserve[0] = p.w_prime
    work = np.clip(warm.power, 0.02 * p.power_limit, 0.98 * p.power_limit) * pace
    return Point(energy, reserve, work, pace)


def _waiting(program: ConvexProgram, point: Point) -> float:
    """Seconds in a solution that its speeds do not account for."""
    speed = np.sqrt(2 * point.energy)
    return float(np.sum(program.problem.step * (point.pace - 2.0 / (speed[:-1] + speed[1:]))))


def _polish(program: ConvexProgram, solution: Solution) -> tuple[Solution, int]:
    """Local optimum of the true model: convex programs around the last point until it settles.

    Waiting is priced off by the tangent of the pace (a convex-concave procedure); slowing
    recovery is taken by its tangent in reserve and work.
    """
    p = program.problem
    current, iterations, weight = solution, 0, np.zeros(p.steps)
    for _ in range(_POLISHES):
        x = current.point
        speed = np.sqrt(2 * x.energy)
        total = speed[:-1] + speed[1:]
        slack = p.step * (x.pace - 2.0 / total)
        weight = np.where(slack > _WAITING / p.steps, np.maximum(2.0 * weight, 0.3), weight)
        cost = np.zeros(p.steps + 1)
        priced = weight * p.step * 2.0 / total**2
        cost[1:-1] += priced[1:] / speed[1:-1]  # node 0 is fixed
        cost[1:] += priced / speed[1:]
        trial = replace(program, pace_cost=p.step * (1.0 + weight), energy_cost=cost)
        if p.slowing_recovery:
            trial = _slowing(trial, x)
        after = interior_point(trial)
        iterations += after.iterations
        if not after.converged:
            break
        moved = float(np.max(np.abs(after.point.energy - x.energy)))
        current = after
        if moved < 1e-4 and _waiting(program, after.point) < _WAITING:
            break
    return current, iterations


def _slowing(program: ConvexProgram, x: Point) -> ConvexProgram:
    """Take the tangent of W' - (W' - W) exp(-u/W'), u what linear recovery would give."""
    p = program.problem
    give = p.recovery * p.step * (p.critical_power * x.pace - x.work) / p.w_prime
    empty = np.maximum(p.w_prime - x.reserve[:-1], 0.0)
    refills = give > 0
    keep = np.where(refills, np.exp(-np.maximum(give, 0.0)), 1.0)
    share = empty / p.w_prime * keep
    offset = np.where(refills, p.w_prime - empty * keep - keep * x.reserve[:-1]
                      - share * p.w_prime * give, 0.0)
    return replace(program, recovery=p.recovery * share, carry=keep, offset=offset)


def _ridden(problem: PacingProblem, solution: Solution) -> tuple[NDArray[np.float64], Ride]:
    """Powers of a solution with the ride that comes of them, inside the reserve.

    What rounding and a last trace of waiting leave missing is taken from all powers alike.
    """
    p = problem
    x = solution.point
    power = np.clip(x.work / x.pace, 0.0, p.power_limit)
    ride = simulate(p, power, x.energy)
    require_moving(ride, p)
    power = np.minimum(power, holding_power(p, ride))  # none is spent against the brakes
    ride = simulate(p, power, 0.5 * ride.speed**2)
    if _spare(p, power, ride) >= 0:
        return power, ride
    low, high = 0.0, 1.0
    best = None
    share = 1e-6
    for _ in range(60):  # find a share of power to give back, then as little as will do
        trial = power * (1.0 - share)
        after = simulate(p, trial, 0.5 * ride.speed**2)
        if not np.any(after.stalled) and _spare(p, trial, after) >= 0:
            best, high = (trial, after), share
        else:
            low = share
        if best is None:
            share = min(4 * share, 0.5 * (1 + share))
        elif high - low < max(1e-7, 0.02 * high):
            return best
        else:
            share = 0.5 * (low + high)
    if best is None:
        raise Infeasible("the reserve runs out whatever the pace",
                         "lower the reserve to keep, or look at the steepest climb")
    return best


def _spare(p: PacingProblem, power: NDArray[np.float64], ride: Ride) -> float:
    """How far the ride stays inside its limits; negative where it does not."""
    spare = float(ride.reserve.min()) - p.reserve_floor + 1e-6 * p.w_prime
    if np.isfinite(p.effort_rate):
        spent = float(np.sum((power / p.critical_power) ** p.effort_exponent * np.diff(ride.time)))
        allowed = (p.effort_rate**p.effort_exponent * float(ride.finish_time)
                   + p.effort_budget)
        spare = min(spare, (allowed * (1 + 1e-6) - spent) * p.w_prime / allowed)
    return spare


def _explain(program: ConvexProgram, solution: Solution) -> None:
    """Say which limit leaves no plan, by riding at the power limit everywhere."""
    p = program.problem
    require_moving(simulate(p, p.power_limit), p)
    steady = simulate(p, np.minimum(p.critical_power, p.power_limit))
    if np.any(steady.stalled):
        place = float(p.distance[1:][np.argmin(steady.speed[1:])])
        raise Infeasible(
            f"the reserve of {p.w_prime / 1000:.1f} kJ does not carry the rider over the climb at "
            f"{place / 1000:.2f} km", "look at the grade there, or at critical power and W'")
    raise Infeasible(
        f"the solver did not settle (largest violation {solution.residual:.1e} after "
        f"{solution.iterations} iterations)", "please report it with the scenario")
