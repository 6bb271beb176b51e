"""Rows of the pacing program at a point: their values, their derivatives, what multipliers add up.

Everything here follows from the rows as `rows` declares them; solver, certificate and the bounds
of kit read it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from optimizer.pacing.convex import drag_in_energy
from optimizer.pacing.rows import E0, E1, Terms, add_terms, times_terms

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.pacing.convex import ConvexProgram

__all__ = ["SLOWEST_START", "Point", "Slopes", "gradient", "linearised", "row_values", "times",
           "transposed"]

_NONE: Final = np.zeros(1)  # slopes of an effort row that is not there

SLOWEST_START: Final = 1e-3  # m/s, that slopes take a standing start for; its energy is fixed


class Point(NamedTuple):
    """Unknowns of the program: e, W (n + 1,) with node 0 fixed; crank work f, pace z (n,)."""

    energy: NDArray[np.float64]
    reserve: NDArray[np.float64]
    work: NDArray[np.float64]
    pace: NDArray[np.float64]


@dataclass(frozen=True)
class Slopes:
    """First and second derivatives of the rows at a point, (n,) each; of no effort row, (1,)."""

    rows: tuple[Terms, ...]  # Jacobian: each row's unknowns with their coefficients
    drag_curvature: NDArray[np.float64]  # F''/4
    pace00: NDArray[np.float64]
    pace01: NDArray[np.float64]
    pace11: NDArray[np.float64]
    effort_f: NDArray[np.float64]
    effort_z: NDArray[np.float64]
    effort_curvature: NDArray[np.float64]  # by f f; f z and z z follow


def row_values(program: ConvexProgram, point: Point) -> NDArray[np.float64]:
    """Left side minus right side of each row at a point; feasible where ≤ 0.

    Parameters
    ----------
    program : of n steps
    point : energies [J/kg], reserves [J], work [J/m] and paces [s/m]

    Returns
    -------
    (rows, n) values, each in the unit of its row
    """
    e = point.energy
    speed = np.sqrt(2 * e)
    return _values(program, point, drag_in_energy(program.problem, 0.5 * (e[:-1] + e[1:]))[0],
                   2.0 / (speed[:-1] + speed[1:]))


def _values(program: ConvexProgram, point: Point, drag: NDArray[np.float64],
            pace: NDArray[np.float64],
            out: NDArray[np.float64] | None = None) -> NDArray[np.float64]:
    nonlinear = {"drag": drag, "pace": pace}
    if out is None:
        out = np.empty((len(program.rows), program.problem.steps))
    unknowns = _unknowns(point)
    for value, row in zip(out, program.rows, strict=True):
        if row.nonlinear is None:
            np.negative(row.right, out=value)
        else:
            np.subtract(nonlinear[row.nonlinear], row.right, out=value)
        add_terms(value, row.terms, unknowns)
    return out


def _unknowns(x: Point) -> tuple[NDArray[np.float64], ...]:
    """Those of each step, in the order of `rows`."""
    return x.work, x.pace, x.energy[:-1], x.energy[1:], x.reserve[:-1], x.reserve[1:]


def linearised(program: ConvexProgram, point: Point, out: NDArray[np.float64] | None = None,
               ) -> tuple[NDArray[np.float64], Slopes]:
    """Give what `row_values` gives, and the rows' derivatives.

    Parameters
    ----------
    program : of n steps
    point : energies [J/kg], reserves [J], work [J/m] and paces [s/m]
    out : (rows, n) to write the values to

    Returns
    -------
    (rows, n) left side minus right side of each row, in its unit; first and second derivatives
    """
    p = program.problem
    e, _, f, z = point
    speed = np.sqrt(2 * e)
    v0, v1 = speed[:-1].copy(), speed[1:]
    total = v0 + v1
    drag, drag1, drag2 = drag_in_energy(p, 0.5 * (e[:-1] + e[1:]))
    pace = 2.0 / total
    values = _values(program, point, drag, pace, out)
    v0[0] = max(v0[0], SLOWEST_START)
    pace /= total
    pace0, pace1 = -pace / v0, -pace / v1
    half = 0.5 * drag1
    bent = {"drag": (half, half), "pace": (pace0, pace1)}
    effort = program.effort_slopes(f, z) if program.has_effort else (_NONE, _NONE, _NONE)
    return values, Slopes(
        rows=tuple(row.terms if row.nonlinear is None else _bent(row.terms, *bent[row.nonlinear])
                   for row in program.rows),
        drag_curvature=0.25 * drag2, pace00=pace0 * (pace0 * total - 1.0 / (v0 * v0)),
        pace01=pace0 * pace1 * total, pace11=pace1 * (pace1 * total - 1.0 / (v1 * v1)),
        effort_f=effort[0], effort_z=effort[1], effort_curvature=effort[2])


def _bent(terms: Terms, by_start: NDArray[np.float64], by_end: NDArray[np.float64]) -> Terms:
    """Terms with the derivatives of what is not linear, by the energies of a step's ends."""
    linear = dict(terms)
    return tuple((linear | {E0: linear.get(E0, 0.0) + by_start,
                            E1: linear.get(E1, 0.0) + by_end}).items())


def times(program: ConvexProgram, d: Slopes, step: Point,
          out: NDArray[np.float64] | None = None) -> NDArray[np.float64]:
    """Jacobian of the rows times a step.

    Parameters
    ----------
    program : of n steps
    d : slopes at a point
    step : energies [J/kg], reserves [J], work [J/m] and paces [s/m]
    out : (rows, n) to write to

    Returns
    -------
    (rows, n) changes, each in the unit of its row
    """
    unknowns = _unknowns(step)
    if out is None:
        out = np.empty((len(d.rows), program.problem.steps))
    for value, ((column, c), *others) in zip(out, d.rows, strict=True):
        np.multiply(c, unknowns[column], out=value)
        add_terms(value, others, unknowns)
    return out


def transposed(program: ConvexProgram, d: Slopes, y: NDArray[np.float64]) -> Point:
    """Transposed Jacobian times weights of the rows.

    Parameters
    ----------
    program : of n steps
    d : slopes at a point
    y : (rows, n) weights

    Returns
    -------
    sums by unknown, 0 for the fixed node 0
    """
    n = program.problem.steps
    e, W, fixed = np.zeros(n + 1), np.zeros(n + 1), np.zeros((4, n))
    f, z, e0, W0 = fixed
    out = [f, z, e0, e[1:], W0, W[1:]]
    for weight, terms in zip(y, d.rows, strict=True):
        times_terms(out, terms, weight)
    e[1:-1] += e0[1:]
    W[1:-1] += W0[1:]
    return Point(e, W, f, z)


def gradient(program: ConvexProgram, d: Slopes, y: NDArray[np.float64],
             effort: float) -> Point:
    """Gradient of the Lagrangian where the slopes `d` were taken; 0 for the fixed node 0.

    Parameters
    ----------
    program, d : rows and their derivatives
    y : (rows, n) multipliers
    effort : that of the effort row

    Returns
    -------
    seconds per unit of each unknown
    """
    out = transposed(program, d, y)
    out.energy[1:] += program.energy_cost[1:]
    out.pace[:] += program.pace_cost
    if program.has_effort:
        out.work[:] += effort * d.effort_f
        out.pace[:] += effort * d.effort_z
    return out
