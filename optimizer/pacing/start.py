"""Where the solver starts beside a plan that is known: other kit, wind, effort, coasting or steps.

An interior point cannot start at the end of another problem's solution: it is too close to its
bounds, and the first steps are cut short. So each solution keeps iterates of its way
(`Solution.passed`), one near its end and, where it began anew, one further off. The solver takes
the one from which its first step is long, or begins anew (`interior_point`).
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from optimizer.pacing.interior_point import ROWS, Iterate
from optimizer.pacing.lagrangian import Point

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.pacing.convex import ConvexProgram
    from optimizer.pacing.interior_point import Solution
    from optimizer.pacing.plan import Plan

__all__ = ["OFF", "beginning", "passed_on"]

OFF: Final = 0.02
"""Share of their room, by which a neighbour's plan is moved off its bounds."""

_BELOW = 0.5  # of a new limit, that work above it is put at
_ROOM = 2e-3  # of the room between the speed bounds, that is left below a new one
_POWER, _COAST, _TOP, _BOTTOM = (ROWS.index(name) for name in ("power", "coast", "top", "bottom"))


def beginning(program: ConvexProgram,
              warm: Plan | None) -> Point | tuple[Iterate | None, ...] | None:
    """Start where the solver of a neighbouring plan passed, or move that plan off its bounds.

    What is fixed at the start of the course, and the limits, are those of this program.

    Parameters
    ----------
    program : of n steps
    warm : the neighbour

    Returns
    -------
    where to start, of several the nearest to the end first and a start without neighbour last; None
    for a start without neighbour alone
    """
    p = program.problem
    if warm is None or len(warm.power) != p.steps:
        return None
    passed = [at for at in warm.passed if at is not None and at.steps == p.steps
              and at.rows == len(program.rows) and at.has_effort == program.has_effort]
    if passed:
        return *(_carried(program, at) for at in passed), None
    if program.has_effort:
        return None  # an even ride is as near, and better centred
    energy = 0.5 * warm.speed**2
    energy[0] = program.start_energy
    room = program.top - program.bottom
    energy[1:] = np.clip(energy[1:], program.bottom + OFF * room, program.top - OFF * room)
    speed = np.sqrt(2 * energy)
    pace = (2.0 + OFF) / (speed[:-1] + speed[1:])
    share = OFF * (p.w_prime - p.reserve_floor)
    reserve = np.clip(warm.reserve, p.reserve_floor + share, p.w_prime - share)
    reserve[0] = p.w_prime
    work = np.clip(warm.power, OFF * p.power_limit, (1.0 - OFF) * p.power_limit) * pace
    return Point(energy, reserve, work, pace)


def passed_on(solution: Solution, warm: Plan | None) -> tuple[Iterate | None, ...]:
    """Give where neighbours may start: where the solver passed, or where it started itself.

    Parameters
    ----------
    solution : of a program
    warm : the plan that it started from

    Returns
    -------
    iterates, the nearest to the end first; None where there is none
    """
    before = warm.passed if warm is not None and warm.passed else (None,) * len(solution.passed)
    return tuple(own or other for own, other in zip(solution.passed, before, strict=True))


def _carried(program: ConvexProgram, before: Iterate) -> Iterate:
    """Take an iterate over to other limits of power and speed.

    Where a limit moved, its slack moves with it, work and energy give way where they must, and
    multipliers keep their products with the slacks.
    """
    p = program.problem
    at = before.copy()
    x, s = at.x, at.s
    x.energy[0], x.reserve[0] = program.start_energy, p.w_prime

    moved = np.flatnonzero(p.power_limit != at.power_limit)
    if len(moved):
        room = p.power_limit[moved] * x.pace[moved]
        slack = s[_POWER, moved] + room - at.power_limit[moved] * x.pace[moved]
        work = np.where(slack < _BELOW * room, np.minimum(x.work[moved], _BELOW * room),
                        x.work[moved])
        _slacken(at, _POWER, moved, np.maximum(slack, _BELOW * room))
        _slacken(at, _COAST, moved, s[_COAST, moved] * work / x.work[moved])
        x.work[moved] = work

    moved = np.flatnonzero(program.top != at.top)
    if len(moved):
        energy, limit = x.energy[1:], program.top[moved]
        slack = s[_TOP, moved] + limit - at.top[moved]
        least = _ROOM * (limit - program.bottom[moved])
        lower = np.where(slack < least, np.minimum(energy[moved], limit - least), energy[moved])
        _slacken(at, _TOP, moved, np.maximum(slack, least))
        _slacken(at, _BOTTOM, moved, s[_BOTTOM, moved] * lower / energy[moved])
        before_pace = _least_pace(x.energy)
        energy[moved] = lower
        x.pace[:] += _least_pace(x.energy) - before_pace
    return replace(at.centred(), power_limit=p.power_limit, top=program.top)


def _slacken(at: Iterate, row: int, steps: NDArray[np.int64], slack: NDArray[np.float64]) -> None:
    """Set slacks of a row; the multipliers keep their products with them."""
    at.y[row, steps] *= at.s[row, steps] / slack
    at.s[row, steps] = slack


def _least_pace(energy: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) pace of the speeds at the ends of the steps [s/m]."""
    speed = np.sqrt(2 * energy)
    return np.asarray(2.0 / (speed[:-1] + speed[1:]))
