"""From rider and weather to the race day: what height and heat leave, where to coast, positions."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.conditions.air import temperature_along
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

__all__ = ["meeting", "prepared_day", "race_day", "with_pedalling"]


def race_day(course: Course, conditions: Conditions, rider: Rider, bike: Setup, *,
             step: float | None = None, start_speed: float = 0.0) -> RaceDay:
    """Give course, weather and rider as the day leaves them.

    CP is what the rider's chosen relations to height and heat leave: on each step for its own
    height and hour, in the rider of the day the mean over the course.
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
    day = meeting(RaceDay(course, conditions, rider, step=step, start_speed=start_speed,
                          cautions=tuple(environment_cautions(rider))))
    if len(rider.positions) == 1:
        day, plan = _with_pedalling(day, bike)
        return meeting(day, plan), plan
    plan = plan_ride(day, bike, bounded=False)
    day = replace(meeting(day, plan), pedalling=pedalling_of(plan, None))
    chosen = choose_positions(day, bike, warm=plan)
    day = replace(day, position=chosen.position)
    return replace(day, pedalling=pedalling_of(chosen.plan, day.pedalling)), chosen.plan


def meeting(day: RaceDay, plan: Plan | None = None) -> RaceDay:
    """Give the day whose rider has the CP that height and heat leave in the mean over the course.

    Parameters
    ----------
    day : with the course and the weather
    plan : that says when the rider is where; None for the temperatures of the start

    Returns
    -------
    the day; itself where the rider has no relation to height or heat
    """
    course, rider = day.course, day.rider
    if rider.altitude_response == rider.heat_response == "none":
        return day
    time = np.zeros_like(course.distance) if plan is None else np.interp(
        course.distance, plan.distance, plan.time)
    left = float(np.mean(critical_power_factor(rider, course.elevation, temperature_along(
        day.conditions, course.elevation, course.distance, time))))
    return replace(day, left=left, rider=replace(
        rider, critical_power=rider.critical_power * left / (day.left or 1.0)))


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
