"""What may come instead: draws of wind, rider and evidence about the plan."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.conditions.draws import draw_wind, spread_density, spread_wind
from optimizer.errors import Infeasible
from optimizer.job.values import Job, SetSplits, Trial
from optimizer.kit import KitSet, setup_of
from optimizer.pacing import Variation, plan_ride, simulate_many

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.day import RaceDay
    from optimizer.kit import Choice
    from optimizer.pacing import Plan

__all__ = ["draw_times", "set_splits", "spread", "trials"]

_TRIALS = 6
_TRIAL_WIND = 4.0  # m/s on top of the forecast, each trial from another direction


def spread(drawn: NDArray[np.float64]) -> tuple[float, float, float]:
    """5, 50 and 95 % points of the finish time [s] in what `draw_times` gives."""
    low, middle, high = np.percentile(drawn[-1], [5.0, 50.0, 95.0])
    return float(low), float(middle), float(high)


def draw_times(job: Job, day: RaceDay, chosen: KitSet, plan: Plan) -> NDArray[np.float64]:
    """Time at each node in each draw of wind, rider and evidence, (n + 1, draws) [s].

    The rider keeps to the plan's powers, all higher or lower with the CP of the draw. The same
    seed gives the same draws.
    """
    rng = np.random.default_rng(job.options.seed)
    k, rider, p = job.options.draws, day.rider, plan.problem
    wind = draw_wind(day.conditions, rng, k)
    headwind, crosswind = spread_wind(p.headwind, p.crosswind, wind, p.departures)
    able = 1.0 + rider.critical_power_sd / rider.critical_power * rng.standard_normal(k)
    able = np.clip(able, 0.5, 1.5)
    area = rider.drag_area_sd * rng.standard_normal(k)
    rolling, driven = np.zeros(k), np.zeros(k)
    for effect in job.effects:
        draw = rng.standard_normal(k)  # drawn for every item, so that sets share their draws
        if effect.item in chosen.items:
            area = area + effect.drag_area_sd * draw
            rolling = rolling + effect.rolling_resistance_sd * draw
            driven = driven + effect.efficiency_sd * draw
    crr = float(np.mean(p.rolling_resistance))
    ride = simulate_many(p, plan.power[:, None], Variation(
        headwind=headwind.T, crosswind=crosswind.T, drag_area_change=area,
        rolling_factor=np.maximum(1.0 + rolling / crr, 0.1),
        power_factor=able * (1.0 + driven / p.drivetrain_efficiency),
        critical_power_factor=able, density_factor=spread_density(wind, p.departures)))
    return ride.time


def set_splits(job: Job, day: RaceDay, choice: Choice, best: Plan, owned: Plan,
               drawn: NDArray[np.float64]) -> tuple[SetSplits, ...]:
    """Give the arrival at each mark and the finish by set of kit, with bands from common draws.

    The best set first, whose draws are `drawn`, then what is owned, then the named sets of the
    scenario.
    """
    found = [_splits(job, "best set", choice.best, best, drawn)]
    if choice.owned.items != choice.best.items:
        found.append(_splits(job, "as owned", choice.owned, owned,
                             draw_times(job, day, choice.owned, owned)))
    for name, items in job.named_sets:
        spend = sum(job.catalogue[item].cost for item in items)
        setup = setup_of(job.baseline, job.catalogue, job.effects, items)
        plan = plan_ride(day, setup, warm=owned)
        kit = KitSet(items, spend, setup, plan.finish_time, plan.lower_bound)
        found.append(_splits(job, name, kit, plan, draw_times(job, day, kit, plan)))
    return tuple(found)


def _splits(job: Job, name: str, kit: KitSet, plan: Plan,
            drawn: NDArray[np.float64]) -> SetSplits:
    end = float(plan.distance[-1])
    places = np.array([*(mark.distance for mark in job.course.split_marks), end])
    after = np.clip(np.searchsorted(plan.distance, places), 1, len(plan.distance) - 1)
    share = (places - plan.distance[after - 1]) / np.diff(plan.distance)[after - 1]
    at_places = drawn[after - 1] + share[:, None] * (drawn[after] - drawn[after - 1])
    low, high = np.percentile(at_places, [5.0, 95.0], axis=1)
    return SetSplits(name, kit.items, kit.spend, np.interp(places, plan.distance, plan.time),
                     low, high)


def trials(day: RaceDay, choice: Choice, plan: Plan) -> tuple[Trial, ...]:
    """Plans for other winds and other sets, spread over what a reader of the report may try.

    Winds that no plan meets are left out.
    """
    sets = (choice.owned, *choice.frontier[::-1])
    found = []
    for k in range(_TRIALS):
        kit = sets[k % len(sets)]
        angle = 2 * np.pi * k / _TRIALS
        east, north = (float(_TRIAL_WIND * part) for part in (np.sin(angle), np.cos(angle)))
        windy = replace(day.conditions, wind_east=day.conditions.wind_east + east,
                        wind_north=day.conditions.wind_north + north)
        try:
            other = plan_ride(replace(day, conditions=windy), kit.setup, warm=plan)
        except Infeasible:
            continue
        found.append(Trial(east, north, kit.items, other.finish_time))
    return tuple(found)
