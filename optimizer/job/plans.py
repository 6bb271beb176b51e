"""Plans of the job: the fastest for a set of kit, and the one in blocks that a person can ride."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from optimizer.course.laps import find_laps
from optimizer.errors import Infeasible
from optimizer.pacing import (
    constant_power,
    constant_speed,
    plan_ride,
    prepared_day,
    recognisable_places,
    rideable,
)
from optimizer.uncertainty import (
    Kept,
    Way,
    allowed,
    allowed_as_printed,
    day_within_risk,
    draw_days,
    fork_in,
    ride_each_way,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimizer.day import RaceDay
    from optimizer.evidence import Effect
    from optimizer.job.values import Even, Job, Options, Risk
    from optimizer.kit.response import Response
    from optimizer.pacing import Block, Plan, RideablePlan, SimulatedRide
    from optimizer.physics import Setup
    from optimizer.uncertainty import Draws, Fork

__all__ = ["as_ridden", "card_and_days", "day_and_plan", "day_of", "draws_of", "response_of",
           "ride_evenly", "ride_in_blocks", "risk_of"]


def day_of(job: Job) -> RaceDay:
    """Give the race day of a job: positions and coasting as with what is owned.

    Where the rider says what risk to run out is accepted, the day keeps the margin that this
    takes, for every set of kit alike.

    Parameters
    ----------
    job : as `read_scenario` gives it

    Returns
    -------
    course, weather and rider as that day leaves them

    Raises
    ------
    Infeasible
        where no plan meets a limit; it names the limit
    """
    return day_and_plan(job)[0]


def day_and_plan(job: Job) -> tuple[RaceDay, Plan]:
    """Give the race day of a job as `day_of` does, and a plan for others to start from.

    Parameters
    ----------
    job : what a scenario holds

    Returns
    -------
    the day; a plan near the best one with what is owned, without a bound

    Raises
    ------
    Infeasible
        as `day_of`
    """
    options = job.options
    day, plan = prepared_day(job.course, job.conditions, job.rider, job.baseline,
                             step=options.step, start_speed=options.start_speed)
    if options.empty_risk is None:
        return day, plan
    plan = plan_ride(day, job.baseline, warm=plan, bounded=False)
    kept = day_within_risk(day, job.baseline, draws_of(job, day), options.empty_risk, plan)
    return kept.day, kept.plan


def draws_of(job: Job, day: RaceDay) -> Draws:
    """Draw the days of a job; the same on every screen.

    Parameters
    ----------
    job : as `read_scenario` gives it
    day : course, weather and rider of the race day

    Returns
    -------
    days
    """
    return draw_days(day, job.baseline, job.effects, job.options.draws, job.options.seed)


def response_of(job: Job, day: RaceDay, plan: Plan, items: Sequence[str], draws: Draws,
                ride: SimulatedRide | None = None) -> Response:
    """Say what each item does to the finish time on each drawn day, from the plan of one set.

    Parameters
    ----------
    job : with its catalogue and evidence
    day : of the job
    plan : with `items`
    items : of that set
    draws : drawn days
    ride : the plan on those days, where it is known

    Returns
    -------
    times of all sets on all days, to first order
    """
    from optimizer.kit.response import response
    from optimizer.kit.set_model import set_model
    from optimizer.kit.terms import tabulate

    terms = tabulate(job.baseline, job.catalogue, job.effects)
    rows = terms.rows(items)
    setup = terms.setup(job.baseline, rows)  # with the one yaw table of all sets
    return response(plan, day, setup, rows, draws, job.effects,
                    set_model(terms, job.baseline, day.rider.mass), ride)


def ride_evenly(plan: Plan) -> Even | None:
    """Ride the plan's course at one power and at one speed, as is usual without a plan.

    The power is in whole watts, as a card would say it.

    Parameters
    ----------
    plan : plan of the ride

    Returns
    -------
    times [s]; None where no single power keeps within the limits
    """
    from optimizer.job.values import Even

    try:
        level = constant_power(plan, rounding=1.0)
    except Infeasible:
        return None
    return Even(level.blocks[0].power, float(level.finish_time), constant_speed(plan.problem))


def ride_in_blocks(day: RaceDay, plan: Plan, options: Options) -> RideablePlan:
    """Simplify a plan to a card of as many lines as the options allow, with main positions.

    Parameters
    ----------
    day : course, weather and rider of the race day
    plan : plan of the ride
    options : of the card

    Returns
    -------
    the card, ridden to the letter
    """
    few = rideable(plan, recognisable_places(day.course), blocks=options.blocks,
                   rounding=options.power_rounding, laps=find_laps(day.course))
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


_USUAL_RISK: Final = 0.1  # for comparison, where the rider names none; a judgement


def card_and_days(day: RaceDay, plan: Plan, options: Options, draws: Draws,
                  effects: Sequence[Effect], items: Sequence[str],
                  ) -> tuple[RideablePlan, float, SimulatedRide]:
    """Give the card of a plan, its chance to run out, and the plan ridden on the drawn days.

    Parameters
    ----------
    day : course, weather and rider of the race day
    plan : plan of the ride
    options : of the card
    draws : drawn days
    effects, items : the set of kit and what is known of it

    Returns
    -------
    the card; the chance, 0 to 1, with its watts as they stand; the plan by feel

    Raises
    ------
    Infeasible
        where no card of so few lines can be ridden
    """
    few = ride_in_blocks(day, plan, options)
    # The powers as printed: what is asked for, also where the rider coasts.
    printed, ride = ride_each_way(plan, day, draws, effects, [
        Way(few.asked, manner="printed"), Way(plan.power, items)])
    able = allowed(replace(as_ridden(plan, few), power=few.asked), day, draws, printed)
    return few, float(np.mean(able < 1.0)), ride


def as_ridden(plan: Plan, card: RideablePlan) -> Plan:
    """Give the ride of a card in the form of a plan, for figures about the ride alone.

    Parameters
    ----------
    plan : the ideal ride that the card was made from
    card : the card, ridden to the letter

    Returns
    -------
    the plan with power (W), speed (m/s), time (s) and reserve (J) of the card; its bounds stay
    those of the ideal ride
    """
    return replace(plan, power=card.power, speed=card.speed, time=card.time, reserve=card.reserve)


def risk_of(job: Job, day: RaceDay, setup: Setup, plan: Plan,
            draws: Draws) -> tuple[Risk | None, Fork | None]:
    """Say how often the plan runs out as printed, what less of it costs, what a fork wins.

    Parameters
    ----------
    job : as `read_scenario` gives it
    day : course, weather and rider of the race day
    setup : set of kit
    plan : plan of the ride
    draws : drawn days

    Returns
    -------
    risk, with the chance of the card still to come, None where no margin is enough for one that the
    rider did not ask for; and the fork, only where the rider names a risk
    """
    from optimizer.job.values import Risk

    asked, chance = job.options.empty_risk, float("nan")
    able = allowed_as_printed(plan, day, draws)
    plan_chance = float(np.mean(able < 1.0))
    if asked is not None:
        usual = day.keeping(1.0)
        free = plan_ride(usual, setup, warm=plan, bounded=False)
        places = recognisable_places(day.course)
        named = [place for place in places if place.name] or [
            replace(place, name=f"km {place.distance / 1000:.0f}") for place in places]
        fork = fork_in(free, usual, draws, named, Kept(day, plan, plan_chance))
        return Risk(chance, plan_chance, 1.0 - day.kept, plan.finish_time - free.finish_time,
                    asked), fork
    try:
        safe = day_within_risk(day, setup, draws, _USUAL_RISK, plan, able)
    except Infeasible:
        return None, None
    return Risk(chance, plan_chance, 0.0, safe.plan.finish_time - plan.finish_time,
                _USUAL_RISK, safe.plan.mean_power), None
