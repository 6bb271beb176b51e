"""What a little less of each force is worth, in seconds: the one place where it is written."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.physics import GRAVITY
from optimizer.physics.road_load import drag_by_yaw

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from optimizer.pacing import Plan
    from optimizer.physics import Setup

__all__ = ["by_amount", "marginal_values"]


def marginal_values(plan: Plan, setup: Setup) -> NDArray[np.float64]:
    """Give the derivative of re-optimised times, step by step (envelope theorem).

    Parameters
    ----------
    plan : plan of the ride
    setup : that of the plan, with m yaw angles

    Returns
    -------
    (n, m + 4) by CdA [s/m²] at each yaw angle, Crr [s], mass [s/kg], drivetrain efficiency [s], and
    effective mass [s/kg]
    """
    p = plan.problem
    energy = 0.5 * plan.speed[:, None]**2
    pace = (np.diff(plan.time) / p.step)[:, None]
    newtons = by_amount(
        plan, setup, slice(None), 0.5 * (energy[:-1] + energy[1:]),
        np.diff(energy, axis=0) / p.step[:, None], p.headwind[:, None], p.crosswind[:, None],
        plan.power[:, None] * pace)
    return np.stack([plan.seconds_per_newton * each[:, 0] for each in newtons], axis=-1)


def by_amount(plan: Plan, setup: Setup, steps: slice, mean: NDArray[np.float64],
              rise: NDArray[np.float64], headwind: NDArray[np.float64],
              crosswind: NDArray[np.float64],
              work: NDArray[np.float64]) -> Iterator[NDArray[np.float64]]:
    """Newtons per unit of each of the m + 4 amounts in turn, on some of the steps.

    Parameters
    ----------
    plan : plan of the ride
    setup : set of kit
    steps : some of the n
    mean : (n, k) J/kg, mean energies
    rise : (n, k) of energy a metre [J/kg/m]
    headwind, crosswind : (n, k) m/s
    work : (n, k) put in a metre [N]

    Returns
    -------
    (n, k) arrays, m + 4 of them
    """
    p = plan.problem
    speed = np.sqrt(2 * mean)
    weight = (GRAVITY / np.sqrt(1.0 + p.grade[steps]**2))[:, None]
    crr = p.rolling_resistance[steps, None]
    yield from drag_by_yaw(speed, headwind, crosswind, p.air_density[steps, None], setup.yaw)
    yield p.mass * weight * crr / setup.rolling_resistance
    yield rise + weight * (p.grade[steps, None] + crr)
    yield -work
    yield rise
