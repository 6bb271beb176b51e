"""What a little less of each force is worth, in seconds: the one place where it is written."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.physics import GRAVITY
from optimizer.physics.road_load import drag_by_yaw

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

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
        plan, setup, slice(None),
        drag_by_yaw(np.sqrt(energy[:-1] + energy[1:]), p.headwind[:, None], p.crosswind[:, None],
                    p.air_density[:, None], setup.yaw),
        np.diff(energy, axis=0) / p.step[:, None], plan.power[:, None] * pace)
    return np.stack([plan.seconds_per_newton * each[:, 0] for each in newtons], axis=-1)


def by_amount(plan: Plan, setup: Setup, steps: slice, by_yaw: Iterable[NDArray[np.float64]],
              rise: NDArray[np.float64],
              work: NDArray[np.float64]) -> Iterator[NDArray[np.float64]]:
    """Newtons per unit of each of the m + 4 amounts in turn, on some of the steps.

    Parameters
    ----------
    plan : plan of the ride
    setup : set of kit
    steps : some of the n
    by_yaw : m of (n, k), drag per CdA at each yaw angle [N/m²]
    rise : (n, k) of energy a metre [J/kg/m]
    work : (n, k) put in a metre [N]

    Returns
    -------
    (n, k) arrays, m + 4 of them
    """
    p = plan.problem
    weight = (GRAVITY / np.sqrt(1.0 + p.grade[steps]**2))[:, None]
    crr = p.rolling_resistance[steps, None]
    yield from by_yaw
    yield p.mass * weight * crr / setup.rolling_resistance
    yield rise + weight * (p.grade[steps, None] + crr)
    yield -work
    yield rise
