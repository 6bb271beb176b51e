"""Lower bounds on the finish time, by two independent routes.

Both rest on one fact: with multipliers y ≥ 0, cost + Σ y · row underestimates the finish time of
every feasible plan. Each step's part that is not linear, y_work F(ē) + y_pace φ(e, e'), with
φ = 2/(√(2e) + √(2e')), is replaced by its tangent plane at the solution less the most by which it
dips under that plane anywhere between the speed bounds. Where wind makes F concave, φ's curvature
usually carries it and the dip is zero; where it is not, the bound pays for it.

`dual_bound` uses the interior point's own multipliers. `linear_bound` hands the same planes to
HiGHS, which begins at that solution and goes on by the simplex method until its own test of
optimality is met; the bound is then computed from HiGHS's multipliers and the matrix. A wrong
multiplier in the first cannot make the second too high.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import chain
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.highs import quiet_highs
from optimizer.pacing.convex import ConvexProgram, drag_in_energy
from optimizer.pacing.interior_point import ROWS, Solution
from optimizer.pacing.lagrangian import Point, Slopes, gradient, linearised
from optimizer.pacing.problem import FASTEST
from optimizer.pacing.rows import E1, W1, F, Z
from optimizer.pacing.simulate import simulate
from optimizer.physics.road_load import ROOM, drag_and_slope

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

__all__ = ["attainable", "dual_bound", "linear_bound"]

_SAMPLES = 25
_STRONGEST = 1e4  # N, more than any drag
_STARTS = 8  # speeds at the start of a step that are tried to find its fastest end
_ROOMY = 1.001  # of an energy that can be reached
_MORE = 1.01  # of the power limit, for a ride that is faster than any plan
_PRIMAL = 4  # number of the primal simplex among the methods of HiGHS
WORK, PACE, POWER = (ROWS.index(name) for name in ("work", "pace", "power"))
_Entry = tuple["NDArray[np.int64]", "NDArray[np.float64] | float"]


@dataclass(frozen=True)
class _Tangents:
    """Tangent planes of drag [N] and pace [s/m] at a point, (n,) each, by the ends' energies."""

    drag: NDArray[np.float64]
    drag_slope: NDArray[np.float64]
    pace: NDArray[np.float64]
    pace0: NDArray[np.float64]
    pace1: NDArray[np.float64]


def _tangents(program: ConvexProgram, energy: NDArray[np.float64]) -> _Tangents:
    v = np.sqrt(2 * energy)
    v0, v1 = v[:-1], v[1:]
    total = v0 + v1
    square = total * total
    with np.errstate(divide="ignore"):
        pace0 = np.where(v0 > 0, -2.0 / (square * v0), 0.0)
    pace0[0] = 0.0  # node 0 is fixed
    drag, slope, _ = drag_in_energy(program.problem, 0.5 * (energy[:-1] + energy[1:]))
    return _Tangents(drag, slope, 2.0 / total, pace0, -2.0 / (square * v1))


def _dips(program: ConvexProgram, energy: NDArray[np.float64], flat: _Tangents,
          multipliers: Sequence[NDArray[np.float64]],
          ) -> tuple[NDArray[np.float64], list[NDArray[np.float64]]]:
    """How far the truth dips below the planes at `energy`, anywhere between the speed bounds.

    (n,) of drag alone [N], and for each of the `multipliers` (n,) of y_work F + y_pace φ [s].
    """
    p = program.problem
    e0, e1 = energy[:-1], energy[1:]
    mean, half = 0.5 * (e0 + e1), 0.5 * (e0 - e1)
    dip, joints = np.zeros(p.steps), [np.zeros(p.steps) for _ in multipliers]
    if not (np.any(p.headwind) or np.any(p.crosswind) or p.bearing[1]):
        return dip, joints
    top = np.concatenate([[0.5 * FASTEST**2], program.top])
    bottom = np.concatenate([[min(program.start_energy, float(program.bottom[0]))],
                             program.bottom])
    low, high = 0.5 * (bottom[:-1] + bottom[1:]), 0.5 * (top[:-1] + top[1:])
    start, tilt, both = np.sqrt(2 * e0[0]), flat.pace0 - flat.pace1, flat.pace0 + flat.pace1
    share = np.linspace(0.0, 1.0, _SAMPLES) ** 2
    room = np.empty((ROOM, p.steps))
    # One sample of all steps at a time, which stays in the cache of the processor.
    samples = chain((low + x * (mean - low) for x in share),
                    (mean + x * (high - mean) for x in share[1:]))
    for at in (np.maximum(sample, 1e-3) for sample in samples):
        v, run = np.sqrt(2 * at), at - mean
        force = drag_and_slope(v, p.headwind, p.crosswind, p.air_density, p.drag, p.position,
                               room=room)[0] + p.bearing[1] * v
        dips = flat.drag + flat.drag_slope * run - force
        # With t half the difference of the ends, φ ≥ 1/v + t²/(2 v⁵), v = √(2ē), as all even
        # terms of its series are positive; the least of that over its plane, |t| ≤ ē.
        fifth = 4 * at * at * v
        split = np.clip(tilt * fifth, -at, at)
        lift = (1.0 / v + 0.5 * split * split / fifth - tilt * (split - half) - flat.pace
                - both * run)
        end = max(2 * at[0] - e0[0], 0.0)  # the start is fixed: φ depends on one end
        lift[0] = (2.0 / (start + np.sqrt(2 * end)) - flat.pace[0] - flat.pace1[0] * (end - e1[0]))
        np.maximum(lift, 0.0, out=lift)
        np.maximum(dip, dips, out=dip)
        for y, joint in zip(multipliers, joints, strict=True):
            np.maximum(joint, y[WORK] * dips - y[PACE] * lift, out=joint)
    dip[dip < 1e-9] = 0.0
    for joint in joints:
        joint[joint < 1e-13] = 0.0
    return dip, joints


def attainable(program: ConvexProgram) -> ConvexProgram:
    """Narrow the speed bounds to what a plan can reach, so that the planes dip less below.

    Bounds hold for every plan if no step that starts within them and spends the power limit ends
    above them: so by induction from the start. A ride with a little more power gives such bounds
    but where a slow start ends faster, for it takes longer and more work; from there on they are
    raised step by step until they hold again.

    Parameters
    ----------
    program : of n steps

    Returns
    -------
    the program with a lower `top` (n,) [J/kg]
    """
    p = program.problem
    ceiling = np.minimum(program.top, 0.5 * FASTEST**2)
    low = np.concatenate([[program.start_energy], program.bottom[:-1]])
    ride = 0.5 * simulate(p, _MORE * p.power_limit).speed[1:] ** 2
    top = np.minimum(np.maximum(_ROOMY * ride, 1.0001 * program.bottom), ceiling)
    ends = _fastest_ends(program, slice(None), low, np.append(program.start_energy, top[:-1]), top)
    k = 0
    for short in np.flatnonzero((ends > top) & (top < ceiling)):
        if short < k:
            continue  # raised already
        k, end = int(short), ends[short]
        while k < p.steps and end > top[k] and top[k] < ceiling[k]:
            top[k] = min(_ROOMY * end, ceiling[k])
            k += 1
            one = slice(k, k + 1)
            if k < p.steps:
                end = _fastest_ends(program, one, low[one], top[k - 1:k], top[one])[0]
    return replace(program, top=top)


def _fastest_ends(program: ConvexProgram, steps: slice, low: NDArray[np.float64],
                  high: NDArray[np.float64], guess: NDArray[np.float64]) -> NDArray[np.float64]:
    """(m,) highest energies at the ends of `steps` (m of them), spending the power limit.

    From whichever energy between `low` and `high` (m,) at the start lets the step end fastest;
    those are sampled. Newton's method from `guess` (m,).
    """
    p = program.problem
    share = np.linspace(0.0, 1.0, _STARTS)[:, None]
    e0 = low + share**2 * np.maximum(high - low, 0.0)
    v0 = np.sqrt(2 * e0)
    e1 = np.broadcast_to(guess, e0.shape)
    drive = 2.0 * p.drivetrain_efficiency * p.power_limit[steps]
    inertia, rest = program.inertia[steps], program.resistance[steps]
    wind, cross, density = p.headwind[steps], p.crosswind[steps], p.air_density[steps]
    for _ in range(30):
        v1, mean = np.sqrt(2 * e1), np.sqrt(e0 + e1)
        force, slope = drag_and_slope(mean, wind, cross, density, p.drag, p.position[steps])
        propulsion = drive / (v0 + v1)
        change = (inertia * (e1 - e0) - propulsion + force + p.bearing[1] * mean + rest) / (
            inertia + propulsion / ((v0 + v1) * v1) + 0.5 * (slope + p.bearing[1]) / mean)
        e1 = np.maximum(e1 - change, 0.09 * e1)
        if np.max(np.abs(change) / e1) < 1e-4:
            break
    return np.asarray(e1.max(axis=0))


def _box(program: ConvexProgram) -> tuple[Point, Point]:
    """Bounds on all unknowns that every plan of the problem keeps.

    Those of pace are physics; those of the others stand in the rows that hold one unknown alone,
    or work and pace.
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
    for row in program.rows:
        terms = dict(row.terms)
        if terms.keys() == {F, Z} and row.nonlinear is None:
            ends = [(row.right - terms[Z] * pace[Z]) / terms[F] for pace in (low, high)]
            rises = np.greater(terms[F], 0)
            high[F] = np.where(rises, np.minimum(high[F], np.maximum(*ends)), high[F])
            low[F] = np.where(rises, low[F], np.maximum(low[F], np.minimum(*ends)))
    start = [program.start_energy]
    return (Point(np.append(start, low[E1]), np.append([p.w_prime], low[W1]), low[F], low[Z]),
            Point(np.append(start, high[E1]), np.append([p.w_prime], high[W1]), high[F], high[Z]))


def dual_bound(program: ConvexProgram, solution: Solution) -> float:
    """Lower bound from the multipliers of the solution.

    The Lagrangian at the solution, less what a step within the bounds of all unknowns could still
    win along its gradient, less the dips. Valid for any multipliers ≥ 0.

    Parameters
    ----------
    program : of n steps
    solution : of this program, or of one with other speed bounds

    Returns
    -------
    finish time that no plan is faster than [s]
    """
    x = solution.point
    y = np.maximum(solution.multipliers, 0.0)
    rows, slopes = linearised(program, x)
    tries = y, _without_slope(program, slopes, y, solution.effort_multiplier)
    dips = _dips(program, x.energy, _tangents(program, x.energy), tries)[1]
    value = float(program.problem.step @ x.pace)
    if program.has_effort:
        value += solution.effort_multiplier * program.effort(x.work, x.pace)
    low, high = _box(program)
    bounds = []
    for y, dip in zip(tries, dips, strict=True):
        slope = gradient(program, slopes, y, solution.effort_multiplier)
        won = sum(float(np.sum(np.minimum(g * (lo - at), g * (hi - at))))
                  for g, at, lo, hi in zip(slope, x, low, high, strict=True))
        bounds.append(value + float(np.sum(y * rows)) + won - float(dip.sum()))
    return max(bounds)


def _without_slope(program: ConvexProgram, slopes: Slopes, y: NDArray[np.float64],
                   effort: float) -> NDArray[np.float64]:
    """Multipliers (rows, n) whose Lagrangian has next to no gradient by work and pace.

    Rounding leaves some, and those unknowns have wide bounds. The power row takes what is left
    by work, the pace row what is left by pace; both hand little on to the energies.
    """
    y = np.array(y)
    slope = gradient(program, slopes, y, effort)
    more = np.maximum(-slope.work, -y[POWER])
    y[POWER] += more
    y[PACE] = np.maximum(y[PACE] + slope.pace - more * program.problem.power_limit, 0.0)
    return y


def linear_bound(program: ConvexProgram, solution: Solution) -> float:
    """Lower bound by HiGHS on the planes at the solution.

    Parameters
    ----------
    program : of n steps
    solution : where the planes touch

    Returns
    -------
    finish time that no plan is faster than [s]; nan where HiGHS gave up
    """
    from scipy.sparse import coo_array, csr_array, vstack

    p = program.problem
    n = p.steps
    x, y = solution.point, np.maximum(solution.multipliers, 0.0)
    tangents = _tangents(program, x.energy)
    drag_dip, (joint_dip,) = _dips(program, x.energy, tangents, [y])
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

    # Matrix, right side and multipliers of the solution.
    parts: list[tuple[Any, NDArray[np.float64], NDArray[np.float64]]] = []
    dips = joint_dip < y[WORK] * drag_dip * (1 - 1e-9)
    for row, own in zip(program.rows, y, strict=True):
        if len(row.terms) == 1 and row.nonlinear is None:
            continue  # in the box
        more, zero = nonlinear[row.nonlinear] if row.nonlinear else ([], 0.0)
        parts.append((block([*((at[column], c) for column, c in row.terms), *more]),
                      np.broadcast_to(row.right - zero, (n,)),
                      np.where(dips, 0.0, own) if row.nonlinear == "pace" else own))
    parts.append((block([(e[:-1], half), (e[1:], half), (drag, -1.0)]),
                  drag_dip - drag_at, np.where(dips, 0.0, y[WORK])))
    if dips.any():
        w, v = y[WORK], y[PACE]
        scale = 1.0 / np.maximum(v, 1e-12)
        joint = block([(e[:-1], scale * (w * half + v * tangents.pace0)),
                       (e[1:], scale * (w * half + v * tangents.pace1)),
                       (drag, -scale * w), (at[Z], -scale * v)])
        parts.append((joint[dips],
                      (scale * (joint_dip - w * drag_at - v * pace_at))[dips], v[dips]))
    if program.has_effort:
        by_f, by_z, _ = program.effort_slopes(x.work, x.pace)
        effort = np.zeros((1, columns))
        effort[0, at[F]], effort[0, at[Z]] = by_f, by_z
        value = program.effort(x.work, x.pace)
        parts.append((csr_array(effort), np.array([by_f @ x.work + by_z @ x.pace - value]),
                      np.array([solution.effort_multiplier])))
    low, high = (np.concatenate([*box, np.full(n, side)])
                 for box, side in zip(_box(program), (-_STRONGEST, _STRONGEST), strict=True))
    cost = np.zeros(columns)
    cost[at[Z]] = p.step
    matrices, right, own = zip(*parts, strict=True)
    return _least_cost(
        cost, vstack(matrices, format="csc"), np.concatenate(right), np.stack([low, high]),
        np.repeat([50.0, p.w_prime, 30.0, 0.1, 10.0], [n + 1, n + 1, n, n, n]),
        (np.concatenate([x.energy, x.reserve, x.work, x.pace, tangents.drag]),
         np.concatenate(own)))


def _least_cost(cost: NDArray[np.float64], matrix: Any, right: NDArray[np.float64],
                bounds: NDArray[np.float64], usual: NDArray[np.float64],
                start: tuple[NDArray[np.float64], NDArray[np.float64]]) -> float:
    """Lower bound on cost x, matrix x ≤ right, from the multipliers that HiGHS finds.

    It works in units in which unknowns and rows are about one: in SI the entries span twenty
    powers of ten, at which the simplex can give up. It begins at `start` (unknowns, multipliers),
    which is next to the optimum; where that comes to nothing, other methods begin anew. The bound
    is computed from the multipliers, so that it holds to the last digit whatever HiGHS tolerates.
    nan where no method ends. `usual` (columns,) is the size of the unknowns, `bounds` (2, columns).
    """
    from scipy.sparse import diags_array

    scaled = matrix @ diags_array(usual)
    rows = 1.0 / np.maximum(abs(scaled).max(axis=1).toarray().ravel(), 1e-300)
    scaled, limit = (diags_array(rows) @ scaled).tocsc(), rows * right
    cost, (low, high) = cost * usual, bounds / usual

    def bound(y: NDArray[np.float64]) -> float:
        slope = cost + scaled.T @ y
        return float(np.sum(np.minimum(slope * low, slope * high)) - y @ limit)

    y = _optimal_multipliers(cost, scaled, limit, (low, high), start[0] / usual, start[1] / rows)
    if y is not None:
        return bound(y)
    from scipy.optimize import linprog  # slow, and seldom needed

    for method, options in (("highs-ds", {}), ("highs-ipm", {}), ("highs-ds", {"presolve": False})):
        outcome: Any = linprog(  # type: ignore[call-overload]
            cost, A_ub=scaled, b_ub=limit, bounds=np.column_stack([low, high]),
            method=method, options=options)
        if outcome.status == 0:
            return bound(np.maximum(-outcome.ineqlin.marginals, 0.0))
    return float("nan")


def _optimal_multipliers(cost: NDArray[np.float64], matrix: Any, right: NDArray[np.float64],
                         bounds: tuple[NDArray[np.float64], NDArray[np.float64]],
                         x: NDArray[np.float64], y: NDArray[np.float64],
                         ) -> NDArray[np.float64] | None:
    """Multipliers (rows,) with which HiGHS finds cost x, matrix x ≤ right, at its least.

    From a solution x, y near that it makes a basis (crossover), and goes on from there by the
    primal simplex, which takes some tens to hundreds of steps instead of ten thousand. None where
    it does not get to the optimum in as many steps as there are rows.
    """
    import highspy

    program = highspy.HighsLp()
    program.num_row_, program.num_col_ = matrix.shape
    program.col_cost_, (program.col_lower_, program.col_upper_) = cost, bounds
    program.row_lower_, program.row_upper_ = np.full(len(right), -np.inf), right
    program.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    program.a_matrix_.start_, program.a_matrix_.index_, program.a_matrix_.value_ = (
        matrix.indptr, matrix.indices, matrix.data)
    near = highspy.HighsSolution()
    near.value_valid = near.dual_valid = True
    near.col_value = np.clip(x, *bounds)
    near.row_value = matrix @ near.col_value
    near.col_dual, near.row_dual = cost + matrix.T @ y, -y
    highs = quiet_highs(solver="simplex", presolve="off", simplex_strategy=_PRIMAL,
                        simplex_iteration_limit=len(right))
    highs.run()  # of nothing yet: it sets up the thread, which crossover takes for granted
    if highs.passModel(program) == highspy.HighsStatus.kError:
        return None
    highs.crossover(near)
    highs.run()
    if highs.getModelStatus() != highspy.HighsModelStatus.kOptimal:
        return None
    return np.asarray(np.maximum(-np.array(highs.getSolution().row_dual), 0.0))
