"""Plans of the job: the fastest for a set of kit, and the one in blocks that a person can ride."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.errors import Infeasible
from optimizer.pacing import race_day
from optimizer.pacing.blocks import (
    constant_power,
    constant_speed,
    recognisable_places,
    rideable,
)

if TYPE_CHECKING:
    from optimizer.day import RaceDay
    from optimizer.job.values import Even, Job, Options
    from optimizer.pacing import Block, Plan, RideablePlan

__all__ = ["day_of", "ride_evenly", "ride_in_blocks"]


def day_of(job: Job) -> RaceDay:
    """Give the race day of a job: positions and coasting as with what is owned.

    Raises Infeasible, which names the limit, where no plan meets it.
    """
    return race_day(job.course, job.conditions, job.rider, job.baseline, step=job.options.step,
                    start_speed=job.options.start_speed)


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


def ride_in_blocks(day: RaceDay, plan: Plan, options: Options, *,
                   thorough: bool = True) -> RideablePlan:
    """Simplify a plan to the blocks that the options ask for, each with its main position.

    `thorough` as `rideable` has it.
    """
    few = rideable(plan, recognisable_places(day.course), blocks=options.blocks,
                   rounding=options.power_rounding, thorough=thorough)
    if day.position is None:
        return few
    return replace(few, blocks=tuple(
        replace(block, position=_main_position(day, plan, block)) for block in few.blocks))


def _main_position(day: RaceDay, plan: Plan, block: Block) -> str:
    """Name the position in which most of a block's time is ridden."""
    middle = 0.5 * (plan.distance[:-1] + plan.distance[1:])
    inside = (middle > block.start) & (middle < block.end)
    time = np.bincount(plan.problem.position[inside], weights=np.diff(plan.time)[inside],
                       minlength=len(day.rider.positions))
    return day.rider.positions[int(np.argmax(time))].name
