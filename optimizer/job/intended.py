"""The ride that was intended: the plan of a job, without what only its report needs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimizer.job.plans import day_of, ride_in_blocks
from optimizer.job.replan import replan
from optimizer.pacing import plan_ride
from optimizer.ride.debrief import Intended

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from optimizer.job.values import Job

__all__ = ["intended_ride"]


def intended_ride(job: Job, items: Sequence[str] | None = None,
                  progress: Callable[[str], None] = lambda _words: None) -> Intended:
    """Plan as `run` does, for a ride to be held against.

    Parameters
    ----------
    job : as `read_scenario` gives it
    items : to ride with; the kit of the budget by default
    progress : called with words on what is under way

    Returns
    -------
    what the ride is held against

    Raises
    ------
    InputError
        for an item that the catalogue does not hold
    Infeasible
        where no plan meets the limits
    """
    from optimizer.kit import choose_kit

    if items is not None:
        result = replan(job, items, progress)
        day, plan, few = result.day, result.plan, result.rideable
        setup = result.choice.best.setup
    else:
        day = day_of(job)
        progress("which kit was planned")
        setup = choose_kit(day, job.baseline, job.catalogue, job.effects, job.budget,
                           job.currency, rules=job.rules, progress=progress,
                           least_gain=job.options.least_gain).best.setup
        progress("how it was to be ridden")
        plan = plan_ride(day, setup)
        few = ride_in_blocks(day, plan, job.options)
    return Intended(day.course, day.conditions, day.rider, setup, plan.problem, plan.distance,
                    few.power, few.time, few.reserve)
