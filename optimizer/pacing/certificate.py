"""Lower bounds on the finish time, by two independent routes.

Both rest on one fact: with multipliers y ≥ 0, cost + Σ y · row underestimates the finish time of
every feasible plan. Each step's part that is not linear, y_work F(ē) + y_pace φ(e, e'), with
φ = 2/(√(2e) + √(2e')), is replaced by its tangent plane at the solution less the most by which it
dips under that plane anywhere between the speed bounds. Where wind makes F concave, φ's curvature
usually carries it and the dip is zero; where it is not, the bound pays for it.

`dual_bound` uses the interior point's own multipliers. `linear_bound` hands the same planes to
HiGHS, which finds its own multipliers; a wrong multiplier in the first cannot make the second
too high.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.pacing.convex import ConvexProgram, drag_in_energy
from optimizer.pacing.interior_point import ROWS, Point, Solution, gradient, row_values
from optimizer.pacing.problem import FASTEST
from optimizer.pacing.rows import E1, W1, F, Z
from optimizer.physics.road_load import drag_and_slope

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["attainable", "dual_bound", "linear_bound"]

_SAMPLES = 25
_STRONGEST = 1e4  # N, more than any drag
_STARTS = 8  # speeds at the start of a step that are tried to find its fastest end
WORK, PACE, POWER = (ROWS.index(name) for name in ("work", "pace", "power"))
_Entry = tuple["NDArray[np.int64]", "NDArray[np.float64] | float"]


@dataclass(frozen=True)
class _Tangents:
    """Tangent planes of drag and pace at a point, (n,) each, and how far the truth dips below.

    `drag_dip` [N] for drag alone; `joint_dip` [s] for y_work F + y_pace φ.
    """

    drag: NDArray[np.float64]
    drag_slope: NDArray[np.float64]
    pace: NDArray[np.float64]
    pace0: NDArray[np.float64]
    pace1: NDArray[np.float64]
    drag_dip: NDArray[np.float64]
    joint_dip: NDArray[np.float64]


def _tangents(program: ConvexProgram, energy: NDArray[np.float64],
              y: NDArray[np.float64]) -> _Tangents:
    p = program.problem
    e0, e1 = energy[:-1], energy[1:]
    mean, half = 0.5 * (e0 + e1), 0.5 * (e0 - e1)
    v0, v1 = np.sqrt(2 * e0), np.sqrt(2 * e1)
    total = v0 + v1
    with np.errstate(divide="ignore"):
        pace0 = np.where(v0 > 0, -2.0 / (total**2 * v0), 0.0)
    pace0[0] = 0.0  # node 0 is fixed
    pace1 = -2.0 / (total**2 * v1)
    drag, slope, _ = drag_in_energy(p, mean)
    dip = np.zeros(p.steps)
    joint = np.zeros(p.steps)
    if np.any(p.headwind) or np.any(p.crosswind) or p.bearing[1]:
        top = np.concatenate([[0.5 * FASTEST**2], program.top])
        bottom = np.concatenate([[min(program.start_energy, float(program.bottom[0]))],
                                 program.bottom])
        low, high = 0.5 * (bottom[:-1] + bottom[1:]), 0.5 * (top[:-1] + top[1:])
        share = np.linspace(0.0, 1.0, _SAMPLES)[:, None] ** 2
        at = np.maximum(np.concatenate([low + share * (mean - low),
                                        mean + share[1:] * (high - mean)]), 1e-3)
        run = at - mean
        dips = drag + slope * run - drag_in_energy(p, at)[0]
        # With t half the difference of the ends, φ ≥ 1/v + t²/(2 v⁵), v = √(2ē), as all even
        # terms of its series are positive; the least of that over its plane, |t| ≤ ē.
        tilt = pace0 - pace1
        v = np.sqrt(2 * at)
        split = np.clip(tilt * v**5, -at, at)
        lift = (1.0 / v + 0.5 * split**2 / v**5 - tilt * (split - half) - 2.0 / total
                - (pace0 + pace1) * run)
        end = np.maximum(2 * at[:, 0] - e0[0], 0.0)  # the start is fixed: φ depends on one end
        lift[:, 0] = 2.0 / (v0[0] + np.sqrt(2 * end)) - 2.0 / total[0] - pace1[0] * (end - e1[0])
        dip = np.maximum(dips.max(axis=0), 0.0)
        joint = np.maximum((y[WORK] * dips - y[PACE] * np.maximum(lift, 0.0)).max(axis=0), 0.0)
        dip[dip < 1e-9] = 0.0
        joint[joint < 1e-13] = 0.0
    return _Tangents(drag, slope, 2.0 / total, pace0, pace1, dip, joint)


def attainable(program: ConvexProgram) -> ConvexProgram:
    """Narrow the speed bounds to what a plan can reach, so that the planes dip less below.

    No plan is faster at a node than one that spends the power limit on the step before, from
    whichever speed within the bounds lets it end fastest; those are sampled.
    """
    p = program.problem
    top = np.empty(p.steps)
    high = program.start_energy
    low = np.concatenate([[program.start_energy], program.bottom])
    ceiling = np.minimum(program.top, 0.5 * FASTEST**2)
    share = np.linspace(0.0, 1.0, _STARTS)
    drive = 2.0 * p.drivetrain_efficiency * p.power_limit
    for k in range(p.steps):
        e0 = low[k] + share**2 * max(high - low[k], 0.0)
        v0 = np.sqrt(2 * e0)
        e1 = np.full(_STARTS, max(high, 20.0))
        for _ in range(30):
            v1, mean = np.sqrt(2 * e1), np.sqrt(e0 + e1)
            force, slope = drag_and_slope(mean, p.headwind[k], p.crosswind[k], p.air_density[k],
                                          p.drag, p.position[k])
            propulsion = drive[k] / (v0 + v1)
            change = (program.inertia[k] * (e1 - e0) - propulsion + force + p.bearing[1] * mean
                      + program.resistance[k]) / (
                program.inertia[k] + propulsion / ((v0 + v1) * v1)
                + 0.5 * (slope + p.bearing[1]) / mean)
            e1 = np.maximum(e1 - change, 0.09 * e1)
            if np.max(np.abs(change) / e1) < 1e-4:
                break
        high = min(max(float(e1.max()) * 1.001, 1.0001 * program.bottom[k]), ceiling[k])
        top[k] = high
    return replace(program, top=top)


def _box(program: ConvexProgram) -> tuple[Point, Point]:
    """Bounds on all unknowns that every plan of the problem keeps.

    Those of pace are physics; those of the others stand in the rows that hold one unknown alone.
    """
    p = program.problem
    n = p.steps
    low, high = np.full((6, n), -np.inf), np.full((6, n), np.inf)
    low[Z], high[Z] = 1.0 / FASTEST, 1.0 / p.lowest_speed
    high[Z, 0] = 2.0 / (p.lowest_speed + np.sqrt(2 * program.start_energy))
    for row in program.rows:
        if len(row.terms) == 1 and row.nonlinear is None:
            ((column, c),) = row.terms
            edge = row.right / c
            low[column] = np.where(np.less(c, 0), np.maximum(low[column], edge), low[column])
            high[column] = np.where(np.greater(c, 0), np.minimum(high[column], edge), high[column])
    high[F] = np.minimum(high[F], p.power_limit * high[Z])
    start = [program.start_energy]
    return (Point(np.append(start, low[E1]), np.append([p.w_prime], low[W1]), low[F], low[Z]),
            Point(np.append(start, high[E1]), np.append([p.w_prime], high[W1]), high[F], high[Z]))


def dual_bound(program: ConvexProgram, solution: Solution) -> float:
    """Lower bound [s] from the multipliers of the solution.

    The Lagrangian at the solution, less what a step within the bounds of all unknowns could still
    win along its gradient, less the dips. Valid for any multipliers ≥ 0.
    """
    y = np.maximum(solution.multipliers, 0.0)
    return max(_lagrangian_bound(program, solution, y),
               _lagrangian_bound(program, solution, _without_slope(program, solution, y)))


def _without_slope(program: ConvexProgram, solution: Solution,
                   y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Multipliers (rows, n) whose Lagrangian has next to no gradient by work and pace.

    Rounding leaves some, and those unknowns have wide bounds. The power row takes what is left
    by work, the pace row what is left by pace; both hand little on to the energies.
    """
    y = np.array(y)
    slope = gradient(program, solution.point, y, solution.effort_multiplier)
    more = np.maximum(-slope.work, -y[POWER])
    y[POWER] += more
    y[PACE] = np.maximum(y[PACE] + slope.pace - more * program.problem.power_limit, 0.0)
    return y


def _lagrangian_bound(program: ConvexProgram, solution: Solution,
                      y: NDArray[np.float64]) -> float:
    x = solution.point
    slope = gradient(program, x, y, solution.effort_multiplier)
    value = float(program.problem.step @ x.pace) + float(np.sum(y * row_values(program, x)))
    if program.has_effort:
        value += solution.effort_multiplier * program.effort(x.work, x.pace)
    low, high = _box(program)
    for g, at, lo, hi in zip(slope, x, low, high, strict=True):
        value += float(np.sum(np.minimum(g * (lo - at), g * (hi - at))))
    return value - float(_tangents(program, x.energy, y).joint_dip.sum())


def linear_bound(program: ConvexProgram, solution: Solution) -> float:
    """Lower bound [s] by HiGHS on the planes at the solution; nan where HiGHS gave up."""
    from scipy.sparse import coo_array, csr_array, vstack

    p = program.problem
    n = p.steps
    x, y = solution.point, np.maximum(solution.multipliers, 0.0)
    tangents = _tangents(program, x.energy, y)
    k = np.arange(n)
    e, reserve, drag = np.arange(n + 1), n + 1 + np.arange(n + 1), 4 * n + 2 + k
    at = (2 * n + 2 + k, 3 * n + 2 + k, e[:-1], e[1:], reserve[:-1], reserve[1:])
    columns = 5 * n + 2
    half = 0.5 * tangents.drag_slope
    drag_at = tangents.drag - tangents.drag_slope * 0.5 * (x.energy[:-1] + x.energy[1:])
    pace_at = tangents.pace - tangents.pace0 * x.energy[:-1] - tangents.pace1 * x.energy[1:]
    # What is not linear by its plane: of the unknowns' columns, and at all of them zero.
    nonlinear: dict[str, tuple[list[_Entry], Any]] = {
        "drag": ([(drag, 1.0)], 0.0),
        "pace": ([(e[:-1], tangents.pace0), (e[1:], tangents.pace1)], pace_at)}

    def block(entries: list[_Entry]) -> Any:
        data = np.concatenate([np.broadcast_to(c, (n,)) for _, c in entries])
        where = (np.tile(k, len(entries)), np.concatenate([i for i, _ in entries]))
        return coo_array((data, where), shape=(n, columns)).tocsr()

    parts: list[tuple[Any, NDArray[np.float64]]] = []
    for row in program.rows:
        if len(row.terms) == 1 and row.nonlinear is None:
            continue  # in the box
        more, zero = nonlinear[row.nonlinear] if row.nonlinear else ([], 0.0)
        parts.append((block([*((at[column], c) for column, c in row.terms), *more]),
                      np.broadcast_to(row.right - zero, (n,))))
    parts.append((block([(e[:-1], half), (e[1:], half), (drag, -1.0)]),
                  tangents.drag_dip - drag_at))
    dips = tangents.joint_dip < y[WORK] * tangents.drag_dip * (1 - 1e-9)
    if dips.any():
        w, v = y[WORK], y[PACE]
        scale = 1.0 / np.maximum(v, 1e-12)
        joint = block([(e[:-1], scale * (w * half + v * tangents.pace0)),
                       (e[1:], scale * (w * half + v * tangents.pace1)),
                       (drag, -scale * w), (at[Z], -scale * v)])
        parts.append((joint[dips],
                      (scale * (tangents.joint_dip - w * drag_at - v * pace_at))[dips]))
    if program.has_effort:
        by_f, by_z, _ = program.effort_slopes(x.work, x.pace)
        effort = np.zeros((1, columns))
        effort[0, at[F]], effort[0, at[Z]] = by_f, by_z
        value = program.effort(x.work, x.pace)
        parts.append((csr_array(effort), np.array([by_f @ x.work + by_z @ x.pace - value])))
    low, high = (np.concatenate([*box, np.full(n, side)])
                 for box, side in zip(_box(program), (-_STRONGEST, _STRONGEST), strict=True))
    cost = np.zeros(columns)
    cost[at[Z]] = p.step
    return _least_cost(cost, vstack([a for a, _ in parts], format="csc"),
                       np.concatenate([b for _, b in parts]), np.stack([low, high]),
                       np.repeat([50.0, p.w_prime, 30.0, 0.1, 10.0], [n + 1, n + 1, n, n, n]))


def _least_cost(cost: NDArray[np.float64], matrix: Any, right: NDArray[np.float64],
                bounds: NDArray[np.float64], usual: NDArray[np.float64]) -> float:
    """Lower bound on cost x, matrix x ≤ right, from the multipliers that HiGHS finds.

    It works in units in which unknowns and rows are about one: in SI the entries span twenty
    powers of ten, at which the dual simplex can give up; another method is tried then. The bound
    is computed from the multipliers, so that it holds to the last digit whatever HiGHS tolerates.
    nan where no method ends. `usual` (columns,) is the size of the unknowns, `bounds` (2, columns).
    """
    from scipy.optimize import linprog
    from scipy.sparse import diags_array

    scaled = matrix @ diags_array(usual)
    rows = 1.0 / np.maximum(abs(scaled).max(axis=1).toarray().ravel(), 1e-300)
    scaled, limit = (diags_array(rows) @ scaled).tocsc(), rows * right
    low, high = bounds / usual
    for method, options in (("highs-ds", {}), ("highs-ipm", {}), ("highs-ds", {"presolve": False})):
        outcome: Any = linprog(  # type: ignore[call-overload]
            cost * usual, A_ub=scaled, b_ub=limit, bounds=np.column_stack([low, high]),
            method=method, options=options)
        if outcome.status == 0:
            y = np.maximum(-outcome.ineqlin.marginals, 0.0)
            slope = cost * usual + scaled.T @ y
            return float(np.sum(np.minimum(slope * low, slope * high)) - y @ limit)
    return float("nan")
