"""The sequence of the job: kit, plan, the plan a person can ride, and how sure all that is."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.job.outlook import policies, sensitivity_table, spread
from optimizer.job.values import Job, Result
from optimizer.pacing import plan_ride
from optimizer.rider.effort import cap_effort
from optimizer.rider.environment import critical_power_factor, environment_cautions

if TYPE_CHECKING:
    from collections.abc import Callable

    from optimizer.pacing import Plan
    from optimizer.physics import Setup

__all__ = ["on_the_day", "plan_for", "run"]

_ROUNDS = 4  # of duration and effort limit until they agree


def run(job: Job, tell: Callable[[str], None] = lambda _words: None) -> Result:
    """Choose kit, plan the ride with it, make it rideable, and say how sure it is.

    `tell` is called with words on what is under way. Raises Infeasible, which names the limit,
    where no plan meets it.
    """
    from optimizer.kit import choose_kit
    from optimizer.pacing import rideable

    tell("what the rider can do on the day")
    job = on_the_day(job)
    tell("which kit")
    choice = choose_kit(
        job.course, job.conditions, job.rider, job.baseline, job.catalogue, job.effects,
        job.budget, currency=job.currency, rules=job.rules, step=job.options.step,
        start_speed=job.options.start_speed)
    tell("how to ride it")
    baseline_plan = plan_for(job, choice.owned.setup)
    plan = plan_for(job, choice.best.setup, warm=baseline_plan, measure_grid=True)
    few = rideable(plan, job.course, blocks=job.options.blocks,
                   rounding=job.options.power_rounding)
    tell("how sure it is")
    return Result(
        job=job, choice=choice, plan=plan, baseline_plan=baseline_plan, rideable=few,
        spread=spread(job, choice.best, plan),
        sensitivities=sensitivity_table(job, choice.best, plan),
        policies=policies(job, choice.best.setup, plan))


def plan_for(job: Job, setup: Setup, *, warm: Plan | None = None,
             measure_grid: bool = False) -> Plan:
    """Plan the job's ride with a set of kit."""
    return plan_ride(job.course, job.conditions, job.rider, setup, step=job.options.step,
                     start_speed=job.options.start_speed, warm=warm, measure_grid=measure_grid)


def on_the_day(job: Job) -> Job:
    """Return the job with the rider as height, heat and the length of the ride leave them.

    CP takes the mean over the course of what the rider's chosen relations say; the effort limit
    is that of the ride's own duration with the kit of today, found by repeating plan and limit.
    """
    rider, course = job.rider, job.course
    factor = float(np.mean(critical_power_factor(rider, course.elevation,
                                                 job.conditions.temperature)))
    fresh = replace(rider, critical_power=factor * rider.critical_power)
    job = replace(job, rider=fresh,
                  assumptions=(*job.assumptions, *environment_cautions(rider)))
    plan = plan_for(job, job.baseline)
    for _ in range(_ROUNDS):
        capped = replace(job, rider=cap_effort(fresh, plan.finish_time))
        if capped.rider == job.rider:
            break
        job, before = capped, plan.finish_time
        plan = plan_for(job, job.baseline, warm=plan)
        if abs(plan.finish_time - before) < 1.0:
            break
    return job
