"""The kit of a job: the choice under uncertainty, and its named sets side by side.

Command line and window both ask here, so that they say the same.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from optimizer.errors import InputError
from optimizer.job.plans import day_of
from optimizer.uncertainty import FORECAST

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from optimizer.job.values import Job
    from optimizer.kit.compare import Comparison
    from optimizer.kit.decision import KitDecision

__all__ = ["kit_comparison", "kit_decision"]


def kit_decision(job: Job, *, by: str = FORECAST, level: float = 0.9, target: float = 0.0,
                 stages: Sequence[float] = (), draws: int | None = None, twice: bool = False,
                 progress: Callable[[str], None] = lambda _words: None) -> KitDecision:
    """Choose the kit of a job as `optimizer.kit.decision.decide_kit` does.

    Parameters
    ----------
    job : as `read_scenario` gives it
    by, level, target : measure, its level, and the time to beat [s]
    stages : money in all at each stage, rising
    draws : days to draw, those of the job by default
    twice : prove the choice once more by an integer program
    progress : called with words on what is under way

    Returns
    -------
    the choice, its rivals, what to buy in which order, and what to test first

    Raises
    ------
    InputError
        for a measure that is none
    Infeasible
        where the budget is negative or no plan meets the limits
    """
    from optimizer.kit.decision import decide_kit

    return decide_kit(
        day_of(job), job.baseline, job.catalogue, job.effects, job.budget, job.currency, by=by,
        level=level, target=target, count=draws or job.options.draws, seed=job.options.seed,
        least_gain=job.options.least_gain, stages=stages, rules=job.rules, twice=twice,
        progress=progress)


def kit_comparison(job: Job, file: str, *, draws: int | None = None,
                   progress: Callable[[str], None] = lambda _words: None) -> Comparison:
    """Compare the named sets of a job, all others with the first.

    Parameters
    ----------
    job : as `read_scenario` gives it
    file : where its sets are named, for a message
    draws : days to draw, those of the job by default
    progress : called with words on what is under way

    Returns
    -------
    time [s], range and chance of being faster for each set, and what makes the difference

    Raises
    ------
    InputError
        where fewer than two sets are named
    Infeasible
        where no plan meets the limits
    """
    from optimizer.kit.compare import compare_sets
    from optimizer.kit.evaluator import pacing_evaluator

    if len(job.named_sets) < 2:
        raise InputError(file, "", f"has {'one' if job.named_sets else 'no'} named set, "
                         "and a comparison needs two",
                         'name another: [[set]], and below it name = "..." and items = [...]')
    day = day_of(job)
    progress("a plan for each set")
    return compare_sets(day, job.baseline, job.catalogue, job.effects, job.named_sets,
                        pacing_evaluator(day, job.baseline), count=draws or job.options.draws,
                        seed=job.options.seed)
