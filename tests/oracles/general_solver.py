"""The pacing problem written out for a general solver: CasADi and IPOPT, the true model."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import casadi as ca
import numpy as np

from optimizer.physics import GRAVITY
from optimizer.rider.recovery import SLOWS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.pacing import PacingProblem

__all__ = ["Found", "general_solution"]

FASTEST = 45.0


@dataclass(frozen=True)
class Found:
    finish_time: float
    speed: NDArray[np.float64]
    power: NDArray[np.float64]
    settled: bool


def general_solution(p: PacingProblem, start_power: NDArray[np.float64] | None = None,
                     start_speed: NDArray[np.float64] | None = None) -> Found:
    """Build and solve; pace is 2/(v + v'), drag acts at the mean energy. From a slow ride unless
    a start is given."""
    n = p.steps
    e, W, P = ca.SX.sym("e", n), ca.SX.sym("W", n), ca.SX.sym("P", n)
    e0 = 0.5 * min(p.start_speed, p.speed_limit[0], FASTEST) ** 2
    energy, reserve = ca.vertcat(e0, e), ca.vertcat(p.w_prime, W)
    v = ca.sqrt(2 * energy)
    pace = 2 / (v[:-1] + v[1:])
    mean = ca.sqrt(energy[:-1] + energy[1:])
    along = mean + p.headwind
    q2 = along**2 + p.crosswind**2 + 1e-12
    force = 0.5 * p.air_density * _area(p, along) * along * ca.sqrt(q2)
    cosine = 1 / np.sqrt(1 + p.grade**2)
    rest = p.mass * GRAVITY * cosine * (p.grade + p.rolling_resistance)
    work = P * pace
    balance = ((p.effective_mass / p.step * (energy[1:] - energy[:-1])
                - p.drivetrain_efficiency * work + force + p.bearing[0] + p.bearing[1] * mean
                + rest) / 100.0)
    net = p.step * (p.critical_power - P) * pace
    rows = [balance]
    if SLOWS[p.recovery_law]:
        refill = p.w_prime - (p.w_prime - reserve[:-1]) * ca.exp(-p.recovery * net / p.w_prime)
        # The lower of both holds on either side of CP.
        rows += [(reserve[1:] - line) / 1000.0 for line in (reserve[:-1] + net, refill)]
    else:
        rows += [(reserve[1:] - reserve[:-1] - share * net) / 1000.0
                 for share in ((1.0,) if np.all(p.recovery == 1.0) else (1.0, p.recovery))]
    if p.effort is not None:
        effort = ca.sum1(((P / p.critical_power) ** p.effort.exponent - p.effort.per_second)
                         * pace * p.step)
        rows.append((effort - p.effort.budget) / 100.0)
    x = ca.vertcat(e, W, P)
    g = ca.vertcat(*rows)
    solver = ca.nlpsol("s", "ipopt", {"x": x, "f": ca.dot(pace, p.step), "g": g}, {
        "print_time": False, "ipopt.print_level": 0, "ipopt.sb": "yes", "ipopt.tol": 1e-9,
        "ipopt.max_iter": 1000})
    top = 0.5 * np.minimum(p.speed_limit[1:], FASTEST) ** 2
    low = np.concatenate([np.full(n, 0.5 * p.lowest_speed**2), np.full(n, p.reserve_floor),
                          np.zeros(n)])
    high = np.concatenate([top, np.full(n, p.w_prime), p.power_limit])
    begin = np.concatenate([
        np.minimum(18.0, 0.9 * top) if start_speed is None else 0.5 * start_speed[1:] ** 2,
        np.full(n, 0.5 * (p.w_prime + p.reserve_floor)),
        0.9 * np.minimum(p.critical_power, p.power_limit) if start_power is None else start_power])
    out = solver(x0=begin, lbx=low, ubx=high, lbg=-np.inf, ubg=0.0)
    x = np.asarray(out["x"]).ravel()
    return Found(float(out["f"]), np.sqrt(2 * np.concatenate([[e0], x[:n]])), x[2 * n:],
                 bool(solver.stats()["success"]))


def _area(p: PacingProblem, along: ca.SX) -> ca.SX | NDArray[np.float64]:
    """CdA at the yaw of each step: the cubic pieces of the table, a degree wide, written out."""
    if len(p.drag.yaw) == 1:
        return p.drag.area[p.position, 0]
    width = np.radians(1.0)
    count = int(np.ceil(p.drag.yaw[-1] / width)) + 1
    middle = (np.arange(count) + 0.5) * width
    yaw = ca.atan2(np.abs(p.crosswind), along)
    folded = ca.fmin(yaw, np.pi - yaw)
    columns = []
    for k in range(p.steps):
        value, slope, curvature = p.drag.with_slopes(middle, p.position[k])
        later, sooner = (p.drag.with_slopes(middle + d, p.position[k])[2]
                         for d in (0.25 * width, -0.25 * width))
        third = (later - sooner) / (0.5 * width)
        whole = None
        for cell in range(count - 1, -1, -1):
            u = ca.fmin(folded[k], count * width) - middle[cell]
            piece = value[cell] + u * (
                slope[cell] + u * (curvature[cell] / 2 + u * third[cell] / 6))
            whole = piece if whole is None else ca.if_else(folded[k] < (cell + 1) * width, piece,
                                                           whole)
        columns.append(whole)
    return ca.vertcat(*columns)
