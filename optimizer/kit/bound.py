"""A lower bound on the time of every set of kit, from the multipliers of one solved plan.

With multipliers y ≥ 0 of its rows, the Lagrangian of the pacing program underestimates the time
of every plan. It does so for every set of kit as well, if y is carried over to that set. Divide
the work row by the effective mass m_e; with ē the mean energy of a step,

    (e' - e)/Δs - σ f + Σ_j a_j Φ_j(ē) + μ (Φ_rider(ē) + bearing) + g cos θ (γ grade + ζ) ≤ 0

where a set enters through nothing but

    a_j = ΔCdA(β_j)/m_e,  μ = 1/m_e,  σ = η/m_e,  γ = m/m_e,  ζ = m Crr/m_e.

Keep the multiplier y_work m_e of that row, scale those of the reserve, power and effort rows with
σ, and let the pace row's follow, y_pace' = y_pace + (σ'/σ - 1)(y_pace - Δs). Then crank work, pace
and reserve stay at their stationary values, the terms in e' - e keep their multipliers, and the
bound on another set differs from the one on this set by terms of single steps:

    T(θ') ≥ V + slope · (θ' - θ) + Σ_k min_ē [B_k(ē) + u_k(θ') (ē - ē_k) + r_k(ē, θ')]

B_k ≥ 0 is what the Lagrangian of step k rises above its tangent plane, u_k is linear in θ' - θ
and r_k the small rest of Φ above its tangent. With the greatest b_k for which B_k - |r_k| lies
above a parabola of that curvature (as far as |u_k| can push the minimum), the sum is at least
-½ Σ u_k²/b_k: a quadratic form. `slope` is the envelope derivative of the optimal time.

One more freedom is used: all multipliers but the pace row's may grow by a common factor
r = 1/(1 - ρ), y_pace' following. That changes the bound to

    T(θ') ≥ V + r slope · (θ' - θ) - ½ r² Σ (u_k - ρ a_k)²/b_k,   a_k = Δs dφ/dē, φ the pace,

for any ρ with |r σ'/σ - 1| ≤ `GROWTH`, which is as far as b_k allows y_pace to move. The best ρ
takes most of the quadratic form away.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.pacing.interior_point import ROWS
from optimizer.pacing.lagrangian import gradient, linearised
from optimizer.pacing.problem import FASTEST
from optimizer.physics import GRAVITY, DragArea, aerodynamic_force
from optimizer.physics.road_load import drag_in_each

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from optimizer.pacing import PacingProblem
    from optimizer.pacing.convex import ConvexProgram
    from optimizer.pacing.interior_point import Solution
    from optimizer.physics import Setup

__all__ = ["Bound", "bound_from", "coordinates", "levels"]

WORK, PACE, POWER, TOP = (ROWS.index(name) for name in ("work", "pace", "power", "top"))
GROWTH = 0.01  # most that y_pace moves by, as a part of Δs - y_pace
_NEAR = np.array([0.01, 0.03, 0.06, 0.1, 0.16, 0.25, 0.36])  # of ē, either side
_FAR = np.linspace(0.0, 1.0, 9)[1:]


@dataclass(frozen=True)
class Bound:
    """A lower bound on the time of all sets, from one of them; d coordinates.

    Attributes
    ----------
    value : s, the bound on the set it was made from
    point, slope : (d,)
    uu, ua, aa : (d, d), (d,), scalar; Σ u_k²/b_k, Σ u_k a_k/b_k, Σ a_k²/b_k
    curvature : (d, d), positive semidefinite; T ≥ value + slope · δ - ½ δ curvature δ + corners
        with δ = θ' - point, good for finding what may beat a time within `range` of `value`
    range : s
    cornering : factor on corner speeds of the set it was made from
    corner_price : s, what the square of that factor is worth
    within : most that a_1 may differ from its value at `point`; beyond it the bound says nothing
    """

    value: float
    point: NDArray[np.float64]
    slope: NDArray[np.float64]
    uu: NDArray[np.float64]
    ua: NDArray[np.float64]
    aa: float
    curvature: NDArray[np.float64]
    range: float
    cornering: float
    corner_price: float
    within: float = float("inf")

    def at(self, theta: NDArray[np.float64],
           cornering: NDArray[np.float64] | float = 1.0) -> NDArray[np.float64]:
        """Bound [s] on sets with coordinates (..., d) and factors on corner speed (...)."""
        delta = theta - self.point
        first = delta @ self.slope + self.corner_price * (self.cornering**2
                                                          - np.asarray(cornering)**2)
        across = delta @ self.ua
        share = theta[..., -3] / self.point[-3]
        rho = np.clip((first + across) / (self.aa + 2 * np.abs(first)),
                      1.0 - share / (1.0 - GROWTH), 1.0 - share / (1.0 + GROWTH))
        square = (np.einsum("...i,ij,...j->...", delta, self.uu, delta) - 2 * rho * across
                  + rho**2 * self.aa)
        bound = self.value + first / (1.0 - rho) - 0.5 * square / (1.0 - rho)**2
        return np.where(np.abs(delta[..., 0]) <= self.within * (1.0 + 1e-9), bound, -np.inf)


def coordinates(setup: Setup, rider_mass: float) -> NDArray[np.float64]:
    """Give what the pacing program sees of a set.

    Parameters
    ----------
    setup : set of kit
    rider_mass : kg

    Returns
    -------
    (m + 4,) a_1 .. a_m, μ, σ, γ, ζ as in the module
    """
    mass = rider_mass + setup.mass
    effective = mass + setup.spinning_mass
    return np.array([*levels(setup.drag_area_change), 1.0, setup.drivetrain_efficiency, mass,
                     mass * setup.rolling_resistance]) / effective


def levels(table: NDArray[np.float64]) -> NDArray[np.float64]:
    """Tables of CdA in coordinates that keep `half_range` small.

    Sets differ much in the first and little in the rest.

    Parameters
    ----------
    table : (..., m) CdA by yaw angle [m²]

    Returns
    -------
    (..., m) CdA at zero yaw, then what the others differ from it [m²]
    """
    return np.concatenate([table[..., :1], table[..., 1:] - table[..., :1]], axis=-1)


def bound_from(program: ConvexProgram, solution: Solution, setup: Setup,
               half_range: NDArray[np.float64], within: float = np.inf,
               held: NDArray[np.bool_] | bool = False) -> Bound:
    """Bound from a solved program, on sets with |θ' - θ| ≤ `half_range`.

    Parameters
    ----------
    program : of the pacing
    solution : with its multipliers
    setup : set that it was solved for
    half_range : (d,) how far coordinates may be from those of the set, SI
    within : m², most of that range of a_1, which moves most: the less, the closer the bound
    held : (n,) steps whose end's speed limit is no corner's, and the same for all sets

    Returns
    -------
    lower bound on the time of all sets in that range
    """
    if within < half_range[0]:
        half_range = np.append(within, half_range[1:])
    else:
        within = np.inf
    p = program.problem
    x = solution.point
    value, y, stray = _stationary(program, solution)
    theta = coordinates(setup, p.mass - setup.mass)
    m = len(setup.yaw)
    share = setup.drivetrain_efficiency / p.effective_mass  # σ
    price = y[WORK] * p.effective_mass
    mean = 0.5 * (x.energy[:-1] + x.energy[1:])
    force, force_slope = _forces(p, setup, mean)
    weight = GRAVITY / np.sqrt(1.0 + p.grade**2)
    rolling = p.rolling_resistance / setup.rolling_resistance
    slope = np.array([*(force @ price)[:m], force[m] @ price, -float(price @ x.work),
                      float(price @ (weight * p.grade)), float(price @ (weight * rolling))])

    # Slope of each step along its mean energy, by each coordinate: what can move the minimum.
    _, along, tilt = _pace_tangent(x.energy)
    by_share = (y[PACE] - p.step) / share
    u = np.zeros((m + 4, p.steps))
    u[:m + 1] = price * force_slope
    u[m + 1] = by_share * along
    pace_price = np.maximum(y[PACE] - GROWTH * np.abs(y[PACE] - p.step), 0.0)
    turn = GROWTH + half_range[m + 1] / share  # most of |ρ|
    curvature, dips = _curvature(program, x.energy, price, pace_price, setup, half_range, turn,
                                 half_range @ np.abs(u) + turn * p.step * np.abs(along))
    # Along half of e - e' as well, where nothing but the pace bends.
    crooked = p.step * tilt**2 * np.sqrt(2 * mean)**5 / np.maximum(pace_price, 1e-9)
    uu = (u / curvature) @ u.T
    uu[m + 1, m + 1] += float(crooked @ (by_share**2 / p.step))
    ua = u @ (p.step * along / curvature)
    ua[m + 1] += float(crooked @ by_share)
    aa = float(p.step**2 @ (along**2 / curvature)) + float(crooked @ p.step)
    # What is left of the gradient by energy moves the minima as well, very little.
    stray = np.abs(stray[:-1]) + np.abs(stray[1:])
    value -= float(dips.sum()) + float(np.sum(stray**2 * (
        1.0 / curvature + np.sqrt(2 * mean)**5 / np.maximum(pace_price, 1e-9))))
    limited = (p.speed_limit[1:] < FASTEST) & ~np.asarray(held)
    corners = float(np.sum((0.5 * y[TOP] * p.speed_limit[1:]**2)[limited]))
    form, span = _one_form(slope, uu, ua, aa, half_range, share)
    return Bound(value, theta, slope, uu, ua, aa, form, span, setup.cornering_factor,
                 corners / setup.cornering_factor**2, within)


def _one_form(slope: NDArray[np.float64], uu: NDArray[np.float64],
              ua: NDArray[np.float64], aa: float, half_range: NDArray[np.float64],
              share: float) -> tuple[NDArray[np.float64], float]:
    """Put a ρ that is linear in θ' into the bound: one quadratic form below it, with its range [s].

    ρ = ω - (σ' - σ)/σ with the best ω. The form takes |slope · δ| ≤ range for granted; beyond
    that it may lie too high, but the time itself is then so far from `value` that it makes no
    difference to what may beat a time within half the range.
    """
    turn = np.zeros(len(slope))
    turn[-3] = 1.0 / share
    most_turn = GROWTH + float(turn @ half_range)
    wide = 1.0 / (1.0 - most_turn)
    mixed = np.outer(ua, turn)
    form = uu + mixed + mixed.T + aa * np.outer(turn, turn)
    across = slope + wide**2 * (ua + aa * turn)
    most = float(np.abs(across) @ half_range)
    loss = max(float(half_range @ np.abs(form) @ half_range), most**2 / aa)
    span = 30.0 + loss
    rigid = wide**2 * aa + 4.0 * wide * span
    gain = min(1.0, (GROWTH - 2 * most_turn**2) * rigid / max(most, 1e-12))
    lean = np.outer(slope, turn)
    form = (wide**2 * form + lean + lean.T + 4.0 * wide * span * np.outer(turn, turn)
            - (2 * gain - gain**2) / rigid * np.outer(across, across))
    size = np.maximum(half_range, 1e-12)
    strength, axes = np.linalg.eigh(form * np.outer(size, size))
    return (axes * np.maximum(strength, 0.0)) @ axes.T / np.outer(size, size), span


def _stationary(program: ConvexProgram, solution: Solution,
                ) -> tuple[float, NDArray[np.float64], NDArray[np.float64]]:
    """Lagrangian at the solution [s], multipliers, and its gradient by energy, (n + 1,).

    The multipliers are corrected until the gradient by crank work and pace vanishes, with the work
    row's (the power row's, where that would be negative) and the pace row's, both of which
    are tight. What then remains by reserve is bounded by the size of the reserve.
    """
    p, x = program.problem, solution.point
    y = np.maximum(solution.multipliers, 0.0)
    rows, slopes = linearised(program, x)
    effort = solution.effort_multiplier
    correction = gradient(program, slopes, y, effort).work / p.drivetrain_efficiency
    correction = np.maximum(correction, -y[WORK])
    y[WORK] += correction
    y[POWER] += np.maximum(-gradient(program, slopes, y, effort).work, 0.0)
    y[PACE] += gradient(program, slopes, y, effort).pace
    left = gradient(program, slopes, y, effort)
    value = float(p.step @ x.pace) + float(np.sum(y * rows))
    if program.has_effort:
        value += solution.effort_multiplier * program.effort(x.work, x.pace)
    value -= float(np.sum(np.abs(left.reserve))) * (p.w_prime - p.reserve_floor)
    return value, y, left.energy


def _forces(p: PacingProblem, setup: Setup, energy: NDArray[np.float64],
            ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Φ_1 .. Φ_m and Φ_rider with bearings at energies (..., n), and slopes by e.

    (m + 1, ..., n) each.
    """
    speed = np.sqrt(2 * energy)
    drag, positions = _tables(p, setup)
    parts = [aerodynamic_force(speed, p.headwind, p.crosswind, p.air_density, drag, row)[:2]
             for row in positions]
    force, slope = (np.array(part) for part in zip(*parts, strict=True))
    force[-1] += p.bearing[0] + p.bearing[1] * speed
    slope[-1] += p.bearing[1]
    return force, slope / speed


def _above_tangents(p: PacingProblem, setup: Setup, mean: NDArray[np.float64],
                    at: NDArray[np.float64]) -> Iterator[NDArray[np.float64]]:
    """Give what each Φ at energies `at` (samples, n) is above its tangent at `mean` (n,)."""
    force, slope = _forces(p, setup, mean)
    speed, run = np.sqrt(2 * at), at - mean
    drag, positions = _tables(p, setup)
    for j, part in enumerate(drag_in_each(speed, p.headwind, p.crosswind, p.air_density, drag,
                                          positions)):
        bearings = p.bearing[0] + p.bearing[1] * speed if j == len(setup.yaw) else 0.0
        yield part + bearings - force[j] - slope[j] * run


def _tables(p: PacingProblem, setup: Setup,
            ) -> tuple[DragArea, list[NDArray[np.int64] | int]]:
    """CdA of which Φ_1 .. Φ_m and Φ_rider are the drag, and the rows of each.

    Drag is linear in the CdA table, so each yaw angle of it has a force of its own.
    """
    m = len(setup.yaw)
    units = np.concatenate([np.ones((1, m)), np.eye(m)[1:]])
    rider = p.drag.area - setup.drag_area_change
    return DragArea(setup.yaw, np.concatenate([units, rider])), [*range(m), m + p.position]


def _pace_tangent(energy: NDArray[np.float64]) -> tuple[NDArray[np.float64], ...]:
    """Pace 2/(√(2e) + √(2e')), its slope along ē, and its slope along half e - e', (n,) each.

    Node 0 is fixed: the first step moves with its end alone, half as much as ē would say.
    """
    speed = np.sqrt(2 * energy)
    v0, v1 = speed[:-1], speed[1:]
    total = v0 + v1
    by_end = -2.0 / (total**2 * v1)
    by_start = np.concatenate([by_end[:1], -2.0 / (total[1:]**2 * v0[1:])])
    return 2.0 / total, by_start + by_end, by_start - by_end


def _curvature(program: ConvexProgram, energy: NDArray[np.float64], price: NDArray[np.float64],
               pace_price: NDArray[np.float64], setup: Setup, half_range: NDArray[np.float64],
               turn: float, steepest: NDArray[np.float64],
               ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """b_k and how far a step's Lagrangian dips below its plane [s], (n,) each, by sampling.

    `price` of the work row per mass, grown by `turn` at most, least `pace_price` on any set,
    `steepest` the most that moves a step.
    """
    p = program.problem
    mean = 0.5 * (energy[:-1] + energy[1:])
    at = _samples(program, mean)
    run = at - mean
    own = np.array([*levels(setup.drag_area_change), 1.0]) / p.effective_mass
    drag, loss = np.zeros_like(at), np.zeros_like(at)
    for share, span, rest in zip(own, half_range, _above_tangents(p, setup, mean, at),
                                 strict=False):
        drag += share * rest
        loss += span * np.abs(rest)
    drag -= turn * np.abs(drag)
    drag -= (1 + turn) * loss
    rise = price * drag
    rise += pace_price * _pace_rise(energy, mean, at)
    dips = 2.0 * np.maximum(-rise.min(axis=0), 0.0)
    rise += dips
    far = np.abs(run)
    # Greatest b for which the parabola, going on as a straight line once its slope is `steepest`,
    # stays below the rise.
    with np.errstate(divide="ignore", invalid="ignore"):
        needed = np.where(2 * rise <= steepest * far, 2 * rise / far**2,
                          np.where(rise < steepest * far, 0.5 * steepest**2 / (
                              steepest * far - rise), np.inf))
    return np.clip(needed.min(axis=0), 1e-12, 1e12), dips


def _samples(program: ConvexProgram, mean: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean energies (samples, n) between the bounds on speed, closer together near `mean`."""
    start = [program.start_energy]
    low, high = (0.5 * (ends[:-1] + ends[1:]) for ends in (
        np.concatenate([start, program.bottom]), np.concatenate([start, program.top])))
    near = mean * (1.0 + np.concatenate([-_NEAR[::-1], _NEAR])[:, None])
    far = np.concatenate([mean + _FAR[:, None] * (end - mean) for end in (low, high)])
    samples = np.clip(np.concatenate([near, far]), low, high)
    # Where a bound is met there is nothing to sample; take a place just inside.
    return np.where(np.abs(samples - mean) < 1e-6 * mean, mean * (1 + 1e-4), samples)


def _pace_rise(energy: NDArray[np.float64], mean: NDArray[np.float64],
               at: NDArray[np.float64]) -> NDArray[np.float64]:
    """Least that the pace lies above its tangent plane at mean energies `at` (samples, n).

    With √e = √(2ē) cos φ, √e' = √(2ē) sin φ and x = sin(π/4 - φ), half of e - e' is 2 ē x √(1 - x²)
    and the pace 2/(√(2e) + √(2e')) is 1/√(2ē (1 - x²)). The least of it above the plane is where
    x = k (1 - x²) (1 - 2x²) with k = tilt (2ē)^(3/2). Newton's method from |k|/(1 + √2 |k|), which
    is right for small and for large k, leaves 1e-12 after three rounds for any k.
    """
    pace, along, tilt = _pace_tangent(energy)
    root = np.sqrt(2 * at)
    k = tilt * (2 * at) * root
    size = np.abs(k)
    x = size / (1.0 + np.sqrt(2) * size)
    for _ in range(3):
        square = x * x
        x -= (x - size * (1.0 + square * (2 * square - 3.0))) / (
            1.0 + size * x * (6.0 - 8 * square))
    cosine = np.sqrt(1.0 - x * x)
    split = np.copysign(2 * at * x * cosine, k)
    rise = (1.0 / (root * cosine) - pace - along * (at - mean)
            - tilt * (split - 0.5 * (energy[:-1] - energy[1:])))
    end = np.maximum(2 * at[:, 0] - energy[0], 0.0)  # the start is fixed
    rise[:, 0] = (2.0 / (np.sqrt(2 * energy[0]) + np.sqrt(2 * end)) - pace[0]
                  - along[0] * (at[:, 0] - mean[0]))
    return np.asarray(np.maximum(rise, 0.0))
