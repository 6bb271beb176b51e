"""What each item by itself is worth on the rider's own course."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from optimizer.defaults import NINE_IN_TEN
from optimizer.job.values import ItemWorth, Job
from optimizer.kit import Catalogue, Item
from optimizer.kit.terms import setup_of
from optimizer.pacing import plan_ride
from optimizer.side_by_side import side_by_side

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from optimizer.day import RaceDay
    from optimizer.evidence import Effect
    from optimizer.pacing import Plan
    from optimizer.physics import Setup

__all__ = ["item_worth", "overlaps"]



def item_worth(job: Job, day: RaceDay, effects: Sequence[Effect],
               progress: Callable[[str], None] = lambda _words: None) -> tuple[ItemWorth, ...]:
    """Seconds that each effect saves against the baseline, each on its own best plan.

    An item that is not in the job's catalogue counts by its effect alone. The uncertainty is that
    of the evidence, by the slope of the best time in each property.

    Parameters
    ----------
    job : as `read_scenario` gives it
    day : course, weather and rider of the race day
    effects : what each item does
    progress : called with words on what is under way

    Returns
    -------
    s saved by each, with its 90 % range

    Raises
    ------
    Infeasible
        where there is no plan
    """
    listed = {item.name: item for item in job.catalogue.items}
    # Each by itself: what an item needs or excludes may not be in the evidence at all.
    catalogue = Catalogue(tuple(
        replace(listed.get(effect.item, Item(effect.item, "other", 0.0)), requires=(), excludes=())
        for effect in effects))
    today = plan_ride(day, job.baseline)
    slopes = _slopes(job.baseline, day, today)

    def seconds_saved(item: str) -> float:
        setup = setup_of(job.baseline, catalogue, effects, [item])
        return today.finish_time - plan_ride(day, setup, warm=today, bounded=False).finish_time

    seconds = side_by_side({
        f"{effect.item} ({k} of {len(effects)})": partial(seconds_saved, effect.item)
        for k, effect in enumerate(effects, 1)}, progress)
    found = []
    for effect, saved in zip(effects, seconds, strict=True):
        uncertainty = NINE_IN_TEN * math.hypot(*(
            slope * getattr(effect, f"{name}_sd") for name, slope in slopes.items()))
        found.append(ItemWorth(effect.item, saved, saved - uncertainty, saved + uncertainty,
                               effect.grounds))
    return tuple(found)


def _slopes(base: Setup, day: RaceDay, today: Plan) -> dict[str, float]:
    """Seconds per unit of each property, about the baseline."""
    def seconds(setup: Setup) -> float:
        return plan_ride(day, setup, warm=today, bounded=False).finish_time - today.finish_time

    return {
        "drag_area": seconds(replace(base, drag_area_change=base.drag_area_change + 2e-3)) / 2e-3,
        "rolling_resistance": seconds(replace(
            base, rolling_resistance=base.rolling_resistance + 2e-4)) / 2e-4,
        "efficiency": seconds(replace(
            base, drivetrain_efficiency=base.drivetrain_efficiency - 5e-3)) / -5e-3,
        "mass": seconds(replace(base, mass=base.mass + 1.0))}


def overlaps(baseline: Setup, catalogue: Catalogue, effects: Sequence[Effect],
             ) -> tuple[tuple[str, tuple[str, ...], float, float], ...]:
    """For each flow region what its gains add up to, and what they make together.

    Of the best item of each place, in the mean over the yaw of the effects; regions with one place
    lose nothing to company and are left out.

    Parameters
    ----------
    baseline : bike as it stands
    catalogue : items that could be had
    effects : what each item does

    Returns
    -------
    rows of region, items, sum of their gains and what they make together [m²]
    """
    gains = {effect.item: float(effect.drag_area.mean()) for effect in effects}
    best: dict[str, dict[str, str]] = defaultdict(dict)
    for item in catalogue.items:
        here = best[item.region]
        if item.region and gains.get(item.name, 0.0) < min(0.0, gains.get(
                here.get(item.place, ""), 0.0)):
            here[item.place] = item.name
    rows = []
    for region, places in best.items():
        names = tuple(places.values())
        if len(names) > 1:
            each = [_drag(baseline, catalogue, effects, (name,)) for name in names]
            rows.append((region, names, sum(each), _drag(baseline, catalogue, effects, names)))
    return tuple(rows)


def _drag(baseline: Setup, catalogue: Catalogue, effects: Sequence[Effect],
          names: tuple[str, ...]) -> float:
    """Change of drag area that a set of items makes, in the mean over the yaw table."""
    setup = setup_of(baseline, catalogue, effects, names)
    return float(setup.drag_area_change.mean() - baseline.drag_area_change.mean())
