"""Primal-dual interior point on the convex pacing program, with its structure used.

Predictor and corrector after Mehrotra 1992 (SIAM J. Optim. 2:575). On each step two unknowns
are eliminated in closed form: the pace z and u = W' - W + Δs (f - CP z), the left side of the
reserve row, which stands for the crank work f without cancellation when that row is tight.
What is left is symmetric, positive definite and banded of half width 3 in (e, W) of the nodes,
and is factored by LAPACK. The effort row couples all steps and enters by a rank-one update.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from scipy.linalg.lapack import dpbtrf, dpbtrs

from optimizer.pacing.convex import drag_in_energy

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.pacing.convex import ConvexProgram

__all__ = ["ROWS", "Point", "Solution", "gradient", "interior_point", "row_values",
           "starting_point"]

ROWS = ("work", "pace", "reserve", "power", "coast", "top", "bottom", "full", "empty", "recovery")
"""The rows of the program on each step; those of a node belong to the step's end."""
WORK, PACE, RESERVE, POWER, COAST, TOP, BOTTOM, FULL, EMPTY, RECOVERY = range(10)

_MOST_ITERATIONS = 120
_TO_BOUNDARY = 0.995
_START_SPEED = 6.0  # m/s; starts far above what the rider can hold stall


class Point(NamedTuple):
    """Unknowns of the program: e, W (n + 1,) with node 0 fixed; crank work f, pace z (n,)."""

    energy: NDArray[np.float64]
    reserve: NDArray[np.float64]
    work: NDArray[np.float64]
    pace: NDArray[np.float64]


@dataclass(frozen=True)
class Solution:
    """Where the iteration ended.

    `multipliers`, `slacks`: (rows, n) in the order of ROWS (the last one only with partial
    recovery); `effort_multiplier` of the effort row; `residual` the largest violation of a row,
    relative to its size; `complementarity` Σ s y [s], an estimate of the distance to the optimum.
    """

    point: Point
    multipliers: NDArray[np.float64]
    slacks: NDArray[np.float64]
    effort_multiplier: float
    iterations: int
    converged: bool
    residual: float
    complementarity: float


@dataclass(frozen=True)
class _Slopes:
    """First and second derivatives of the rows at a point, (n,) each."""

    work0: NDArray[np.float64]  # of the work row by e, e'
    work1: NDArray[np.float64]
    pace0: NDArray[np.float64]  # of the pace row by e, e'
    pace1: NDArray[np.float64]
    drag_bend: NDArray[np.float64]  # G''/4
    pace00: NDArray[np.float64]
    pace01: NDArray[np.float64]
    pace11: NDArray[np.float64]
    effort_f: NDArray[np.float64]
    effort_z: NDArray[np.float64]
    effort_bend: NDArray[np.float64]  # by f f; f z and z z follow


def row_values(program: ConvexProgram, point: Point) -> NDArray[np.float64]:
    """(rows, n) left side minus right side of each row; feasible where ≤ 0."""
    p = program.problem
    e, W, f, z = point
    speed = np.sqrt(2 * e)
    net = p.step * (f - p.critical_power * z)
    drag = drag_in_energy(p, 0.5 * (e[:-1] + e[1:]))[0]
    rows = [
        program.inertia * np.diff(e) - p.drivetrain_efficiency * f + drag + program.resistance,
        2.0 / (speed[:-1] + speed[1:]) - z,
        np.diff(W) + net,
        f - p.power_limit * z,
        -f,
        e[1:] - program.top,
        program.bottom - e[1:],
        W[1:] - p.w_prime,
        p.reserve_floor - W[1:],
    ]
    if program.recovery is not None:
        rows.append(W[1:] - program.carry * W[:-1] + program.recovery * net - program.offset)
    return np.stack(rows)


def _slopes(program: ConvexProgram, point: Point) -> tuple[NDArray[np.float64], _Slopes]:
    """Row values and derivatives together."""
    p = program.problem
    e, W, f, z = point
    speed = np.sqrt(2 * e)
    v0, v1 = speed[:-1].copy(), speed[1:]
    total = v0 + v1
    net = p.step * (f - p.critical_power * z)
    drag, drag1, drag2 = drag_in_energy(p, 0.5 * (e[:-1] + e[1:]))
    rows = np.empty((len(ROWS) - (program.recovery is None), len(z)))
    rows[WORK] = (program.inertia * np.diff(e) - p.drivetrain_efficiency * f + drag
                  + program.resistance)
    rows[PACE] = 2.0 / total - z
    rows[RESERVE] = np.diff(W) + net
    rows[POWER] = f - p.power_limit * z
    rows[COAST] = -f
    rows[TOP] = e[1:] - program.top
    rows[BOTTOM] = program.bottom - e[1:]
    rows[FULL] = W[1:] - p.w_prime
    rows[EMPTY] = p.reserve_floor - W[1:]
    if program.recovery is not None:
        rows[RECOVERY] = (W[1:] - program.carry * W[:-1] + program.recovery * net
                          - program.offset)
    v0[0] = max(v0[0], 1e-3)  # e at node 0 is fixed: its derivatives are not used
    square, cube = total**2, total**3
    zero = np.zeros_like(z)
    effort_f, effort_z, effort_bend = zero, zero, zero
    if program.has_effort:
        power = p.effort_exponent
        ratio = program.effort_scale * (f / z) ** (power - 2)
        effort_f = power * ratio * f / z
        effort_z = (1 - power) * ratio * (f / z) ** 2 - p.step * p.effort_rate**power
        effort_bend = power * (power - 1) * ratio / z
    return rows, _Slopes(
        work0=0.5 * drag1 - program.inertia, work1=0.5 * drag1 + program.inertia,
        pace0=-2.0 / (square * v0), pace1=-2.0 / (square * v1),
        drag_bend=0.25 * drag2,
        pace00=4.0 / (cube * v0**2) + 2.0 / (square * v0**3), pace01=4.0 / (cube * v0 * v1),
        pace11=4.0 / (cube * v1**2) + 2.0 / (square * v1**3),
        effort_f=effort_f, effort_z=effort_z, effort_bend=effort_bend)


def _times(program: ConvexProgram, d: _Slopes, step: Point) -> NDArray[np.float64]:
    """(rows, n) Jacobian times a step."""
    p = program.problem
    de, dW, df, dz = step
    net = p.step * (df - p.critical_power * dz)
    out = np.empty((len(ROWS) - (program.recovery is None), len(dz)))
    out[WORK] = d.work0 * de[:-1] + d.work1 * de[1:] - p.drivetrain_efficiency * df
    out[PACE] = d.pace0 * de[:-1] + d.pace1 * de[1:] - dz
    out[RESERVE] = np.diff(dW) + net
    out[POWER] = df - p.power_limit * dz
    out[COAST] = -df
    out[TOP] = de[1:]
    out[BOTTOM] = -de[1:]
    out[FULL] = dW[1:]
    out[EMPTY] = -dW[1:]
    if program.recovery is not None:
        out[RECOVERY] = dW[1:] - program.carry * dW[:-1] + program.recovery * net
    return out


def _transposed(program: ConvexProgram, d: _Slopes, y: NDArray[np.float64]) -> Point:
    """Transposed Jacobian times row weights."""
    p = program.problem
    n = p.steps
    e, W = np.zeros(n + 1), np.zeros(n + 1)
    e[:-1] += d.work0 * y[WORK] + d.pace0 * y[PACE]
    e[1:] += d.work1 * y[WORK] + d.pace1 * y[PACE] + y[TOP] - y[BOTTOM]
    W[1:] += y[RESERVE] + y[FULL] - y[EMPTY]
    W[:-1] -= y[RESERVE]
    net = y[RESERVE]
    if program.recovery is not None:
        W[1:] += y[RECOVERY]
        W[:-1] -= program.carry * y[RECOVERY]
        net = net + program.recovery * y[RECOVERY]
    net = net * p.step
    f = -p.drivetrain_efficiency * y[WORK] + net + y[POWER] - y[COAST]
    z = -y[PACE] - p.critical_power * net - p.power_limit * y[POWER]
    e[0] = W[0] = 0.0
    return Point(e, W, f, z)


def gradient(program: ConvexProgram, point: Point, y: NDArray[np.float64],
             effort: float) -> Point:
    """Gradient of the Lagrangian at `point`, the entries of the fixed node 0 set to 0."""
    return _gradient(program, _slopes(program, point)[1], y, effort)


def _gradient(program: ConvexProgram, d: _Slopes, y: NDArray[np.float64],
              effort: float) -> Point:
    e, W, f, z = _transposed(program, d, y)
    e[1:] += program.energy_cost[1:]
    return Point(e, W, f + effort * d.effort_f, z + program.pace_cost + effort * d.effort_z)


class _Newton:
    """The Newton matrix at a point, factored."""

    def __init__(self, program: ConvexProgram, point: Point, d: _Slopes,
                 y: NDArray[np.float64], weight: NDArray[np.float64], effort: float,
                 effort_weight: float) -> None:
        p = program.problem
        n = p.steps
        f, z = point.work, point.pace
        self.program, self.n = program, n
        eta, cp, step = p.drivetrain_efficiency, p.critical_power, p.step
        # Coefficients of each coupling row in (u, z | e, e', W, W'); f = (u - W' + W)/Δs + CP z.
        w = weight
        self.a = a = 1.0 / step
        work = (-eta * a, -eta * cp, d.work0, d.work1, -eta * a, eta * a)
        zero = 0.0
        rows: list[tuple[Any, tuple[Any, ...]]] = [
                (w[WORK], work),
                (w[PACE], (zero, -1.0, d.pace0, d.pace1, zero, zero)),
                (w[POWER], (a, cp - p.power_limit, zero, zero, a, -a)),
                (w[COAST], (-a, -cp, zero, zero, -a, a))]
        if program.recovery is not None:
            r = program.recovery
            rows.append((w[RECOVERY], (r, zero, zero, zero, r - program.carry, 1.0 - r)))
        if program.has_effort:
            # f f, f z, z z of the effort row's curvature is a rank-one term in f - z f/z.
            ratio = f / z
            rows.append((effort * d.effort_bend, (a, cp - ratio, zero, zero, a, -a)))
        m: list[list[Any]] = [[0.0] * 6 for _ in range(6)]  # upper triangle of (n,) arrays
        for scale, row in rows:
            weighted = [zero if c is zero else scale * c for c in row]
            for i in range(6):
                if row[i] is not zero:
                    for j in range(i, 6):
                        if row[j] is not zero:
                            m[i][j] = m[i][j] + weighted[i] * row[j]
        m[0][0] = m[0][0] + w[RESERVE]
        # Where wind makes drag concave, no more of it than the pace's own curvature can carry.
        carried = y[PACE] * (d.pace00 * d.pace11 - d.pace01**2) / (
            d.pace00 + d.pace11 - 2 * d.pace01)
        bend = np.maximum(y[WORK] * d.drag_bend, -0.95 * carried)
        m[2][2] = m[2][2] + bend + y[PACE] * d.pace00
        m[2][3] = m[2][3] + bend + y[PACE] * d.pace01
        m[3][3] = m[3][3] + bend + y[PACE] * d.pace11
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
        band[0, 0::2] = schur(1, 1) + w[TOP] + w[BOTTOM]
        band[0, 1::2] = schur(3, 3) + w[FULL] + w[EMPTY]
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
            self.rank_one = (u, base, effort_weight / (1.0 + effort_weight * inner))

    def solve(self, right: Point) -> Point:
        """Step for one right side."""
        step = self._banded(right)
        if self.rank_one is not None:
            u, base, scale = self.rank_one
            share = scale * float(u.work @ step.work + u.pace @ step.pace)
            step = Point(*(x - share * b for x, b in zip(step, base, strict=True)))
        return step

    def _banded(self, right: Point) -> Point:
        p = self.program.problem
        n, a, cp = self.n, self.a, p.critical_power
        # Gradient by u, z, W, W' of a linear form in f, z, W: f = (u - W' + W) a + CP z.
        ru, rz = right.work * a, right.pace + cp * right.work
        hu, hz = self.iuu * ru + self.iuz * rz, self.iuz * ru + self.izz * rz
        reduced = [bu * hu + bz * hz for bu, bz in zip(self.bu, self.bz, strict=True)]
        flat = np.empty((2 * n, 1))
        flat[0::2, 0] = right.energy[1:] - reduced[1]
        flat[1::2, 0] = right.reserve[1:] - ru - reduced[3]
        flat[0:-2:2, 0] -= reduced[0][1:]
        flat[1:-2:2, 0] += ru[1:] - reduced[2][1:]
        flat, _ = dpbtrs(self.factor, flat, lower=1, overwrite_b=1)
        de, dW = np.zeros(n + 1), np.zeros(n + 1)
        de[1:], dW[1:] = flat[0::2, 0], flat[1::2, 0]
        ends = (de[:-1], de[1:], dW[:-1], dW[1:])
        du, dz = hu, hz
        for g, h, x in zip(self.gu, self.gz, ends, strict=True):
            du = du - g * x
            dz = dz - h * x
        return Point(de, dW, (du - dW[1:] + dW[:-1]) * a + cp * dz, dz)


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


def interior_point(program: ConvexProgram, start: Point | None = None, *,
                   tolerance: float = 1e-9) -> Solution:
    """Solve the program.

    Parameters
    ----------
    start : another point to begin from, such as the plan of a neighbouring problem
    tolerance : on Σ s y relative to the finish time, and on the rows relative to their size

    Returns
    -------
    the solution; `converged` is false where the iteration stalled, and the caller must say so
    """
    p = program.problem
    x = starting_point(program) if start is None else start
    rows, d = _slopes(program, x)
    sizes = np.ones((len(rows), 1))
    sizes[WORK, 0] = 10.0
    sizes[PACE, 0] = 0.05
    sizes[[RESERVE, FULL, EMPTY], 0] = 0.02 * p.w_prime
    sizes[POWER, 0] = sizes[COAST, 0] = 5.0
    sizes[[TOP, BOTTOM], 0] = 10.0
    if program.recovery is not None:
        sizes[RECOVERY, 0] = 0.02 * p.w_prime
    s = np.maximum(-rows, (0.1 if start is None else 1e-3) * sizes)
    target = float(np.mean(p.step)) * 0.02 if start is None else 1e-4 * float(np.mean(p.step))
    y = target / s
    effort_row = program.effort(x.work, x.pace) if program.has_effort else 0.0
    es = max(-effort_row, 1.0)
    ey = target / es if program.has_effort else 0.0
    count = s.size + program.has_effort
    iterations, converged, residual, gap = 0, False, np.inf, np.inf
    for iterations in range(1, _MOST_ITERATIONS + 1):
        rp = rows + s
        erp = effort_row + es if program.has_effort else 0.0
        rd = _gradient(program, d, y, ey)
        gap = float(np.sum(s * y)) + es * ey
        residual = float(np.max(np.abs(rp) / sizes))
        dual = max(float(np.max(np.abs(rd.work))) * 25.0, float(np.max(np.abs(rd.pace))) * 0.1,
                   float(np.max(np.abs(rd.energy))) * 50.0,
                   float(np.max(np.abs(rd.reserve))) * p.w_prime)
        time = float(program.pace_cost @ x.pace)
        if gap < tolerance * time and residual < 1e-7 and dual < 1e-3:
            converged = True
            break
        weight = y / s
        eweight = ey / es if program.has_effort else 0.0
        try:
            newton = _Newton(program, x, d, y, weight, ey, eweight)
        except np.linalg.LinAlgError:
            break
        mu = gap / count

        def direction(rc: NDArray[np.float64], erc: float) -> tuple[
                Point, NDArray[np.float64], NDArray[np.float64], float, float]:
            back = _transposed(program, d, (y * rp - rc) / s)  # noqa: B023
            eback = (ey * erp - erc) / es if program.has_effort else 0.0  # noqa: B023
            step = newton.solve(Point(  # noqa: B023
                -rd.energy - back.energy, -rd.reserve - back.reserve,  # noqa: B023
                -rd.work - back.work - eback * d.effort_f,  # noqa: B023
                -rd.pace - back.pace - eback * d.effort_z))  # noqa: B023
            along = _times(program, d, step)  # noqa: B023
            ds = -rp - along  # noqa: B023
            dy = (-rc - y * ds) / s  # noqa: B023
            ealong = float(d.effort_f @ step.work + d.effort_z @ step.pace)  # noqa: B023
            eds = -erp - ealong  # noqa: B023
            edy = (-erc - ey * eds) / es if program.has_effort else 0.0  # noqa: B023
            return step, ds, dy, eds, edy

        step, ds, dy, eds, edy = direction(s * y, es * ey)
        alpha = _longest(s, ds, es, eds, x, step)
        beta = _longest_dual(y, dy, ey, edy)
        after = float(np.sum((s + alpha * ds) * (y + beta * dy))) + (
            es + alpha * eds) * (ey + beta * edy) * program.has_effort
        sigma = min(max((after / gap) ** 3, 1e-6), 0.9)
        # Rows that still err need room: complementarity must not run ahead of them.
        aim = max(sigma * mu, 0.2 * tolerance * time / count)
        step, ds, dy, eds, edy = direction(s * y + ds * dy - aim, es * ey + eds * edy - aim)
        alpha = min(_TO_BOUNDARY * _longest(s, ds, es, eds, x, step), 1.0)
        beta = min(_TO_BOUNDARY * _longest_dual(y, dy, ey, edy), 1.0)
        x = Point(*(u + alpha * v for u, v in zip(x, step, strict=True)))
        s = s + alpha * ds
        y = y + beta * dy
        if program.has_effort:
            es, ey = es + alpha * eds, ey + beta * edy
            effort_row = program.effort(x.work, x.pace)
        rows, d = _slopes(program, x)
    return Solution(x, y, s, ey, iterations, converged, residual, gap)


def _ratio(value: NDArray[np.float64], change: NDArray[np.float64]) -> float:
    """Largest step in (0, inf) that keeps value + step * change positive."""
    with np.errstate(divide="ignore", invalid="ignore"):
        steps = np.where(change < 0, -value / change, np.inf)
    return float(steps.min(initial=np.inf))


def _longest(s: NDArray[np.float64], ds: NDArray[np.float64], es: float, eds: float, x: Point,
             step: Point) -> float:
    least = min(_ratio(s, ds), _ratio(x.energy[1:], step.energy[1:]), _ratio(x.pace, step.pace),
                _ratio(x.work, step.work))
    if eds < 0:
        least = min(least, -es / eds)
    return min(least, 1.0 / _TO_BOUNDARY)


def _longest_dual(y: NDArray[np.float64], dy: NDArray[np.float64], ey: float,
                  edy: float) -> float:
    least = _ratio(y, dy)
    if edy < 0:
        least = min(least, -ey / edy)
    return min(least, 1.0 / _TO_BOUNDARY)
