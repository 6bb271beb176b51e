"""The Newton matrix of the pacing program: eliminated on each step, banded between the nodes.

A row of weight w adds w r² to what Newton's method minimises, r its left side. Pace z and crank
work f stand on one step only and are eliminated in closed form, from rows of three kinds:

    work, pace   A + c f,  Φ + c' z        A, Φ linear in the energies of the step's ends
    spending     c f + c' z                power, coasting, the curvature of the effort row
    reserve      G + r q,  q = Δs (f - CP z)     G linear in the reserves of the step's ends

The weights of tight rows are a billion times those of others. So no difference of large terms may
stand in the result: determinants come from pairs of rows (Cauchy and Binet), what the first two
kinds leave of A and Φ has no negative term, and the reserve enters by a rank-one update whose
divisor 1/ω + q K⁻¹ q is one term more. What is left is symmetric, positive definite and banded of
half width 3 in (e, W) of the nodes, and is factored by LAPACK. The effort row couples
all steps; only its curvature is in here, and the iteration borders the matrix with it.
"""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from optimizer.lapack import dpbtrf, dpbtrs
from optimizer.pacing.lagrangian import Point, Slopes
from optimizer.pacing.rows import E0, E1, W0, W1, F, Z

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.pacing.convex import ConvexProgram

__all__ = ["CARRIED", "SHIFTS", "Newton"]

WORK, PACE = range(2)
CARRIED: Final = 0.95  # of the pace's curvature, that concave drag may take
SHIFTS: Final = (0.0, *(10.0**power for power in range(-11, 1)))  # proximal terms to try


class Newton:
    """The Newton matrix of one program, factored at point after point."""

    def __init__(self, program: ConvexProgram) -> None:
        n = program.problem.steps
        self.program, self.steps = program, n
        self.work, self.pace = (dict(program.rows[k].terms)[c] for k, c in ((WORK, F), (PACE, Z)))
        self.spending: list[tuple[int, Any, Any]] = []  # row, by f, by z
        self.stored: list[tuple[int, Any, Any, Any]] = []  # row, r, by W, by W'
        self.single: list[tuple[int, int, Any]] = []  # row, column, squared coefficient
        for k, row in enumerate(program.rows):
            terms = dict(row.terms)
            if row.nonlinear is not None:
                continue
            if terms.keys() <= {F, Z}:
                self.spending.append((k, terms.get(F, 0.0), terms.get(Z, 0.0)))
            elif len(terms) == 1:
                ((column, c),) = row.terms
                self.single.append((k, column, c * c))
            else:
                if not self.stored:
                    self.by_f, self.by_z = terms[F], terms[Z]
                self.stored.append((k, terms[F] / self.by_f if self.stored else 1.0,
                                    terms[W0], terms[W1]))
        self.crossed = [(i, j, (a * d - b * c) ** 2) for (i, a, b), (j, c, d) in
                        combinations(self.spending, 2)]
        self.band = np.zeros((n, 2, 4)), np.empty((n, 2, 4))  # the matrix, its factor
        self.flat = np.empty((2 * n, 1))

    def factor(self, point: Point, d: Slopes, y: NDArray[np.float64],
               weight: NDArray[np.float64], effort: float) -> None:
        """Factor the matrix at a point.

        Parameters
        ----------
        point, d : where, with the slopes there
        y, weight : (rows, n) multipliers and weights y/s of the rows
        effort : multiplier of the effort row, whose curvature counts

        Raises
        ------
        numpy.linalg.LinAlgError
            where it cannot be factored
        """
        w, v = weight[WORK], weight[PACE]
        ff, fz, zz, pairs = self._spent(point, d, weight, effort)
        # K of f and z, from work, pace and spending; its determinant and inverse
        square, other = self.work**2 * w, self.pace**2 * v
        rest = other * ff + pairs  # of the determinant, what the work row is not in
        determinant = square * (other + zz) + rest
        inverse = 1.0 / determinant
        self.iff, self.izz = (other + zz) * inverse, (square + ff) * inverse
        self.ifz = -fz * inverse
        # Σ w (G + r q)² of the reserve rows: ω (G + q)² and what the recovery row adds
        omega, self.g0, self.g1, more = self._reserves(weight)
        self.kf = kf = self.iff * self.by_f + self.ifz * self.by_z
        self.kz = kz = self.ifz * self.by_f + self.izz * self.by_z
        self.kappa = kappa = 1.0 / (1.0 / omega + self.by_f * kf + self.by_z * kz)
        self.push, self.haste = self.work * w, self.pace * v
        ha, hp = self.push * kf, self.haste * kz
        ag, pg = -kappa * ha, -kappa * hp
        inverse *= w
        aa = rest * inverse - ha * ag
        ap = self.work * self.pace * fz * v * inverse - ha * pg
        pp = v * (square * zz + pairs) / determinant - hp * pg
        work, pace = dict(d.rows[WORK]), dict(d.rows[PACE])
        self.ends = a0, a1, p0, p1 = work[E0], work[E1], pace[E0], pace[E1]
        b00, b01, b11 = _curvatures(d, y)
        left, right = aa * a0 + ap * p0, ap * a0 + pp * p0
        band = self.band[0]
        e, W = band[:, 0], band[:, 1]
        e[:-1, 2] = (a1 * left + p1 * right + b01)[1:]
        start = a0 * left + p0 * right + b00
        left, right = aa * a1 + ap * p1, ap * a1 + pp * p1
        end = a1 * left + p1 * right + b11
        g0, g1 = self.g0, self.g1
        by0, by1 = ag * a0 + pg * p0, ag * a1 + pg * p1
        kept = kappa * g1 * g1 + more[2]
        for k, column, c in self.single:
            if column == E1:
                end += c * weight[k]
            else:
                kept += c * weight[k]
        end[:-1] += start[1:]
        kept[:-1] += (kappa * g0 * g0 + more[0])[1:]
        across = by1 * g1
        across[:-1] += (by0 * g0)[1:]
        e[:, 0], W[:, 0], e[:, 1] = end, kept, across
        W[:-1, 1], W[:-1, 2] = (by1 * g0)[1:], (kappa * g0 * g1 + more[1])[1:]
        e[:-1, 3] = (by0 * g1)[1:]
        self._cholesky()

    def _spent(self, point: Point, d: Slopes, weight: NDArray[np.float64], effort: float,
               ) -> tuple[Any, Any, Any, Any]:
        """Sum w c c of the rows that hold f and z alone, and its determinant by pairs of them."""
        ff: Any = 0.0
        fz, zz, pairs = ff, ff, ff
        for k, by_f, by_z in self.spending:
            ff, fz, zz = ff + weight[k] * by_f**2, fz + weight[k] * (by_f * by_z), zz + (
                weight[k] * by_z**2)
        for i, j, square in self.crossed:
            pairs = pairs + weight[i] * weight[j] * square
        if self.program.has_effort:  # its curvature is one in f - z f/z
            bent, ratio = effort * d.effort_curvature, point.work / point.pace
            for k, by_f, by_z in self.spending:
                pairs = pairs + bent * weight[k] * (by_z + by_f * ratio) ** 2
            ff, fz, zz = ff + bent, fz - bent * ratio, zz + bent * ratio**2
        return ff, fz, zz, pairs

    def _reserves(self, weight: NDArray[np.float64]) -> tuple[Any, Any, Any, tuple[Any, Any, Any]]:
        """Weight ω and G by W and W' of the rows with q as one, and what is left by W and W'."""
        (k, _, first0, first1), *others = self.stored
        omega, g0, g1, more = weight[k], first0, first1, (0.0, 0.0, 0.0)
        for j, share, by0, by1 in others:
            w = weight[j]
            both = omega + w * share**2
            left = omega * w / both
            off0, off1 = share * g0 - by0, share * g1 - by1
            more = tuple(part + left * off for part, off in zip(
                more, (off0 * off0, off0 * off1, off1 * off1), strict=True))
            g0, g1 = ((omega * g + w * share * by) / both for g, by in ((g0, by0), (g1, by1)))
            omega = both
        return omega, g0, g1, more

    def _cholesky(self) -> None:
        """Factor the band; where a pivot is left without sign, with a growing proximal term.

        Where energy has no value (before a brake), rounding can leave one; the term leaves the
        solution where it is.
        """
        clean, trial = self.band
        w_prime = self.program.problem.w_prime
        for shift in SHIFTS:
            np.copyto(trial, clean)
            if shift:
                trial[:, 0, 0] += shift
                trial[:, 1, 0] += shift * (30.0 / w_prime) ** 2
            _, info = dpbtrf(trial.reshape(-1, 4).T, lower=1, overwrite_ab=1)
            if info == 0:
                return
        raise np.linalg.LinAlgError("the Newton matrix cannot be factored")

    def solve(self, right: Point) -> Point:
        """Step for a right side, the effort row left aside."""
        n, (a0, a1, p0, p1) = self.steps, self.ends
        f, z = right.work, right.pace
        xf, xz, pull = self._own(f, z, 0.0)
        xf *= self.push
        xz *= self.haste
        flat = self.flat.reshape(n, 2)
        e, W = flat[:, 0], flat[:, 1]
        np.subtract(right.energy[1:], a1 * xf + p1 * xz, out=e)
        np.subtract(right.reserve[1:], self.g1 * pull, out=W)
        e[:-1] -= (a0 * xf + p0 * xz)[1:]
        W[:-1] -= (self.g0 * pull)[1:]
        dpbtrs(self.band[1].reshape(-1, 4).T, self.flat, lower=1, overwrite_b=1)
        de, dW = np.zeros(n + 1), np.zeros(n + 1)
        de[1:], dW[1:] = e, W
        xf = a0 * de[:-1] + a1 * de[1:]
        xf *= self.push
        xz = p0 * de[:-1] + p1 * de[1:]
        xz *= self.haste
        xf, xz, _ = self._own(f - xf, z - xz, self.g0 * dW[:-1] + self.g1 * dW[1:])
        return Point(de, dW, xf, xz)

    def _own(self, f: NDArray[np.float64], z: NDArray[np.float64], g: Any,
             ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Solve for f and z of each step with G given; what the reserve rows pull as well."""
        xf, xz = self.iff * f + self.ifz * z, self.ifz * f + self.izz * z
        pull = self.by_f * xf + self.by_z * xz + g
        pull *= self.kappa
        xf -= self.kf * pull
        xz -= self.kz * pull
        return xf, xz, pull


def _curvatures(d: Slopes, y: NDArray[np.float64]) -> tuple[NDArray[np.float64], ...]:
    """Curvature of the Lagrangian by the energies of a step's ends: start, both, end.

    Where wind makes drag concave, no more of it than the pace's own curvature can carry.
    """
    pace = y[PACE]
    bend = y[WORK] * d.drag_curvature
    if bend.min() < 0.0:
        carried = pace * (d.pace00 * d.pace11 - d.pace01**2) / (
            d.pace00 + d.pace11 - 2 * d.pace01)
        np.maximum(bend, -CARRIED * carried, out=bend)
    return bend + pace * d.pace00, bend + pace * d.pace01, bend + pace * d.pace11
