"""The sequence of the job: kit, plan, the plan a person can ride, and how sure all that is."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.conditions.air import air_density_along
from optimizer.job.door import check_values
from optimizer.job.plans import (
    as_ridden,
    card_and_days,
    day_and_plan,
    draws_of,
    response_of,
    ride_evenly,
    risk_of,
)
from optimizer.job.run_after import bike_and_run
from optimizer.job.sensitivity import sensitivity_table, worth
from optimizer.job.set_splits import set_splits
from optimizer.job.values import Job, Options, Result
from optimizer.kit import Catalogue
from optimizer.pacing import bounded_twice, continuous_time, plan_ride, realism
from optimizer.side_by_side import side_by_side
from optimizer.uncertainty import spread

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from optimizer.conditions import Conditions
    from optimizer.course import Course
    from optimizer.day import RaceDay
    from optimizer.evidence import Datum, Effect
    from optimizer.evidence.priors import Priors
    from optimizer.job.values import SetSplits
    from optimizer.kit import Choice
    from optimizer.kit.response import Response
    from optimizer.kit.rivals import Rival
    from optimizer.pacing import Plan, RideablePlan
    from optimizer.physics import Setup
    from optimizer.rider import Rider
    from optimizer.uncertainty import Draws

__all__ = ["effects_for", "plan", "run"]


def plan(course: Course, conditions: Conditions, rider: Rider, bike: Setup,
         catalogue: Catalogue | None = None, evidence: Sequence[Datum] = (), *,
         budget: float = 0.0, currency: str = "EUR", rules: Sequence[str] = (),
         options: Options | None = None, name: str = "") -> Result:
    """Do the whole job on values: choose kit within a budget and plan the ride with it.

    Parameters
    ----------
    course : as `read_course` gives it
    conditions : as `weather` gives them
    rider : as `read_rider` gives one
    bike : bike and kit as they stand, before any item of the catalogue
    catalogue, evidence : what could be bought, and what tests say of it
    budget, currency : money
    rules : rule sets that hold, as the catalogue's `forbidden_by` names them
    options : card, draws, risk; those of a scenario that says nothing by default
    name : of the race; by default that of the course

    Returns
    -------
    as `run`

    Raises
    ------
    InputError
        for values that no ride can have, and rules that no item names
    Infeasible
        where no plan meets the limits

    Examples
    --------
    >>> import optimizer
    >>> result = optimizer.plan(
    ...     optimizer.read_course("courses/petrel-flats/course.gpx"),
    ...     optimizer.weather(wind_kmh=12),
    ...     optimizer.read_rider("courses/petrel-flats/rider.toml"),
    ...     optimizer.Setup("bike", mass=9.5, rolling_resistance=0.004))
    >>> 0.0 <= result.plan.gap < 1.0
    True
    """
    kit = Catalogue(()) if catalogue is None else catalogue
    options = options or Options()
    check_values(rider, bike, kit, budget, rules, options)
    names = {item.name for item in kit.items}
    effects = effects_for(course, conditions, rider, bike, evidence) if evidence else ()
    return run(Job(
        name=name or course.name, course=replace(course, name=name or course.name),
        conditions=conditions, rider=rider,
        baseline=bike, catalogue=kit,
        effects=tuple(effect for effect in effects if effect.item in names), budget=budget,
        currency=currency, options=options, rules=tuple(rules)))


def effects_for(course: Course, conditions: Conditions, rider: Rider, bike: Setup,
                evidence: Sequence[Datum], priors: Priors | None = None) -> tuple[Effect, ...]:
    """Pool test results into one effect an item, for this rider in the air of this course.

    Parameters
    ----------
    course, conditions, rider, bike : of the race
    evidence : rows of the evidence table
    priors : factors of the kinds of test; those of the package by default

    Returns
    -------
    an effect of each item, in SI

    Raises
    ------
    InputError
        for a figure that no rider could show
    """
    from optimizer.evidence import Reference, pool_effects

    density = air_density_along(conditions, np.array([np.median(course.elevation)]))
    reference = Reference.for_rider(rider, bike, air_density=float(density[0]))
    return tuple(pool_effects(evidence, reference, priors))


def run(job: Job, progress: Callable[[str], None] = lambda _words: None) -> Result:
    """Choose kit, plan the ride with it, make it rideable, and say how sure it is.

    Parameters
    ----------
    job : as `read_scenario` gives it
    progress : called with words on what is under way

    Returns
    -------
    choice of kit, plan, card and what moves them

    Raises
    ------
    Infeasible
        where no plan meets the limits; it names the limit that binds

    Examples
    --------
    >>> import optimizer
    >>> result = optimizer.run(optimizer.read_scenario("courses/petrel-flats/scenario.toml"))
    >>> result.choice.best.spend <= result.job.budget
    True
    """
    from optimizer.kit import choose_kit
    from optimizer.kit.evaluator import pacing_evaluator

    progress("what the rider can do on the day")
    day, near = day_and_plan(job)
    progress("which kit")
    evaluator = pacing_evaluator(day, job.baseline, near)
    choice = choose_kit(day, job.baseline, job.catalogue, job.effects, job.budget, job.currency,
                        rules=job.rules, least_gain=job.options.least_gain, evaluator=evaluator,
                        progress=progress)
    progress("how to ride it")
    owned, best = (evaluator.own_plan(kit.setup) for kit in (choice.owned, choice.best))
    draws, setup = draws_of(job, day), choice.best.setup
    sure, (risk, fork), moves, twice, limit, spared, even, *rest = side_by_side({
        "the card, and how sure it is": lambda: _sure(job, day, choice, best, owned, draws),
        "how often the rider runs out": lambda: risk_of(job, day, setup, best, draws),
        "what moves the time": lambda: sensitivity_table(day, choice.best, best,
                                                          job.effects),
        "the bound by the linear program": lambda: bounded_twice(day, best),
        "how much shorter steps would change": lambda: continuous_time(day, setup, best),
        "what it costs to spare effort": lambda: _cost_of_effort_budget(day, best, setup),
        "usual ways to ride": lambda: ride_evenly(best),
        "what each item is worth": lambda: worth(job, choice.owned, owned),
        "the run that follows": lambda: bike_and_run(day, setup, best)}, progress)
    few, chance, drawn, response, splits, rivals = sure
    worths, after = rest
    return Result(
        job=job, day=day, choice=choice, plan=replace(
            twice, continuous_time=limit, grid_error=abs(best.finish_time - limit)),
        baseline_plan=owned, rideable=few, spread=drawn, splits=splits, rivals=rivals,
        worth=worths, sensitivities=moves, effort_budget_cost=spared, even=even,
        realism=realism(as_ridden(best, few), day.rider),
        risk=risk and replace(risk, chance=chance), fork=fork, response=response, bike_run=after)


def _sure(job: Job, day: RaceDay, choice: Choice, best: Plan, owned: Plan, draws: Draws,
          ) -> tuple[RideablePlan, float, tuple[float, float, float], Response,
                     tuple[SetSplits, ...], tuple[Rival, ...]]:
    """Card, its chance to run out; range, what moves the time, arrivals by set of kit, rivals.

    All from the same drawn days.
    """
    few, chance, ride = card_and_days(day, best, job.options, draws, job.effects,
                                      choice.best.items)
    response = response_of(job, day, best, choice.best.items, draws, ride)
    times = ride.time
    del ride  # beside the rides of other kit the rest of it would only fill the memory
    splits = set_splits(job, day, choice, best, owned, draws, times)
    return few, chance, spread(times), response, splits, _rivals(job, choice, response)


def _rivals(job: Job, choice: Choice, response: Response) -> tuple[Rival, ...]:
    """Say how the kits that the choice weighed stand to the best one."""
    from optimizer.kit.rivals import rivals_of, weighed_kits
    from optimizer.kit.terms import tabulate

    kits = weighed_kits(choice)
    if all(kit.items == choice.best.items for kit in kits):
        return ()
    return rivals_of(choice.best, kits, response,
                     tabulate(job.baseline, job.catalogue, job.effects))


def _cost_of_effort_budget(day: RaceDay, within_budget: Plan, setup: Setup) -> float:
    """Seconds that it costs to leave something in the legs."""
    whole = replace(day.rider, effort_share=1.0, time_share=1.0)
    if whole == day.rider:
        return 0.0
    free = plan_ride(replace(day, rider=whole), setup, warm=within_budget)
    return max(within_budget.finish_time - free.finish_time, 0.0)
