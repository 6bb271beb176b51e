"""From rider and weather to the race day: what height and heat leave, where to coast, positions."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.day import RaceDay
from optimizer.pacing.planner import pedalling_of, plan_ride
from optimizer.pacing.positions import choose_positions
from optimizer.rider.environment import critical_power_factor, environment_cautions

if TYPE_CHECKING:
    from optimizer.conditions import Conditions
    from optimizer.course import Course
    from optimizer.pacing.plan import Plan
    from optimizer.physics import Setup
    from optimizer.rider import Rider

__all__ = ["prepared_day", "race_day", "with_pedalling"]


def race_day(course: Course, conditions: Conditions, rider: Rider, bike: Setup, *,
             step: float | None = None, start_speed: float = 0.0) -> RaceDay:
    """Give course, weather and rider as the day leaves them.

    CP takes the mean over the course of what the rider's chosen relations to height and heat say.
    Positions, and the stretches on which the rider is too fast to pedal, are those of the best
    plan with `bike`; every set of kit then shares them.

    Parameters
    ----------
    course : the road
    conditions : air and wind over place and time
    rider : as tested
    bike : bike and kit that set the positions
    step : m, longest step of the computation; None takes what suits the course
    start_speed : m/s

    Returns
    -------
    the day, which holds all that a plan needs but the kit

    Raises
    ------
    Infeasible
        where no plan meets the limits; it names the limit that binds
    """
    return prepared_day(course, conditions, rider, bike, step=step, start_speed=start_speed)[0]


def prepared_day(course: Course, conditions: Conditions, rider: Rider, bike: Setup, *,
                 step: float | None = None, start_speed: float = 0.0) -> tuple[RaceDay, Plan]:
    """Give the day of `race_day`, and the plan that it comes from for others to start from.

    Parameters
    ----------
    course : the road
    conditions : air and wind over place and time
    rider : as tested
    bike : bike and kit that set the positions
    step : m, longest step of the computation; None takes what suits the course
    start_speed : m/s

    Returns
    -------
    the day; a plan near the best one with `bike` on that day, without a bound

    Raises
    ------
    Infeasible
        as `race_day`
    """
    factor = float(np.mean(critical_power_factor(rider, course.elevation,
                                                 conditions.temperature)))
    day = RaceDay(course, conditions,
                  replace(rider, critical_power=factor * rider.critical_power), step=step,
                  start_speed=start_speed, cautions=tuple(environment_cautions(rider)))
    if len(rider.positions) == 1:
        return _with_pedalling(day, bike)
    plan = plan_ride(day, bike, bounded=False)
    day = replace(day, pedalling=pedalling_of(plan, None))
    chosen = choose_positions(day, bike, warm=plan)
    day = replace(day, position=chosen.position)
    return replace(day, pedalling=pedalling_of(chosen.plan, day.pedalling)), chosen.plan


def with_pedalling(day: RaceDay, bike: Setup) -> RaceDay:
    """Give a day, whose weather or rider may be new, its own pedalling; positions stay.

    Parameters
    ----------
    day : whose rider counts as expected, whatever margin the day keeps
    bike : bike and kit of the plan that says where the rider is too fast to pedal

    Returns
    -------
    the day with its stretches of coasting

    Raises
    ------
    Infeasible
        as `race_day`
    """
    return _with_pedalling(day, bike)[0]


def _with_pedalling(day: RaceDay, bike: Setup) -> tuple[RaceDay, Plan]:
    plan = plan_ride(replace(day.keeping(1.0), pedalling=None), bike, bounded=False)
    return replace(day, pedalling=pedalling_of(plan, pedalling_of(plan, None))), plan
