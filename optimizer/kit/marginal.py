"""What a little less of each force is worth, in seconds: the one place where it is written."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.physics import GRAVITY, DragArea, aerodynamic_force

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.pacing import Plan
    from optimizer.physics import Setup

__all__ = ["by_amount", "marginal_values"]


def marginal_values(plan: Plan, setup: Setup) -> NDArray[np.float64]:
    """(n, m + 4) derivative of the time of re-optimised plans, step by step (envelope theorem).

    By CdA [s/m²] at each yaw angle of the plan's own `setup`, Crr [s], mass [s/kg], drivetrain
    efficiency [s], and effective mass [s/kg].
    """
    p = plan.problem
    energy = 0.5 * plan.speed[:, None]**2
    price = plan.seconds_per_newton[:, None]
    pace = (np.diff(plan.time) / p.step)[:, None]
    return by_amount(
        plan, setup, price, 0.5 * (energy[:-1] + energy[1:]),
        np.diff(energy, axis=0) / p.step[:, None], p.headwind[:, None], p.crosswind[:, None],
        plan.power[:, None] * pace)[:, 0]


def by_amount(plan: Plan, setup: Setup, price: NDArray[np.float64], mean: NDArray[np.float64],
              rise: NDArray[np.float64], headwind: NDArray[np.float64],
              crosswind: NDArray[np.float64], work: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, k, m + 4) seconds per newton `price` (n, k) times newtons per unit of each amount.

    At mean energies `mean` [J/kg], `rise` of energy and `work` put in per metre, each (n, k).
    """
    p = plan.problem
    speed = np.sqrt(2 * mean)
    units = DragArea(setup.yaw, np.eye(len(setup.yaw)))
    weight = (GRAVITY / np.sqrt(1.0 + p.grade**2))[:, None]
    crr = p.rolling_resistance[:, None]
    by = [aerodynamic_force(speed, headwind, crosswind, p.air_density[:, None], units,
                            np.full((p.steps, 1), j))[0] for j in range(len(setup.yaw))]
    by += [p.mass * weight * crr / setup.rolling_resistance,
           rise + weight * (p.grade[:, None] + crr), -work, rise]
    return np.stack([price * each for each in by], axis=-1)
