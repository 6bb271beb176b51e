"""Rides of hours: the effort limit that fits the ride's own duration, and what sparing costs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from optimizer.pacing.planner import plan_ride
from optimizer.rider.effort import cap_effort

if TYPE_CHECKING:
    from optimizer.conditions import Conditions
    from optimizer.course import Course
    from optimizer.pacing.plan import Plan
    from optimizer.physics import Setup
    from optimizer.rider import Rider

__all__ = ["Sparing", "plan_within_effort", "price_of_sparing"]

_ROUNDS: Final = 6  # each brings the duration about twenty times closer
_AGREED: Final = 0.5  # s


@dataclass(frozen=True)
class Sparing:
    """What it costs to leave something in the legs.

    `spared` is the plan with the rider's share of effort, `free` the one that spends all that
    can be held for its duration; `rider` holds the effort limit of the former.
    """

    rider: Rider
    spared: Plan
    free: Plan

    @property
    def seconds(self) -> float:
        """Time that sparing costs on the ride."""
        return self.spared.finish_time - self.free.finish_time


def plan_within_effort(course: Course, conditions: Conditions, rider: Rider, setup: Setup, *,
                       step: float | None = None, start_speed: float = 0.0,
                       warm: Plan | None = None) -> tuple[Rider, Plan]:
    """Plan a ride whose effort limit is that of its own duration.

    The limit falls with the duration and the duration grows as the limit falls, so plan and
    limit are repeated until they agree; the change shrinks about twenty-fold each time.
    Returns the rider with that limit, and the plan. Raises Infeasible as `plan_ride` does.
    """
    capped = replace(rider, effort_rate=float("inf")) if warm is None else cap_effort(
        rider, warm.finish_time)
    plan = plan_ride(course, conditions, capped, setup, step=step, start_speed=start_speed,
                     warm=warm)
    for _ in range(_ROUNDS):
        before, capped = plan.finish_time, cap_effort(rider, plan.finish_time)
        plan = plan_ride(course, conditions, capped, setup, step=step, start_speed=start_speed,
                         warm=plan)
        if abs(plan.finish_time - before) < _AGREED:
            break
    return capped, plan


def price_of_sparing(course: Course, conditions: Conditions, rider: Rider, setup: Setup, *,
                     step: float | None = None, start_speed: float = 0.0) -> Sparing:
    """Plan with the rider's share of effort and without, to see what sparing costs."""
    whole = replace(rider, effort_share=1.0, time_share=1.0)
    free = plan_within_effort(course, conditions, whole, setup, step=step,
                              start_speed=start_speed)[1]
    if rider.effort_share >= 1.0 and rider.time_share >= 1.0:
        return Sparing(cap_effort(rider, free.finish_time), free, free)
    capped, spared = plan_within_effort(course, conditions, rider, setup, step=step,
                                        start_speed=start_speed, warm=free)
    return Sparing(capped, spared, free)
