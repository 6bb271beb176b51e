"""Courses of constant stretches with hardly any inertia, as steady-state studies take them."""

from __future__ import annotations

import numpy as np

from optimizer.pacing import PacingProblem
from optimizer.physics import GRAVITY, DragArea

__all__ = ["stretches"]


def stretches(lengths, *, step, mass, area, rolling, power, grades=None, winds=None, density=1.2234,
              efficiency=1.0, bearing=(0.0, 0.0), inertia=0.1, gravity=GRAVITY,
              **fields) -> PacingProblem:
    """Problem of stretches of `lengths` [m] in steps of `step`; `power` is CP [W].

    `mass` with `gravity` weighs, `inertia` [kg] has to be sped up.
    """
    counts = [round(length / step) for length in lengths]

    def along(values):
        return np.repeat(np.zeros(len(lengths)) if values is None else np.array(values, float),
                         counts)

    n = sum(counts)
    drawn = {
        "step": along([length / count for length, count in zip(lengths, counts, strict=True)]),
        "grade": along(grades), "headwind": along(winds), "crosswind": np.zeros(n),
        "air_density": np.full(n, density), "rolling_resistance": np.full(n, rolling),
        "speed_limit": np.full(n + 1, np.inf), "power_limit": np.full(n, 10 * power),
        "critical_power": np.full(n, power), "recovery": np.ones(n),
        "drag": DragArea.constant(area), "position": np.zeros(n, dtype=np.int64),
        "mass": mass * gravity / GRAVITY, "effective_mass": inertia,
        "drivetrain_efficiency": efficiency, "bearing": bearing, "w_prime": 1e7}
    return PacingProblem(**(drawn | fields))
