"""Primal-dual interior point on the convex pacing program, with its structure used.

Predictor and corrector after Mehrotra 1992 (SIAM J. Optim. 2:575); `newton` has the matrix. All
that stays positive, and all multipliers, lie in one array each, so that step lengths, moves and
the complementarity are single operations.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np

from optimizer.pacing.lagrangian import (
    SLOWEST_START,
    Point,
    Slopes,
    gradient,
    linearised,
    row_values,
    times,
)
from optimizer.pacing.newton import CARRIED, SHIFTS, Newton
from optimizer.pacing.simulate import simulate

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.pacing.convex import ConvexProgram

__all__ = ["ROWS", "SETTINGS", "Iterate", "Solution", "interior_point", "starting_point"]

ROWS = ("work", "pace", "reserve", "power", "coast", "top", "bottom", "full", "empty", "recovery")
"""Names of `rows.rows_of` in their order; the last one only with partial recovery."""

_MOST_ITERATIONS = 120
_TO_BOUNDARY = 0.995  # share of the way to the nearest bound
_SHORT = 0.9  # of a whole step; below this, other weights of the corrector are tried
_PATIENCE = 4  # whole steps, after which what a bound still loses is rounding
_WHOLE = 0.9  # of a step, from which it counts as whole
_START_SPEED = 6.0  # m/s; starts far above what the rider can hold stall
_COLD_ENERGY = (0.02, 0.95)  # of the room between the speed bounds, within which a start is
_COLD_PACE = 1.12  # times the pace of the speeds
_COLD_RESERVE = (0.5, 0.01)  # of W', spent at the finish of a start, and missing all the way
_COLD_POWER = (0.95, 0.05, 0.8)  # share of CP, and of the power limit at least and at most
_COLD = (0.1, 0.005)  # slacks, of a row's size, and complementarity, of the mean step, at first
_NEAR = (1e-3, 1e-4)  # the same beside a neighbour's plan
_LOST = 1e9  # times the finish time, Σ s y of a program that no point satisfies
_FOR_BOUND = (1e-9, 1e-7, 1e-6)  # Σ s y, of the finish time, violation of a row, of its size, and
# what a bound loses to gradients that are not zero, of the finish time, where the iteration ends
_FOR_PLAN = (1e-8, 1e-6, 1e-4)  # the same where a plan is ridden anyway, some 0.1 ms of its time
_PASSED = ((1e-4, 1e-2), (3e-2, np.inf))  # Σ s y, of the finish time, and violation of a row, of
# its size, below which an iterate is kept for neighbours to start from
_BLOCKED = 0.05  # of a whole first step, below which a start is left that another one follows
_BLOCKED_LAST = 0.02  # the same where only a start without a neighbour follows
_CENTRED = 0.01  # of the mean product of slack and multiplier, within which a neighbour's are put

_WEIGHTS = (0.01, 0.9, 4)  # of the corrector that are tried: least, most, how many
_CENTRING = (3.0, 1e-6, 0.9)  # power of what the guess leaves of Σ s y, and its bounds
_BEHIND = 0.2  # of the tolerance, below which complementarity is not aimed

SETTINGS: Final = {
    "most_iterations": _MOST_ITERATIONS, "to_boundary": _TO_BOUNDARY, "tolerance": _FOR_PLAN[0],
    "row_tolerance": _FOR_PLAN[1], "short": _SHORT, "start_speed": _START_SPEED,
    "cold": _COLD, "near": _NEAR,
    "cold_energy": _COLD_ENERGY, "cold_pace": _COLD_PACE, "cold_reserve": _COLD_RESERVE,
    "cold_power": _COLD_POWER, "weights": _WEIGHTS, "centring": _CENTRING, "behind": _BEHIND,
    "carried": CARRIED, "shifts": SHIFTS, "slowest_start": SLOWEST_START}
"""What a program that is written elsewhere has to know to do the same."""


@dataclass(frozen=True)
class Iterate:
    """A point with slacks s and multipliers y of the rows, and those of the effort row.

    `primal` has W (n + 1), e (n + 1), f, z (n), s (rows n) and the slack of the effort row, if
    there is one; `dual` the multipliers that go with the slacks. `power_limit` and `top` (n,) are
    the limits [W, J/kg] that the slacks are of.
    """

    steps: int
    rows: int
    primal: NDArray[np.float64]
    dual: NDArray[np.float64]
    power_limit: NDArray[np.float64]
    top: NDArray[np.float64]

    @classmethod
    def at(cls, program: ConvexProgram, x: Point, s: NDArray[np.float64], y: NDArray[np.float64],
           effort: tuple[float, float] | None) -> Iterate:
        """Put together a point, (rows, n) slacks and multipliers, and those of the effort row."""
        effort_s, effort_y = ([], []) if effort is None else ([effort[0]], [effort[1]])
        return cls(len(x.pace), len(s), np.concatenate([
            x.reserve, x.energy, x.work, x.pace, s.ravel(), effort_s]),
            np.concatenate([y.ravel(), effort_y]), program.problem.power_limit, program.top)

    def take(self, other: Iterate) -> None:
        """Take over the values of another one."""
        self.primal[:], self.dual[:] = other.primal, other.dual

    def centred(self) -> Iterate:
        """Copy whose multipliers move to where no product with a slack is far from the mean."""
        product = self.slack * self.dual
        mean = float(product.mean())
        return replace(self, primal=self.primal.copy(), dual=self.dual * np.clip(
            product, mean * _CENTRED, mean / _CENTRED) / product)

    def copy(self) -> Iterate:
        """Copy, which nobody else writes to."""
        return replace(self, primal=self.primal.copy(), dual=self.dual.copy())

    @cached_property
    def x(self) -> Point:
        """The point."""
        n, v = self.steps, self.primal
        return Point(v[n + 1:2 * n + 2], v[:n + 1], v[2 * n + 2:3 * n + 2],
                     v[3 * n + 2:4 * n + 2])

    @cached_property
    def slack(self) -> NDArray[np.float64]:
        """Slacks of the rows and of the effort row."""
        return self.primal[4 * self.steps + 2:]

    @cached_property
    def positive(self) -> NDArray[np.float64]:
        """All of `primal` that stays positive: all but reserves and the fixed first energy."""
        return self.primal[self.steps + 2:]

    @cached_property
    def s(self) -> NDArray[np.float64]:
        """(rows, n) slacks."""
        return self.of_rows(self.slack)

    @cached_property
    def y(self) -> NDArray[np.float64]:
        """(rows, n) multipliers."""
        return self.of_rows(self.dual)

    def of_rows(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """(rows, n) part of what belongs to all slacks."""
        return values[:self.rows * self.steps].reshape(self.rows, self.steps)

    @property
    def has_effort(self) -> bool:
        """Whether there is an effort row."""
        return len(self.dual) > self.rows * self.steps

    @property
    def effort_y(self) -> float:
        """Multiplier of the effort row; 0 without one."""
        return float(self.dual[-1]) if self.has_effort else 0.0

    @property
    def gap(self) -> float:
        """Complementarity Σ s y."""
        return _inner(self.slack, self.dual)


@dataclass(frozen=True)
class Solution:
    """Where the iteration ended.

    `multipliers`, `slacks`: (rows, n) in the order of ROWS (the last one only with partial
    recovery); `effort_multiplier` of the effort row; `residual` the largest violation of a row,
    relative to its size; `complementarity` Σ s y [s], an estimate of the distance to the optimum.
    `passed` has iterates of the way, the nearest to the end first, each None where the way began
    further on: a neighbouring problem starts well from one of them, while the end is too close to
    its bounds for that.
    """

    point: Point
    multipliers: NDArray[np.float64]
    slacks: NDArray[np.float64]
    effort_multiplier: float
    iterations: int
    converged: bool
    residual: float
    complementarity: float
    passed: tuple[Iterate | None, ...] = (None,) * len(_PASSED)


def starting_point(program: ConvexProgram) -> Point:
    """Start inside the bounds: where effort is limited from an even ride, else from a slow one.

    A limit on the effort makes plans that are not far from even.

    Parameters
    ----------
    program : of n steps

    Returns
    -------
    energies [J/kg], reserves [J], work [J/m] and paces [s/m]
    """
    p = program.problem
    n = p.steps
    share, least, most = _COLD_POWER
    power = np.minimum(share * p.critical_power, most * p.power_limit)
    energy = np.full(n + 1, 0.5 * _START_SPEED**2)
    if program.has_effort:
        ride = simulate(p, power)
        if not ride.stalled:
            energy = 0.5 * ride.speed**2
            power = np.maximum(ride.power, least * p.power_limit)
    energy[0] = program.start_energy
    low, high = (program.bottom + share * (program.top - program.bottom)
                 for share in _COLD_ENERGY)
    energy[1:] = np.clip(energy[1:], low, high)
    speed = np.sqrt(2 * energy)
    pace = 2.0 * _COLD_PACE / (speed[:-1] + speed[1:])
    room = p.w_prime - p.reserve_floor
    spent, missing = _COLD_RESERVE
    reserve = p.w_prime - room * np.linspace(0.0, spent, n + 1)
    reserve[1:] = np.minimum(reserve[1:], p.w_prime - missing * room)
    return Point(energy, reserve, power * pace, pace)


def interior_point(program: ConvexProgram,  # noqa: C901 - the iteration on one screen
                   start: Point | tuple[Iterate | None, ...] | None = None, *,
                   for_bound: bool = True) -> Solution:
    """Solve the program.

    Parameters
    ----------
    program : of n steps
    start : another point to begin from, such as the plan of a neighbouring problem; or iterates
        with their multipliers (`Solution.passed`), which saves more: the first of them from which
        a step is not cut short, None for one without a neighbour
    for_bound : go on until a bound from the multipliers loses next to nothing; a plan without a
        bound is there some iterations earlier

    Returns
    -------
    the solution; `converged` is false where the iteration stalled, and the caller must say so

    References
    ----------
    Mehrotra 1992, SIAM J. Optim. 2:575; Colombo and Gondzio 2008, Comput. Optim. Appl. 41:277.
    """
    sizes = np.array([row.size for row in program.rows])
    first, *further = ((_begin(program, start, sizes),) if start is None or isinstance(start, Point)
                       else start)
    at = (first or _begin(program, None, sizes)).copy()
    passed = _Passed(anew=start is None)
    way = _Way(program, at)
    guess = way.guess
    d = way.linearised(at)
    best: tuple[float, Solution] | None = None
    iterations, patience, whole, settled = 0, _PATIENCE, False, False
    tolerance, row_tolerance, loss_tolerance = _FOR_BOUND if for_bound else _FOR_PLAN

    def violation() -> float:
        off = at.of_rows(way.off)
        return float(np.max(np.maximum(off.max(axis=1), -off.min(axis=1)) / sizes))

    def ended(*, converged: bool) -> Solution:
        end = at.copy()
        return Solution(end.x, end.y, end.s, end.effort_y, iterations, converged, violation(), gap,
                        tuple(passed.found))

    while True:
        time, gap = float(program.pace_cost @ at.x.pace), at.gap
        residual = violation() if gap < _PASSED[0][0] * time else np.inf  # far away nobody asks
        passed.look(at, gap / time, residual, first=iterations == 0)
        if gap < tolerance * time and residual < row_tolerance:
            loss = _bound_loss(program, at.x, gradient(program, d, at.y, at.effort_y)) / time
            if best is None or loss < best[0]:
                best = loss, ended(converged=True)
            patience -= whole  # a step that was cut short leaves the gradients where they were
            settled = loss < loss_tolerance
            if settled or patience == 0:
                break
        if iterations == _MOST_ITERATIONS or not gap < _LOST * time:
            break
        iterations += 1
        try:
            way.factor(at, d)
        except np.linalg.LinAlgError:
            break
        guess.dual[:] = at.dual
        way.towards(d, at, guess)
        ahead, ahead_dual = (min(length, 1.0) for length in way.lengths(at, guess))
        blocked = _BLOCKED_LAST if len(further) == 1 else _BLOCKED
        if further and min(ahead, ahead_dual) < blocked:
            passed = _Passed(anew=further[0] is None)
            at.take(further.pop(0) or _begin(program, None, sizes))
            d = way.linearised(at)
            continue
        further.clear()
        taken = way.go(at, d, gap, (ahead, ahead_dual), _BEHIND * tolerance * time)
        whole = taken >= _WHOLE
        d = way.linearised(at)
    if best is None:
        return ended(converged=False)
    # Beside a neighbour multipliers can go astray; a way that began anew found the best there are.
    return replace(best[1], converged=settled or start is None or best[0] < _FOR_PLAN[2])


class _Passed:
    """Iterates of a way that neighbours may start from, the nearest to the end first.

    One further off is taken of a way only that began anew: others can be ill centred there. Nor
    is the first iterate, which is somebody else's.
    """

    def __init__(self, *, anew: bool) -> None:
        self.found: list[Iterate | None] = [None] * len(_PASSED)
        self._open = [True, anew]

    def look(self, at: Iterate, gap: float, residual: float, *, first: bool) -> None:
        """Keep an iterate if it is the one."""
        for k, (near, violated) in enumerate(_PASSED):
            if self._open[k] and gap < near and residual <= violated:
                self._open[k] = False
                if not first:
                    self.found[k] = at.copy()


class _Way:
    """Directions from one iterate to the next, in arrays that all iterations share.

    A solve is as fast as the processor's cache allows: nothing is kept that can be had again.
    """

    def __init__(self, program: ConvexProgram, at: Iterate) -> None:
        self.program, self.newton = program, Newton(program)
        self._border: tuple[Point, float] | None = None
        self.weight, self.off = np.empty(len(at.dual)), np.empty(len(at.dual))
        self._room = np.empty(len(at.positive))
        self.guess, self.move = at.copy(), at.copy()
        for direction in (self.guess, self.move):
            direction.primal[:] = 0.0

    def linearised(self, at: Iterate) -> Slopes:
        """Slopes at an iterate; how far the rows are off their slacks is written to `off`."""
        _, d = linearised(self.program, at.x, at.of_rows(self.off))
        if at.has_effort:
            self.off[-1] = self.program.effort(at.x.work, at.x.pace)
        self.off += at.slack
        return d

    def factor(self, at: Iterate, d: Slopes) -> None:
        """Factor the Newton matrix at an iterate, and border it with the effort row."""
        np.divide(at.dual, at.slack, out=self.weight)
        self.newton.factor(at.x, d, at.y, at.of_rows(self.weight), at.effort_y)
        if at.has_effort:
            none = np.zeros(at.steps + 1)
            base = self.newton.solve(Point(none, none, d.effort_f, d.effort_z))
            self._border = base, 1.0 / self.weight[-1] + _along(d, base)

    def towards(self, d: Slopes, at: Iterate, out: Iterate) -> None:
        """Direction that takes y s down by s times what `out.dual` has, and the rows to slacks."""
        y = np.multiply(self.weight, self.off, out=self._room[:len(at.dual)])
        target = out.dual
        y += at.dual
        y -= target
        x = self.newton.solve(gradient(self.program, d, at.of_rows(y), at.effort_y))
        effort = spared = 0.0
        if self._border is not None:
            base, stiff = self._border
            spared = out.dual[-1] / self.weight[-1]
            effort = (self.off[-1] - _along(d, x) - spared) / stiff
            x = Point(*(own + effort * other for own, other in zip(x, base, strict=True)))
        for own, found in zip(out.x, x, strict=True):
            np.negative(found, out=own)
        s = out.slack
        times(self.program, d, x, out.s)
        s -= self.off
        if self._border is not None:
            s[-1] = -spared - effort / self.weight[-1]
        target += np.multiply(self.weight, s, out=y)
        np.negative(target, out=target)
        if self._border is not None:
            target[-1] = effort

    def go(self, at: Iterate, d: Slopes, gap: float, ahead: tuple[float, float],
           least: float) -> float:
        """Correct the guess, whose steps go `ahead`, and move there, by the share that it gives.

        Σ s y is aimed no lower than `least`.
        """
        guess, move = self.guess, self.move
        by, low, high = _CENTRING
        sigma = min(max((_gap_after(at, guess, gap, *ahead) / gap) ** by, low), high)
        # Rows that still err need room: complementarity must not run ahead of them.
        aim = max(sigma * gap, least) / len(at.dual)
        target = np.multiply(guess.slack, guess.dual, out=move.dual)
        target -= aim
        target /= at.slack
        target += at.dual
        self.towards(d, at, move)
        primal, dual = (min(_TO_BOUNDARY * length, 1.0)
                        for length in self.weighted(at, ahead[0] * ahead[1]))
        _add_part(at.primal, move.primal, primal)
        _add_part(at.dual, move.dual, dual)
        return min(primal, dual)

    def lengths(self, at: Iterate, d: Iterate) -> list[float]:
        """How far a direction may be gone, primal and dual, before something is negative."""
        return [_longest(np.divide(change, own, out=self._room[:len(own)]))
                for change, own in ((d.positive, at.positive), (d.dual, at.dual))]

    def weighted(self, at: Iterate, least: float) -> list[float]:
        """Weigh the corrector, between `least` and 1, so that the step goes furthest.

        It holds for a whole step and misleads where the guess is cut short (Colombo and Gondzio
        2008, Comput. Optim. Appl. 41:277). Writes to `move`, and gives how far it may be gone,
        primal and dual.
        """
        guess, move = self.guess, self.move
        lengths = self.lengths(at, move)
        if min(lengths) >= _SHORT:
            return lengths
        for side, (own, before, after) in enumerate((
                (at.positive, guess.positive, move.positive), (at.dual, guess.dual, move.dual))):
            # All others allow a whole step with any weight.
            least_change = np.minimum(before, after, out=self._room[:len(own)])
            near = np.flatnonzero(np.add(least_change, own, out=least_change) < 0.0)
            first = before[near] / own[near]
            further = after[near] / own[near] - first
            chosen = 1.0
            low, high, count = _WEIGHTS
            for weight in np.linspace(max(least, low), high, count):
                length = _longest(first + weight * further)
                if length > lengths[side]:
                    lengths[side], chosen = length, float(weight)
            if chosen != 1.0:
                whole, part = ((move.dual, guess.dual) if side else (move.primal, guess.primal))
                whole -= part
                whole *= chosen
                whole += part
        return lengths


def _begin(program: ConvexProgram, start: Point | None,
           sizes: NDArray[np.float64]) -> Iterate:
    """Slacks and multipliers to start with, larger without a neighbour to start from."""
    x = starting_point(program) if start is None else start
    room, centre = _COLD if start is None else _NEAR
    s = np.maximum(-row_values(program, x), room * sizes[:, None])
    target = centre * float(np.mean(program.problem.step))
    effort = None
    if program.has_effort:
        effort_s = max(-program.effort(x.work, x.pace), 1.0)
        effort = effort_s, target / effort_s
    return Iterate.at(program, x, s, target / s, effort)


def _bound_loss(program: ConvexProgram, x: Point, slope: Point) -> float:
    """Seconds that a lower bound would lose to gradients that are not yet zero."""
    p = program.problem
    return (float(np.abs(slope.work) @ (p.power_limit * x.pace))
            + 5.0 * float(np.abs(slope.pace) @ x.pace)
            + float(np.abs(slope.energy[1:]) @ x.energy[1:])
            + float(np.sum(np.abs(slope.reserve))) * p.w_prime)


def _longest(rate: NDArray[np.float64]) -> float:
    """Longest step in (0, inf) that keeps all positive whose relative change is `rate`."""
    fastest = float(rate.min(initial=0.0))
    return -1.0 / fastest if fastest < 0 else np.inf


def _add_part(to: NDArray[np.float64], move: NDArray[np.float64], share: float) -> None:
    """Move in place by a share of `move`, which is written over."""
    move *= share
    to += move


def _gap_after(at: Iterate, d: Iterate, gap: float, primal: float, dual: float) -> float:
    """Complementarity Σ s y after a step along a guess d, all of which takes it to Σ ds dy."""
    by_dual = _inner(at.slack, d.dual)
    return gap + dual * by_dual - primal * (gap + by_dual) + (
        primal * dual * _inner(d.slack, d.dual))


def _along(d: Slopes, step: Point) -> float:
    """Effort row's derivative along a step."""
    return float(d.effort_f @ step.work + d.effort_z @ step.pace)


def _inner(a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    """Inner product in one thread: starting more costs more than they do."""
    return float(np.einsum("i,i", a, b))
