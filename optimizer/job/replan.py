"""Planning again on the morning of the race: new weather, the kit that is there, nothing bought."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from optimizer.errors import InputError
from optimizer.job.plans import (
    as_ridden,
    card_and_days,
    day_and_plan,
    draws_of,
    response_of,
    risk_of,
)
from optimizer.job.values import Result
from optimizer.kit import Catalogue, Choice, KitSet, choose_kit, setup_of
from optimizer.kit.choose import forbidden
from optimizer.kit.crosswind import OWN_WHEELS, own_wheels
from optimizer.pacing import plan_ride, realism
from optimizer.side_by_side import side_by_side
from optimizer.uncertainty import spread

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from optimizer.day import RaceDay
    from optimizer.job.values import Job
    from optimizer.kit.response import Response
    from optimizer.pacing import Plan, RideablePlan
    from optimizer.physics import Setup
    from optimizer.uncertainty import Draws

__all__ = ["replan"]


def replan(job: Job, items: Sequence[str],
           progress: Callable[[str], None] = lambda _words: None) -> Result:
    """Plan the job with some items as `run` does, but without choosing anew.

    What takes long and changes nothing on the day is left out: other sets, sensitivities,
    trials. Only where rules or the day's cross wind forbid one of the items, kit is chosen from
    those items and what is owned.

    Parameters
    ----------
    job : as `read_scenario` gives it
    items : of its catalogue, at hand on the day
    progress : called with words on what is under way

    Returns
    -------
    as `run`, with a choice of one set, at the money that it cost in the earlier plan

    Raises
    ------
    InputError
        for an item that the catalogue does not hold
    Infeasible
        where no plan meets the limits
    """
    job = replace(job, catalogue=_at_hand(job.catalogue, items), budget=0.0)
    progress("what the rider can do on the day")
    day, near = day_and_plan(job)
    progress("how to ride it")
    setup, names, left_out = _kit(job, day, items, progress)
    plan = plan_ride(day, setup, warm=near)
    choice = _only_choice(job, names, setup, plan)
    choice = replace(choice, budget=sum(job.catalogue[name].cost for name in items),
                     kept=tuple(items), left_out=left_out)
    draws = draws_of(job, day)
    (risk, fork), (few, chance, drawn, response) = side_by_side({
        "how often the rider runs out": lambda: risk_of(job, day, setup, plan, draws),
        "the card, and how sure it is": lambda: _card_and_sure(job, day, plan, choice.best.items,
                                                               draws)}, progress)
    return Result(job=job, day=day, choice=choice, plan=plan, baseline_plan=plan, rideable=few,
                  spread=drawn, risk=risk and replace(risk, chance=chance), fork=fork,
                  response=response, realism=realism(as_ridden(plan, few), day.rider))


def _card_and_sure(job: Job, day: RaceDay, plan: Plan, items: Sequence[str], draws: Draws,
                   ) -> tuple[RideablePlan, float, tuple[float, float, float], Response]:
    """Card with its chance to run out, range of the finish time, and what moves it."""
    few, chance, ride = card_and_days(day, plan, job.options, draws, job.effects, items)
    return few, chance, spread(ride.time), response_of(job, day, plan, items, draws, ride)


def _at_hand(catalogue: Catalogue, items: Sequence[str]) -> Catalogue:
    """List what there is on the day: the items and all that is owned."""
    known = {item.name for item in catalogue.items}
    for name in items:
        if name not in known:
            raise InputError("earlier plan", "", f'its item "{name}" is not in the catalogue',
                             "plan anew, without the earlier kit")
    here = {item.name for item in catalogue.items if item.owned} | set(items)
    # What needs something that is not there is of no use, but for what was ridden in the plan.
    while useless := {item.name for item in catalogue.items if item.name in here - set(items)
                      and not here.issuperset(item.requires)}:
        here -= useless
    return replace(
        catalogue, items=tuple(replace(
            item, requires=tuple(name for name in item.requires if name in here),
            excludes=tuple(name for name in item.excludes if name in here))
            for item in catalogue.items if item.name in here),
        pairs=tuple(pair for pair in catalogue.pairs
                    if pair.first in here and pair.second in here))


def _kit(job: Job, day: RaceDay, items: Sequence[str],
         progress: Callable[[str], None],
         ) -> tuple[Setup, tuple[str, ...], tuple[tuple[str, str], ...]]:
    """Set up the kit: what it holds, and what of the items it does not hold with the reason.

    Only where the day forbids some is it chosen anew, from what is there at no further cost.
    """
    paid = replace(job.catalogue, items=tuple(replace(item, owned=True)
                                              for item in job.catalogue.items))
    out = forbidden(day, job.baseline, paid, job.rules)
    ridden = (*items, *([OWN_WHEELS] if own_wheels(paid[name] for name in items) else []))
    if not set(out) & set(ridden):
        return (setup_of(job.baseline, job.catalogue, job.effects, items), tuple(items), ())
    progress("other kit, for the day forbids some")
    choice = choose_kit(day, job.baseline, paid, job.effects, 0.0, job.currency,
                        rules=job.rules, least_gain=job.options.least_gain, progress=progress)
    reasons = {**dict(choice.left_out), **out}
    return (choice.best.setup, choice.best.items, tuple(
        (name, reasons[name]) for name in ridden
        if name in reasons and name not in choice.best.items))


def _only_choice(job: Job, items: Sequence[str], setup: Setup, plan: Plan) -> Choice:
    """Give the kit that is kept as the one set there is."""
    spend = sum(job.catalogue[name].cost for name in items)
    kept = KitSet(tuple(items), spend, setup, plan.finish_time, plan.lower_bound)
    return Choice(budget=spend, currency=job.currency, owned=kept, best=kept, frontier=(kept,),
                  proven_gap=plan.gap, frontier_gap=plan.gap, sets=1.0, planned=1)
