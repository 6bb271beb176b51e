"""What each item is worth to one rider: drag, watts, seconds, and how sure."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, get_args

import numpy as np

from optimizer.evidence.convert import force_of
from optimizer.evidence.datum import Channel
from optimizer.evidence.express import seconds_saved
from optimizer.evidence.priors import default_priors
from optimizer.evidence.yaw import road_weights

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimizer.evidence.effect import Effect
    from optimizer.evidence.pool import ItemEvidence
    from optimizer.evidence.priors import Priors
    from optimizer.evidence.reference import Reference

__all__ = ["DISTANCE", "Worth", "changes_of", "rank"]

DISTANCE = 40_000.0  # m, on which the trade compares


@dataclass(frozen=True)
class Worth:
    """An item for one rider on a flat, still road, in the yaw that is met on the road.

    Attributes
    ----------
    drag_area, drag_area_sd : m², change in the mean over the yaw on the road
    watts, watts_sd : saved at the wheel at each of the speeds asked for
    seconds, seconds_sd : saved over 40 km at the power of the rider
    chance : that it saves time at all
    """

    evidence: ItemEvidence
    drag_area: float
    drag_area_sd: float
    watts: tuple[float, ...]
    watts_sd: tuple[float, ...]
    seconds: float
    seconds_sd: float
    chance: float

    @property
    def effect(self) -> Effect:
        """The pooled effect."""
        return self.evidence.effect

    @property
    def warnings(self) -> tuple[str, ...]:
        """What to mind about the pool; without what single figures leave unsaid."""
        unsaid = {words for o in self.evidence.observations for words in o.assumptions}
        return tuple(words for words in self.effect.warnings if words not in unsaid)


def rank(items: Sequence[ItemEvidence], reference: Reference, speeds: Sequence[float],
         priors: Priors | None = None) -> tuple[Worth, ...]:
    """Worth of each item at `speeds` [m/s], most seconds first; seconds at `reference.speed`."""
    priors = priors or default_priors()
    found = [_worth(item, reference, speeds, priors) for item in items]
    return tuple(sorted(found, key=lambda worth: -worth.seconds))


def changes_of(effect: Effect, priors: Priors | None = None,
               ) -> tuple[dict[Channel, float], dict[Channel, float]]:
    """Means and standard deviations by property, drag in the mean over the yaw on the road."""
    weights = road_weights(effect.yaw, (priors or default_priors()).yaw_90_percent)
    means: dict[Channel, float] = {
        "drag_area": float(weights @ effect.drag_area),
        "rolling_resistance": effect.rolling_resistance, "efficiency": effect.efficiency,
        "mass": effect.mass}
    sds: dict[Channel, float] = {
        "drag_area": effect.drag_area_sd, "rolling_resistance": effect.rolling_resistance_sd,
        "efficiency": effect.efficiency_sd, "mass": effect.mass_sd}
    return means, sds


def _worth(item: ItemEvidence, reference: Reference, speeds: Sequence[float],
           priors: Priors) -> Worth:
    means, sds = changes_of(item.effect, priors)
    power = reference.power_at(reference.speed)
    seconds = seconds_saved(means, DISTANCE, power, reference)
    seconds_sd = math.hypot(*(
        0.5 * (seconds_saved({**means, name: means[name] + sd}, DISTANCE, power, reference)
               - seconds_saved({**means, name: means[name] - sd}, DISTANCE, power, reference))
        for name, sd in sds.items() if sd))
    watts, watts_sd = [], []
    for speed in speeds:
        here = replace(reference, speed=speed)
        watts.append(-speed * sum(force_of(c, means[c], here) for c in get_args(Channel)))
        watts_sd.append(speed * math.hypot(*(
            0.5 * (force_of(c, means[c] + sds[c], here)
                   - force_of(c, means[c] - sds[c], here)) for c in get_args(Channel))))
    chance = 0.5 * (1 + math.erf(seconds / (seconds_sd * math.sqrt(2)))) if seconds_sd else (
        float(np.sign(seconds)) * 0.5 + 0.5)
    return Worth(item, means["drag_area"], sds["drag_area"], tuple(watts), tuple(watts_sd),
                 seconds, seconds_sd, chance)
