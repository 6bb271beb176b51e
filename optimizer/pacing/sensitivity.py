"""What moves the finish time, from the multipliers of one plan (envelope theorem).

At the optimum the derivative of the finish time by any parameter is the multiplier of the row it
stands in times the row's derivative, with the plan held still; re-planning changes it only in
second order.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.pacing.convex import drag_in_energy
from optimizer.physics.road_load import aerodynamic_force, road_force

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.pacing.plan import Plan

__all__ = ["Sensitivities", "critical_joule", "sensitivities"]


@dataclass(frozen=True)
class Sensitivities:
    """Seconds of finish time per unit; (n,) arrays sum to the effect of a change everywhere.

    Attributes
    ----------
    drag_area : (n,) s/m², CdA changed at every yaw alike
    yaw : (n,) rad, |yaw| at which each step is ridden, to weigh changes that depend on it
    rolling_resistance : (n,) s per unit of Crr at the tyre's reference surface
    mass : (n,) s/kg, inertia, gravity and rolling
    air_density : (n,) s per kg/m³
    headwind, crosswind : (n,) s per m/s
    drivetrain_efficiency : (n,) s per unit
    critical_power : (n,) s/W
    power_limit : (n,) s/W
    w_prime : s/J
    speed_limit : (n + 1,) s per m/s
    """

    drag_area: NDArray[np.float64]
    yaw: NDArray[np.float64]
    rolling_resistance: NDArray[np.float64]
    mass: NDArray[np.float64]
    air_density: NDArray[np.float64]
    headwind: NDArray[np.float64]
    crosswind: NDArray[np.float64]
    drivetrain_efficiency: NDArray[np.float64]
    critical_power: NDArray[np.float64]
    power_limit: NDArray[np.float64]
    w_prime: float
    speed_limit: NDArray[np.float64]


def critical_joule(plan: Plan) -> NDArray[np.float64]:
    """Seconds won by one more joule of CP on a step, by reserve and effort row together.

    Parameters
    ----------
    plan : of n steps

    Returns
    -------
    (n,) s/J
    """
    p = plan.problem
    value = plan.seconds_per_critical_joule
    if p.effort is not None:
        by = p.effort.exponent
        value = value + (plan.seconds_per_effort * by
                         * (plan.power / p.critical_power) ** by / p.critical_power)
    return np.asarray(value)


def sensitivities(plan: Plan) -> Sensitivities:
    """Differentiate the finish time of a plan by everything it rests on.

    Envelope theorem: the multipliers of the plan times the derivatives of its rows, at the plan.

    Parameters
    ----------
    plan : with its multipliers

    Returns
    -------
    seconds per SI unit of each quantity, by step where it has steps
    """
    p = plan.problem
    energy = 0.5 * plan.speed**2
    mean = 0.5 * (energy[:-1] + energy[1:])
    speed = np.sqrt(2 * mean)
    along = speed + p.headwind
    q = np.sqrt(along**2 + p.crosswind**2)
    newton = plan.seconds_per_newton
    drag = drag_in_energy(p, mean)[0] - p.bearing[1] * speed
    unit = road_force(p.grade, 1.0, 0.0)
    rolling = road_force(p.grade, 1.0, 1.0) - unit
    time = np.diff(plan.time)
    by_wind = aerodynamic_force(speed, p.headwind, p.crosswind, p.air_density, p.drag,
                                p.position)[1]
    # A rider of more CP also spends less of it by W', of which the allowance is a part.
    allowed = 0.0 if p.effort is None else (plan.seconds_per_effort * p.effort.by_critical_power
                                            / plan.finish_time)
    small = 1e-4
    by_cross = (aerodynamic_force(speed, p.headwind, np.abs(p.crosswind) + small, p.air_density,
                                  p.drag, p.position)[0] - drag) / small
    return Sensitivities(
        drag_area=newton * 0.5 * p.air_density * along * q,
        yaw=np.arctan2(np.abs(p.crosswind), along),
        rolling_resistance=newton * p.mass * rolling * p.rolling_factor,
        mass=newton * (np.diff(energy) / p.step + unit + p.rolling_resistance * rolling),
        air_density=newton * drag / p.air_density,
        headwind=newton * by_wind, crosswind=newton * by_cross,
        drivetrain_efficiency=-newton * plan.power * time / p.step,
        critical_power=-(critical_joule(plan) + allowed) * time,
        power_limit=-plan.seconds_per_limit_joule * time,
        w_prime=-plan.seconds_per_reserve_joule - (
            0.0 if p.effort is None else plan.seconds_per_effort * p.effort.by_w_prime),
        speed_limit=-plan.seconds_per_speed)
