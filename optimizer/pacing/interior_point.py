"""Primal-dual interior point on the convex pacing program, with its structure used.

Predictor and corrector after Mehrotra 1992 (SIAM J. Optim. 2:575). On each step two unknowns
are eliminated in closed form: the pace z and u, which stands for the crank work f. Where the
reserve row is tight u is its left side W' - W + Δs (f - CP z), elsewhere Δs f alone, so that
the row that weighs most holds one of the two and nothing cancels. What is left is symmetric,
positive definite and banded of half width 3 in (e, W) of the nodes, and is factored by LAPACK.
The effort row couples all steps and enters by a rank-one update with refinement.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np
from scipy.linalg.lapack import dpbtrf, dpbtrs

from optimizer.pacing.convex import drag_in_energy
from optimizer.pacing.rows import E0, E1, W0, W1, F, Terms, Z, add_terms, times_terms

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.pacing.convex import ConvexProgram

__all__ = ["ROWS", "SETTINGS", "Iterate", "Point", "Slopes", "Solution", "gradient",
           "interior_point", "linearised", "row_values", "starting_point"]

ROWS = ("work", "pace", "reserve", "power", "coast", "top", "bottom", "full", "empty", "recovery")
"""Names of `rows.rows_of` in their order; the last one only with partial recovery."""
WORK, PACE, RESERVE, POWER, COAST = range(5)

_MOST_ITERATIONS = 120
_TO_BOUNDARY = 0.995  # share of the way to the nearest bound
_ROW_TOLERANCE = 1e-7  # of a row's size
_LOSS_TOLERANCE = 1e-6  # of the finish time, what the bound may lose to rounding
_SHORT = 0.9  # of a whole step; below this, other weights of the corrector are tried
_PATIENCE = 4  # iterations to get there once all else is good
_START_SPEED = 6.0  # m/s; starts far above what the rider can hold stall
_COLD = (0.1, 0.02)  # slacks, of a row's size, and complementarity, of the mean step, to begin with
_NEAR = (1e-3, 1e-4)  # the same beside a neighbour's plan
_REFINE = (1e4, 1e9)  # times that the effort row outweighs the rest, for one refinement each
_TOLERANCE = 1e-9  # of the finish time, on Σ s y
_HALFWAY = 1e-4  # of the finish time, on Σ s y, where a neighbour may start from
_HALFWAY_ROWS = 1e-2  # of a row's size, violated by it at most there

SETTINGS: Final = {
    "most_iterations": _MOST_ITERATIONS, "to_boundary": _TO_BOUNDARY, "tolerance": _TOLERANCE,
    "row_tolerance": _ROW_TOLERANCE, "loss_tolerance": _LOSS_TOLERANCE, "short": _SHORT,
    "patience": _PATIENCE, "start_speed": _START_SPEED, "cold": _COLD, "near": _NEAR}
"""What a program that is written elsewhere has to know to do the same."""


class Point(NamedTuple):
    """Unknowns of the program: e, W (n + 1,) with node 0 fixed; crank work f, pace z (n,)."""

    energy: NDArray[np.float64]
    reserve: NDArray[np.float64]
    work: NDArray[np.float64]
    pace: NDArray[np.float64]


@dataclass(frozen=True)
class Iterate:
    """A point with slacks s and multipliers y of the rows, and those of the effort row."""

    x: Point
    s: NDArray[np.float64]
    y: NDArray[np.float64]
    effort_s: float
    effort_y: float

    @property
    def gap(self) -> float:
        """Complementarity Σ s y."""
        return float(np.sum(self.s * self.y)) + self.effort_s * self.effort_y

    def moved(self, d: Iterate, primal: float, dual: float) -> Iterate:
        """Step along d."""
        return Iterate(Point(*(u + primal * v for u, v in zip(self.x, d.x, strict=True))),
                       self.s + primal * d.s, self.y + dual * d.y,
                        self.effort_s + primal * d.effort_s, self.effort_y + dual * d.effort_y)


@dataclass(frozen=True)
class Solution:
    """Where the iteration ended.

    `multipliers`, `slacks`: (rows, n) in the order of ROWS (the last one only with partial
    recovery); `effort_multiplier` of the effort row; `residual` the largest violation of a row,
    relative to its size; `complementarity` Σ s y [s], an estimate of the distance to the optimum.
    `halfway` is the first iterate from which little was left to do: a neighbouring problem starts
    well from it, while the end is too close to its bounds for that. None where there was none.
    """

    point: Point
    multipliers: NDArray[np.float64]
    slacks: NDArray[np.float64]
    effort_multiplier: float
    iterations: int
    converged: bool
    residual: float
    complementarity: float
    halfway: Iterate | None = None


@dataclass(frozen=True)
class Slopes:
    """First and second derivatives of the rows at a point, (n,) each."""

    rows: tuple[Terms, ...]  # Jacobian: each row's unknowns with their coefficients
    drag_curvature: NDArray[np.float64]  # F''/4
    pace00: NDArray[np.float64]
    pace01: NDArray[np.float64]
    pace11: NDArray[np.float64]
    effort_f: NDArray[np.float64]
    effort_z: NDArray[np.float64]
    effort_curvature: NDArray[np.float64]  # by f f; f z and z z follow


def row_values(program: ConvexProgram, point: Point) -> NDArray[np.float64]:
    """(rows, n) left side minus right side of each row; feasible where ≤ 0."""
    e = point.energy
    speed = np.sqrt(2 * e)
    return _values(program, point, drag_in_energy(program.problem, 0.5 * (e[:-1] + e[1:]))[0],
                   2.0 / (speed[:-1] + speed[1:]))


def _values(program: ConvexProgram, point: Point, drag: NDArray[np.float64],
            pace: NDArray[np.float64]) -> NDArray[np.float64]:
    nonlinear = {"drag": drag, "pace": pace}
    out = np.empty((len(program.rows), program.problem.steps))
    unknowns = _unknowns(point)
    for value, row in zip(out, program.rows, strict=True):
        value[:] = -row.right if row.nonlinear is None else nonlinear[row.nonlinear] - row.right
        add_terms(value, row.terms, unknowns)
    return out


def _unknowns(x: Point) -> tuple[NDArray[np.float64], ...]:
    """Those of each step, in the order of `rows`."""
    return x.work, x.pace, x.energy[:-1], x.energy[1:], x.reserve[:-1], x.reserve[1:]


def linearised(program: ConvexProgram, point: Point) -> tuple[NDArray[np.float64], Slopes]:
    """Give (rows, n) left side minus right side of each row, as `row_values`, and derivatives."""
    p = program.problem
    e, _, f, z = point
    speed = np.sqrt(2 * e)
    v0, v1 = speed[:-1].copy(), speed[1:]
    total = v0 + v1
    drag, drag1, drag2 = drag_in_energy(p, 0.5 * (e[:-1] + e[1:]))
    values = _values(program, point, drag, 2.0 / total)
    v0[0] = max(v0[0], 1e-3)  # e at node 0 is fixed: its derivatives are not used
    square, cube = total**2, total**3
    by_ends = {"drag": (0.5 * drag1, 0.5 * drag1),
               "pace": (-2.0 / (square * v0), -2.0 / (square * v1))}
    zero = np.zeros_like(z)
    effort = program.effort_slopes(f, z) if program.has_effort else (zero, zero, zero)
    return values, Slopes(
        rows=tuple(row.terms if row.nonlinear is None else _bent(row.terms, *by_ends[row.nonlinear])
                   for row in program.rows),
        drag_curvature=0.25 * drag2,
        pace00=4.0 / (cube * v0**2) + 2.0 / (square * v0**3), pace01=4.0 / (cube * v0 * v1),
        pace11=4.0 / (cube * v1**2) + 2.0 / (square * v1**3),
        effort_f=effort[0], effort_z=effort[1], effort_curvature=effort[2])


def _bent(terms: Terms, by_start: NDArray[np.float64], by_end: NDArray[np.float64]) -> Terms:
    """Terms with the derivatives of what is not linear, by the energies of a step's ends."""
    linear = dict(terms)
    return tuple((linear | {E0: linear.get(E0, 0.0) + by_start,
                            E1: linear.get(E1, 0.0) + by_end}).items())


def _times(program: ConvexProgram, d: Slopes, step: Point) -> NDArray[np.float64]:
    """(rows, n) Jacobian times a step."""
    unknowns = _unknowns(step)
    out = np.zeros((len(d.rows), program.problem.steps))
    for value, terms in zip(out, d.rows, strict=True):
        add_terms(value, terms, unknowns)
    return out


def _transposed(program: ConvexProgram, d: Slopes, y: NDArray[np.float64]) -> Point:
    """Transposed Jacobian times row weights."""
    n = program.problem.steps
    out = [np.zeros(n) for _ in range(6)]
    for weight, terms in zip(y, d.rows, strict=True):
        times_terms(out, terms, weight)
    e, W = np.zeros(n + 1), np.zeros(n + 1)
    e[1:], W[1:] = out[E1], out[W1]
    e[1:-1] += out[E0][1:]  # node 0 is fixed
    W[1:-1] += out[W0][1:]
    return Point(e, W, out[F], out[Z])


def gradient(program: ConvexProgram, d: Slopes, y: NDArray[np.float64],
             effort: float) -> Point:
    """Gradient of the Lagrangian where the slopes `d` were taken; 0 for the fixed node 0.

    `y` (rows, n) multipliers, `effort` that of the effort row.
    """
    e, W, f, z = _transposed(program, d, y)
    e[1:] += program.energy_cost[1:]
    return Point(e, W, f + effort * d.effort_f, z + program.pace_cost + effort * d.effort_z)


class _Newton:
    """The Newton matrix at a point, factored."""

    def __init__(  # noqa: C901, PLR0915 - one matrix, written once
                 self, program: ConvexProgram, point: Point, d: Slopes,
                 y: NDArray[np.float64], weight: NDArray[np.float64], effort: float,
                 effort_weight: float) -> None:
        p = program.problem
        n = p.steps
        f, z = point.work, point.pace
        self.program, self.n, self.d, self.weight = program, n, d, weight
        eta, cp, step = p.drivetrain_efficiency, p.critical_power, p.step
        w = weight
        self.a = a = 1.0 / step
        tight = w[RESERVE] * step**2 > eta**2 * w[WORK] + w[POWER] + w[COAST]
        self.b = np.where(tight, a, 0.0)  # f = a u - b (W' - W) + c z
        self.c = c = np.where(tight, cp, 0.0)
        weighted_terms = list(zip(w, d.rows, strict=True))
        if program.has_effort:
            # f f, f z, z z of the effort row's curvature is a rank-one term in f - z f/z.
            weighted_terms.append((effort * d.effort_curvature, ((F, 1.0), (Z, -f / z))))
        zero = 0.0
        m: list[list[Any]] = [[zero] * 6 for _ in range(6)]  # upper triangle of (n,) arrays
        for scale, terms in weighted_terms:
            row: list[Any] = [zero] * 6  # in u, z, e, e', W, W'
            for column, value in terms:
                row[column] = value
            if row[F] is not zero:
                row[Z] = row[Z] + row[F] * c
                row[F] = row[F] / step  # by step, so that the reserve row has exact ones
                row[W0] = row[W0] + row[F] * tight
                row[W1] = row[W1] - row[F] * tight
            columns = [k for k in range(6) if row[k] is not zero]
            if len(columns) == 1 and isinstance(row[columns[0]], float):  # a bound: 1 or -1
                m[columns[0]][columns[0]] = m[columns[0]][columns[0]] + scale
                continue
            for i in columns:
                weighted = scale * row[i]
                for j in columns:
                    if j >= i:
                        m[i][j] = m[i][j] + weighted * row[j]
        # Where wind makes drag concave, no more of it than the pace's own curvature can carry.
        carried = y[PACE] * (d.pace00 * d.pace11 - d.pace01**2) / (
            d.pace00 + d.pace11 - 2 * d.pace01)
        curvature = np.maximum(y[WORK] * d.drag_curvature, -0.95 * carried)
        self.curvatures = (curvature + y[PACE] * d.pace00, curvature + y[PACE] * d.pace01,
                           curvature + y[PACE] * d.pace11)
        m[2][2], m[2][3], m[3][3] = (x + y for x, y in zip(
            (m[2][2], m[2][3], m[3][3]), self.curvatures, strict=True))
        uu, uz, zz = m[0][0], m[0][1], m[1][1]
        det = uu * zz - uz * uz
        self.iuu, self.iuz, self.izz = zz / det, -uz / det, uu / det
        self.bu, self.bz = m[0][2:], m[1][2:]
        gu = [self.iuu * bu + self.iuz * bz for bu, bz in zip(self.bu, self.bz, strict=True)]
        gz = [self.iuz * bu + self.izz * bz for bu, bz in zip(self.bu, self.bz, strict=True)]
        self.gu, self.gz = gu, gz

        def schur(i: int, j: int) -> NDArray[np.float64]:
            out: NDArray[np.float64] = m[i + 2][j + 2] - gu[i] * self.bu[j] - gz[i] * self.bz[j]
            return out

        band = np.zeros((4, 2 * n))  # lower form; unknowns e_1, W_1, e_2, W_2, ...
        band[0, 0::2] = schur(1, 1)
        band[0, 1::2] = schur(3, 3)
        band[1, 0::2] = schur(1, 3)
        band[0, 0:-2:2] += schur(0, 0)[1:]
        band[0, 1:-2:2] += schur(2, 2)[1:]
        band[1, 0:-2:2] += schur(0, 2)[1:]
        band[2, 0:-2:2] = schur(0, 1)[1:]
        band[3, 0:-2:2] = schur(0, 3)[1:]
        band[1, 1:-2:2] = schur(1, 2)[1:]
        band[2, 1:-2:2] = schur(2, 3)[1:]
        # Where energy has no value (before a brake), rounding can leave a pivot without sign:
        # a proximal term of growing weight bends it up and leaves the solution where it is.
        for shift in (0.0, *10.0 ** np.arange(-11.0, 1.0)):
            trial = band.copy()
            trial[0, 0::2] += shift
            trial[0, 1::2] += shift * (30.0 / p.w_prime) ** 2
            self.factor, info = dpbtrf(trial, lower=1, overwrite_ab=1)
            if info == 0:
                break
        else:
            raise np.linalg.LinAlgError("the Newton matrix cannot be factored")
        self.rank_one: tuple[Point, Point, float] | None = None
        if program.has_effort:
            u = Point(np.zeros(n + 1), np.zeros(n + 1), d.effort_f, d.effort_z)
            base = self._banded(u)
            inner = float(u.work @ base.work + u.pace @ base.pace)
            self.cancelled = 1.0 + effort_weight * inner
            self.rank_one = (u, base, effort_weight / self.cancelled)
            self.effort_weight, self.effort_curvature = effort_weight, effort * d.effort_curvature
            self.ratio = f / z

    def solve(self, right: Point) -> Point:
        """Step for one right side."""
        if self.rank_one is None:
            return self._banded(right)
        # The update cancels when the effort row is tight; refinement restores the digits.
        step = self._updated(right)
        for _ in range(sum(self.cancelled > most for most in _REFINE)):
            rest = Point(*(r - t for r, t in zip(right, self._times(step), strict=True)))
            step = Point(*(x + c for x, c in zip(step, self._updated(rest), strict=True)))
        return step

    def _times(self, step: Point) -> Point:
        """Newton matrix times a step, with the effort row."""
        de, _, df, dz = step
        e, W, f, z = _transposed(self.program, self.d,
                                 self.weight * _times(self.program, self.d, step))
        b00, b01, b11 = self.curvatures
        e[:-1] += b00 * de[:-1] + b01 * de[1:]
        e[1:] += b01 * de[:-1] + b11 * de[1:]
        e[0] = 0.0
        along = self.effort_curvature * (df - self.ratio * dz)
        share = self.effort_weight * float(self.d.effort_f @ df + self.d.effort_z @ dz)
        return Point(e, W, f + along + share * self.d.effort_f,
                     z - self.ratio * along + share * self.d.effort_z)

    def _updated(self, right: Point) -> Point:
        """Banded solution with the rank-one update of the effort row."""
        assert self.rank_one is not None  # noqa: S101 - solve() asked
        step = self._banded(right)
        u, base, scale = self.rank_one
        share = scale * float(u.work @ step.work + u.pace @ step.pace)
        return Point(*(x - share * b for x, b in zip(step, base, strict=True)))

    def _banded(self, right: Point) -> Point:
        n, a, b, c = self.n, self.a, self.b, self.c
        # Gradient by u, z, W, W' of a linear form in f, z, W: f = a u - b (W' - W) + c z.
        ru, rz, rW = right.work * a, right.pace + c * right.work, right.work * b
        hu, hz = self.iuu * ru + self.iuz * rz, self.iuz * ru + self.izz * rz
        reduced = [bu * hu + bz * hz for bu, bz in zip(self.bu, self.bz, strict=True)]
        flat = np.empty((2 * n, 1))
        flat[0::2, 0] = right.energy[1:] - reduced[1]
        flat[1::2, 0] = right.reserve[1:] - rW - reduced[3]
        flat[0:-2:2, 0] -= reduced[0][1:]
        flat[1:-2:2, 0] += rW[1:] - reduced[2][1:]
        flat, _ = dpbtrs(self.factor, flat, lower=1, overwrite_b=1)
        de, dW = np.zeros(n + 1), np.zeros(n + 1)
        de[1:], dW[1:] = flat[0::2, 0], flat[1::2, 0]
        ends = (de[:-1], de[1:], dW[:-1], dW[1:])
        du, dz = hu, hz
        for g, h, x in zip(self.gu, self.gz, ends, strict=True):
            du = du - g * x
            dz = dz - h * x
        return Point(de, dW, a * du - b * np.diff(dW) + c * dz, dz)


def starting_point(program: ConvexProgram) -> Point:
    """Start from a slow ride at about CP, inside the bounds."""
    p = program.problem
    n = p.steps
    energy = np.empty(n + 1)
    energy[0] = program.start_energy
    energy[1:] = np.clip(0.5 * _START_SPEED**2, program.bottom + 0.05 * (program.top
                                                                        - program.bottom),
                         program.bottom + 0.7 * (program.top - program.bottom))
    speed = np.sqrt(2 * energy)
    pace = 2.4 / (speed[:-1] + speed[1:])
    room = p.w_prime - p.reserve_floor
    reserve = p.w_prime - room * np.linspace(0.0, 0.5, n + 1)
    reserve[1:] = np.minimum(reserve[1:], p.w_prime - 0.01 * room)
    return Point(energy, reserve, np.minimum(p.critical_power, 0.8 * p.power_limit) * pace, pace)


def interior_point(program: ConvexProgram, start: Point | Iterate | None = None, *,
                   tolerance: float = _TOLERANCE, for_bound: bool = True) -> Solution:
    """Solve the program.

    Parameters
    ----------
    start : another point to begin from, such as the plan of a neighbouring problem, or an iterate
        with its multipliers (`Solution.halfway`), which saves twice as much
    tolerance : on Σ s y relative to the finish time
    for_bound : go on until a bound from the multipliers loses next to nothing to rounding; a plan
        without a bound is there some iterations earlier

    Returns
    -------
    the solution; `converged` is false where the iteration stalled, and the caller must say so
    """
    sizes = np.array([[row.size] for row in program.rows])
    at, rows, d = _begin(program, start, sizes)
    count = at.s.size + program.has_effort
    best: tuple[float, Solution] | None = None
    halfway: Iterate | None = None
    iterations, residual, patience = 0, np.inf, _PATIENCE if for_bound else 1
    while iterations < _MOST_ITERATIONS:
        iterations += 1
        time = float(program.pace_cost @ at.x.pace)
        slope = gradient(program, d, at.y, at.effort_y)
        off = rows + at.s
        residual = float(np.max(np.abs(off) / sizes))
        if halfway is None and at.gap < _HALFWAY * time and residual < _HALFWAY_ROWS:
            halfway = at
        if at.gap < tolerance * time and residual < _ROW_TOLERANCE:
            loss = _bound_loss(program, at.x, slope)
            if best is None or loss < best[0]:
                best = (loss, Solution(at.x, at.y, at.s, at.effort_y, iterations, True, residual,
                                       at.gap, halfway))
            patience -= 1
            if loss < _LOSS_TOLERANCE * time or patience == 0:
                break
        try:
            newton = _Newton(program, at.x, d, at.y, at.y / at.s, at.effort_y,
                             at.effort_y / at.effort_s)
        except np.linalg.LinAlgError:
            break
        effort = program.effort(at.x.work, at.x.pace) if program.has_effort else 0.0
        step = _Step(program, newton, d, at, off, at.y * off, effort, slope)
        complementary, gap = at.s * at.y, at.gap
        guess = step.towards(complementary, at.effort_s * at.effort_y)
        rates = _rates(at, guess)
        ahead, ahead_dual = (min(_longest(rate), 1.0) for rate in rates)
        sigma = min(max((_gap_after(at, guess, ahead, ahead_dual) / gap) ** 3, 1e-6), 0.9)
        # Rows that still err need room: complementarity must not run ahead of them.
        aim = max(sigma * gap, 0.2 * tolerance * time) / count
        complementary += guess.s * guess.y
        complementary -= aim
        move = step.towards(complementary,
                            at.effort_s * at.effort_y + guess.effort_s * guess.effort_y - aim)
        move, primal, dual = _weighted(at, guess, rates, move, ahead * ahead_dual)
        at = at.moved(move, min(_TO_BOUNDARY * primal, 1.0), min(_TO_BOUNDARY * dual, 1.0))
        rows, d = linearised(program, at.x)
    if best is not None:
        return best[1]
    return Solution(at.x, at.y, at.s, at.effort_y, iterations, False, residual, at.gap, halfway)


def _weighted(at: Iterate, guess: Iterate, rates: tuple[NDArray[np.float64], ...], move: Iterate,
              least: float) -> tuple[Iterate, float, float]:
    """Take the corrector with the weight, between `least` and 1, that lets the step go furthest.

    It holds for a whole step and misleads where the guess, of `rates`, is cut short (Colombo and
    Gondzio 2008, Comput. Optim. Appl. 41:277). Gives the direction and how far it may be gone,
    primal and dual.
    """
    whole = _rates(at, move)
    lengths = [_longest(rate) for rate in whole]
    chosen = [1.0, 1.0]
    if min(lengths) < _SHORT:
        for side, (before, after) in enumerate(zip(rates, whole, strict=True)):
            further = after - before
            for weight in np.linspace(max(least, 0.01), 0.9, 4):
                length = _longest(before + weight * further)
                if length > lengths[side]:
                    lengths[side], chosen[side] = length, float(weight)
    if chosen != [1.0, 1.0]:
        move = guess.moved(move.moved(guess, -1.0, -1.0), *chosen)
    return move, lengths[0], lengths[1]


def _begin(program: ConvexProgram, start: Point | Iterate | None, sizes: NDArray[np.float64],
           ) -> tuple[Iterate, NDArray[np.float64], Slopes]:
    """Slacks and multipliers to start with, larger without a neighbour to start from."""
    if isinstance(start, Iterate):
        return start, *linearised(program, start.x)
    x = starting_point(program) if start is None else start
    rows, d = linearised(program, x)
    room, centre = _COLD if start is None else _NEAR
    s = np.maximum(-rows, room * sizes)
    target = centre * float(np.mean(program.problem.step))
    effort_s, effort_y = 1.0, 0.0
    if program.has_effort:
        effort_s = max(-program.effort(x.work, x.pace), 1.0)
        effort_y = target / effort_s
    return Iterate(x, s, target / s, effort_s, effort_y), rows, d


def _bound_loss(program: ConvexProgram, x: Point, slope: Point) -> float:
    """Seconds that a lower bound would lose to gradients that are not yet zero."""
    p = program.problem
    return (float(np.abs(slope.work) @ (p.power_limit * x.pace))
            + 5.0 * float(np.abs(slope.pace) @ x.pace)
            + float(np.abs(slope.energy[1:]) @ x.energy[1:])
            + float(np.sum(np.abs(slope.reserve))) * p.w_prime)


@dataclass(frozen=True)
class _Step:
    """All that one iteration's two directions share."""

    program: ConvexProgram
    newton: _Newton
    d: Slopes
    at: Iterate
    off: NDArray[np.float64]  # rows and their slacks
    pulled: NDArray[np.float64]  # by the multipliers
    effort: float
    slope: Point

    def towards(self, excess: NDArray[np.float64], effort_excess: float) -> Iterate:
        """Direction that takes s y down by `excess` and the rows to their slacks."""
        at, d = self.at, self.d
        back = _transposed(self.program, d, (self.pulled - excess) / at.s)
        effort_off = self.effort + at.effort_s if self.program.has_effort else 0.0
        effort_back = (at.effort_y * effort_off - effort_excess) / at.effort_s
        if not self.program.has_effort:
            effort_back = 0.0
        x = self.newton.solve(Point(
            -self.slope.energy - back.energy, -self.slope.reserve - back.reserve,
            -self.slope.work - back.work - effort_back * d.effort_f,
            -self.slope.pace - back.pace - effort_back * d.effort_z))
        s = _times(self.program, d, x)
        s += self.off
        np.negative(s, out=s)
        y = at.y * s
        y += excess
        y /= at.s
        np.negative(y, out=y)
        effort_s = effort_y = 0.0
        if self.program.has_effort:
            effort_s = -effort_off - float(d.effort_f @ x.work + d.effort_z @ x.pace)
            effort_y = (-effort_excess - at.effort_y * effort_s) / at.effort_s
        return Iterate(x, s, y, effort_s, effort_y)


def _rates(at: Iterate, d: Iterate) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Relative change along d of what stays positive, primal and dual.

    Slacks, energies, paces and powers are the primal ones, multipliers the dual ones.
    """
    k, n = at.s.size, len(at.x.pace)
    primal, dual = np.empty(k + 3 * n + 1), np.empty(k + 1)
    for out, own, change in (
            (primal[:k], at.s, d.s), (primal[k:k + n], at.x.energy[1:], d.x.energy[1:]),
            (primal[k + n:k + 2 * n], at.x.pace, d.x.pace),
            (primal[k + 2 * n:-1], at.x.work, d.x.work), (dual[:-1], at.y, d.y)):
        np.divide(change.ravel(), own.ravel(), out=out)
    primal[-1] = d.effort_s / at.effort_s
    dual[-1] = d.effort_y / at.effort_y if d.effort_y < 0 else 0.0
    return primal, dual


def _longest(rate: NDArray[np.float64]) -> float:
    """Longest step in (0, inf) that keeps all positive whose relative change is `rate`."""
    fastest = float(rate.min())
    return -1.0 / fastest if fastest < 0 else np.inf


def _gap_after(at: Iterate, d: Iterate, primal: float, dual: float) -> float:
    """Complementarity Σ s y after a step along d."""
    return float(np.sum((at.s + primal * d.s) * (at.y + dual * d.y))) + (
        at.effort_s + primal * d.effort_s) * (at.effort_y + dual * d.effort_y)
