"""Arrivals of each set of kit: as planned, and on the drawn days."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.job.values import Job, SetSplits
from optimizer.kit import KitSet, setup_of
from optimizer.pacing import plan_ride
from optimizer.uncertainty import ride_days

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.day import RaceDay
    from optimizer.kit import Choice
    from optimizer.pacing import Plan
    from optimizer.uncertainty import Draws

__all__ = ["set_splits"]


def set_splits(job: Job, day: RaceDay, choice: Choice, best: Plan, owned: Plan, draws: Draws,
               drawn: NDArray[np.float64]) -> tuple[SetSplits, ...]:
    """Give the arrival at each mark and the finish by set of kit, with bands from common draws.

    The best set first, then what is owned, then the named sets of the scenario; one that is the
    same as the first or the second lends it its name.

    Parameters
    ----------
    job : as `read_scenario` gives it
    day : course, weather and rider of the race day
    choice : of kit
    best, owned : plans with the chosen kit and with what is owned
    draws : drawn days
    drawn : (n + 1, k) s, times of the first

    Returns
    -------
    arrivals [s] with their 90 % ranges
    """
    def times(kit: KitSet, plan: Plan) -> NDArray[np.float64]:
        return ride_days(plan, day, draws, job.effects, kit.items).time

    known = [set(choice.best.items), set(choice.owned.items)]
    found = [_splits(job, _named(job, "best kit", choice.best), choice.best, best, drawn)]
    if choice.owned.items != choice.best.items:
        title = "current kit" + (" with free changes" if choice.without_changes else "")
        found.append(_splits(job, _named(job, title, choice.owned), choice.owned, owned,
                             times(choice.owned, owned)))
    for name, items in job.named_sets:
        if set(items) in known:
            continue
        spend = sum(job.catalogue[item].cost for item in items)
        setup = setup_of(job.baseline, job.catalogue, job.effects, items)
        plan = plan_ride(day, setup, warm=owned)
        kit = KitSet(items, spend, setup, plan.finish_time, plan.lower_bound)
        found.append(_splits(job, name, kit, plan, times(kit, plan)))
    return tuple(found)


def _named(job: Job, title: str, kit: KitSet) -> str:
    """Title of a kit, with the names under which the scenario has it as well."""
    names = [name for name, items in job.named_sets if set(items) == set(kit.items)]
    return f"{title} ({', '.join(names)})" if names else title


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
