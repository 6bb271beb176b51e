"""Plans of the job: the fastest for a set of kit, and the one in blocks that a person can ride."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.errors import Infeasible
from optimizer.pacing import plan_ride
from optimizer.pacing.blocks import (
    constant_power,
    constant_speed,
    recognisable_places,
    rideable,
)

if TYPE_CHECKING:
    from optimizer.job.values import Even, Job
    from optimizer.pacing import Block, Plan, RideablePlan
    from optimizer.physics import Setup

__all__ = ["plan_for", "ride_evenly", "ride_in_blocks"]


def plan_for(job: Job, setup: Setup, *, warm: Plan | None = None,
             measure_grid: bool = False) -> Plan:
    """Plan the job's ride with a set of kit; `warm` is a plan of a neighbouring job or set.

    Raises Infeasible, which names the limit, where there is no plan.
    """
    return plan_ride(job.course, job.conditions, job.rider, setup, step=job.options.step,
                     start_speed=job.options.start_speed, position=job.position, warm=warm,
                     measure_grid=measure_grid)


def ride_evenly(plan: Plan) -> Even | None:
    """Ride the plan's course at one power and at one speed, as is usual without a plan.

    None where no single power keeps within the limits.
    """
    from optimizer.job.values import Even

    try:
        level = constant_power(plan)
    except Infeasible:
        return None
    return Even(level.blocks[0].power, float(level.finish_time), constant_speed(plan.problem))


def ride_in_blocks(job: Job, plan: Plan, *, thorough: bool = True) -> RideablePlan:
    """Simplify a plan to the blocks that the job asks for, each with its main position.

    `thorough` as `rideable` has it.
    """
    few = rideable(plan, recognisable_places(job.course), blocks=job.options.blocks,
                   rounding=job.options.power_rounding, thorough=thorough)
    if job.position is None:
        return few
    return replace(few, blocks=tuple(
        replace(block, position=_main_position(job, plan, block)) for block in few.blocks))


def _main_position(job: Job, plan: Plan, block: Block) -> str:
    """Name the position in which most of a block's time is ridden."""
    middle = 0.5 * (plan.distance[:-1] + plan.distance[1:])
    inside = (middle > block.start) & (middle < block.end)
    time = np.bincount(plan.problem.position[inside], weights=np.diff(plan.time)[inside],
                       minlength=len(job.rider.positions))
    return job.rider.positions[int(np.argmax(time))].name
