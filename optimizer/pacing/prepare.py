"""From rider and weather to the race day: what height and heat leave, where to coast, positions."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from optimizer.day import RaceDay
from optimizer.pacing.planner import plan_ride
from optimizer.pacing.positions import choose_positions
from optimizer.rider.environment import critical_power_factor, environment_cautions

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.conditions import Conditions
    from optimizer.course import Course
    from optimizer.pacing.plan import Plan
    from optimizer.physics import Setup
    from optimizer.rider import Rider

__all__ = ["race_day"]

_ROUNDS: Final = 4  # of plan and stretches to coast
_NO_POWER: Final = 1.0  # W
_OVER: Final = 1e-3  # of the pedalling speed


def race_day(course: Course, conditions: Conditions, rider: Rider, bike: Setup, *,
             step: float | None = None, start_speed: float = 0.0) -> RaceDay:
    """Give course, weather and rider as the day leaves them.

    CP takes the mean over the course of what the rider's chosen relations to height and heat say.
    Positions, and the stretches on which the rider is too fast to pedal, are those of the best
    plan with `bike`; every set of kit then shares them.

    Parameters
    ----------
    step, start_speed : m, m/s, as `RaceDay` has them

    Raises Infeasible, which names the limit, where no plan meets it.
    """
    factor = float(np.mean(critical_power_factor(rider, course.elevation,
                                                 conditions.temperature)))
    day = RaceDay(course, conditions,
                  replace(rider, critical_power=factor * rider.critical_power), step,
                  start_speed, cautions=tuple(environment_cautions(rider)))
    day, plan = _coasted(day, bike, None)
    if len(rider.positions) > 1:
        chosen = choose_positions(day, bike, warm=plan)
        day, _ = _coasted(replace(day, position=chosen.position), bike, chosen.plan)
    return day


def _coasted(day: RaceDay, bike: Setup, plan: Plan | None) -> tuple[RaceDay, Plan]:
    """Find where the plan rolls faster than the rider pedals, and plan without power there."""
    top = day.rider.pedalling_speed * (1.0 + _OVER)
    plan = plan_ride(day, bike, warm=plan) if plan is None else plan
    for _ in range(_ROUNDS):
        pedalled = (plan.speed[1:] > top) & (plan.power > _NO_POWER)
        if not pedalled.any():
            break
        coasting: NDArray[np.bool_] = pedalled if day.coasting is None else (
            day.coasting | pedalled)
        day = replace(day, coasting=coasting)
        plan = plan_ride(day, bike, warm=plan)
    return day, plan
