"""The pacing problem as a program whose Lagrangian is convex.

Unknowns: kinetic energy e = v²/2 and reserve W at the nodes, crank work per metre f and pace
z (time per metre) on the steps. With ē the mean of a step's two energies,

    min  Σ Δs z
    m_e (e' - e)/Δs ≤ η f - F(√(2ē)) - R                work; F drag and bearings, R the rest
    z ≥ 2/(√(2e) + √(2e'))                              pace; exact where e is linear in s
    W' ≤ W - Δs (f - CP z),  W' ≤ W - Δs r (f - CP z)   reserve
    f ≤ P_max z,  f ≥ 0,  v_lo²/2 ≤ e ≤ v_lim²/2,  floor ≤ W ≤ W'
    Σ Δs ((f/CP)^p z^(1-p) - g z) ≤ B                   effort

The reserve rows are the perspective of max(P - CP, r (P - CP)) in (f, z) and linear, the effort
row is the perspective of a power and convex. In still air F is linear in e. Wind bends it: a tail
wind h adds -ρ CdA h √(2e), convex; a head wind adds the same with the other sign, concave, and so
may cross wind and a drag area that changes with yaw. That concavity stays small against the
curvature of the pace: with multipliers y of the work and λ of the reserve, y_pace ≈ Δs and
y_work ≈ λ Δs/η, the Lagrangian bends like 3 Δs/v⁵ - λ Δs ρ CdA h/(η v³), which is positive
while λ ρ CdA h v² < 3 η; a seventh of that is usual. So a stationary point is the global optimum,
and `certificate` proves it, step by step, with the multipliers at hand.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from optimizer.errors import Infeasible
from optimizer.pacing.problem import FASTEST
from optimizer.pacing.rows import Row, rows_of
from optimizer.physics.road_load import aerodynamic_force, road_force

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.pacing.problem import PacingProblem

__all__ = ["ConvexProgram", "convex_program", "drag_in_energy"]


@dataclass(frozen=True)
class ConvexProgram:
    """Coefficients of the program above, n steps; SI.

    Attributes
    ----------
    problem : where they come from
    inertia : (n,) m_e/Δs
    resistance : (n,) R, what does not depend on speed [N]
    top, bottom : (n,) bounds on e at nodes 1..n
    start_energy : e at node 0
    recovery : (n,) r, or None where recovery is full and the second reserve row is not needed
    carry, offset : (n,) the second reserve row is W' - carry W + r Δs (f - CP z) ≤ offset
    pace_cost, energy_cost : (n,), (n + 1,) linear cost; Δs and 0 unless a polish changes it
    """

    problem: PacingProblem
    inertia: NDArray[np.float64]
    resistance: NDArray[np.float64]
    top: NDArray[np.float64]
    bottom: NDArray[np.float64]
    start_energy: float
    recovery: NDArray[np.float64] | None
    carry: NDArray[np.float64]
    offset: NDArray[np.float64]
    pace_cost: NDArray[np.float64]
    energy_cost: NDArray[np.float64]

    @cached_property
    def rows(self) -> tuple[Row, ...]:
        """The rows of each step."""
        return rows_of(self)

    @property
    def has_effort(self) -> bool:
        """Whether the effort over the ride is limited."""
        return self.problem.effort is not None

    @cached_property
    def effort_scale(self) -> NDArray[np.float64]:
        """(n,) Δs/CP^p."""
        p = self.problem
        assert p.effort is not None  # noqa: S101 - asked for where there is a limit
        return np.asarray(p.step * p.critical_power ** -p.effort.exponent)

    def effort(self, f: NDArray[np.float64], z: NDArray[np.float64]) -> float:
        """Left side less right side of the effort row [s]; feasible where ≤ 0."""
        limit = self.problem.effort
        assert limit is not None  # noqa: S101 - asked for where there is a limit
        power = limit.exponent
        return float(np.sum(self.effort_scale * f**power * z ** (1 - power)
                            - self.problem.step * limit.per_second * z)) - limit.budget

    def effort_slopes(self, f: NDArray[np.float64], z: NDArray[np.float64],
                      ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Differentiate the effort row by f, by z, and twice by f; (n,) each.

        The other second derivatives follow: by f and z -f/z times the last, twice by z (f/z)².
        """
        limit = self.problem.effort
        assert limit is not None  # noqa: S101 - asked for where there is a limit
        power = limit.exponent
        ratio = self.effort_scale * (f / z) ** (power - 2)
        return (power * ratio * f / z,
                (1 - power) * ratio * (f / z) ** 2 - self.problem.step * limit.per_second,
                power * (power - 1) * ratio / z)


def drag_in_energy(problem: PacingProblem, energy: NDArray[np.float64],
                   ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Drag and bearing friction F by the kinetic energy of the steps.

    Parameters
    ----------
    problem : n steps, rider and kit
    energy : (..., n) J/kg, means of the steps

    Returns
    -------
    F [N], dF/de [N kg/J] and d²F/de² [N kg²/J²], (..., n) each

    References
    ----------
    As `physics.aerodynamic_force`, by the chain rule with v = √(2e).
    """
    p = problem
    speed = np.sqrt(2 * energy)
    force, slope, curvature = aerodynamic_force(speed, p.headwind, p.crosswind, p.air_density,
                                                p.drag, p.position)
    slope = slope + p.bearing[1]
    first = slope / speed
    return force + p.bearing[1] * speed, first, (curvature - first) / (2 * energy)


def convex_program(problem: PacingProblem) -> ConvexProgram:
    """Set up the program.

    Parameters
    ----------
    problem : n steps, rider and kit

    Returns
    -------
    its coefficients, in SI

    Raises
    ------
    Infeasible
        where a speed limit leaves no room
    """
    p = problem
    top = np.minimum(p.speed_limit, FASTEST)
    if np.any(top[1:] <= p.lowest_speed * 1.02):
        place = float(p.distance[1:][np.argmin(top[1:])])
        raise Infeasible(f"the speed limit at {place / 1000:.2f} km is not above "
                         f"{p.lowest_speed:.1f} m/s", "raise the speed limit there")
    partial = not p.recovery_law.convex or bool(np.any(p.recovery < 1.0))
    n = p.steps
    return ConvexProgram(
        problem=p, inertia=p.effective_mass / p.step,
        resistance=road_force(p.grade, p.mass, p.rolling_resistance) + p.bearing[0],
        top=0.5 * top[1:]**2, bottom=np.full(n, 0.5 * p.lowest_speed**2),
        start_energy=0.5 * min(p.start_speed, float(top[0]))**2,
        recovery=p.recovery if partial else None, carry=np.ones(n), offset=np.zeros(n),
        pace_cost=p.step, energy_cost=np.zeros(n + 1))
