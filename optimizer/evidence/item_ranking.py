"""What each item is worth to one rider: drag, watts, seconds, and how sure."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, get_args

import numpy as np

from optimizer.defaults import NINE_IN_TEN
from optimizer.evidence.priors import default_priors
from optimizer.evidence.properties import Channel, force_of, seconds_saved
from optimizer.evidence.yaw import road_weights

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimizer.evidence.effect import Effect, Grounds
    from optimizer.evidence.pool import ItemEvidence
    from optimizer.evidence.priors import Priors
    from optimizer.evidence.reference import Reference

__all__ = ["DISTANCE", "Worth", "changes_of", "rank", "surest"]

DISTANCE = 40_000.0  # m, on which the trade compares


@dataclass(frozen=True)
class Worth:
    """An item for one rider on a flat, still road, in the yaw that is met on the road.

    Attributes
    ----------
    drag_area : m², change in the mean over the yaw on the road
    watts, watts_sd : saved at the wheel at each of the speeds asked for
    seconds, seconds_sd : saved over 40 km at the power of the rider
    chance : that it saves time at all
    """

    evidence: ItemEvidence
    drag_area: float
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
    def clear(self) -> bool:
        """Whether it is a clear gain: somebody tested it, and the range leaves zero out."""
        return (self.seconds > NINE_IN_TEN * self.seconds_sd
                and self.effect.grounds == "tested")

    @property
    def warnings(self) -> tuple[str, ...]:
        """Cautions on the pool; without what single figures leave unsaid."""
        unsaid = {words for o in self.evidence.observations for words in o.assumptions}
        return tuple(words for words in self.effect.warnings if words not in unsaid)


def rank(items: Sequence[ItemEvidence], reference: Reference, speeds: Sequence[float],
         priors: Priors | None = None) -> tuple[Worth, ...]:
    """Rank items by what they are worth to one rider, in the order of `surest`.

    Parameters
    ----------
    items : pooled evidence of each
    reference : rider, bike and air
    speeds : m/s, at which to give watts
    priors : with the yaw on the road; those of the package by default

    Returns
    -------
    drag [m²], watts at each speed [W] and seconds over 40 km [s] of each, with standard errors
    """
    priors = priors or default_priors()
    found = [_worth(item, reference, speeds, priors) for item in items]
    return tuple(sorted(found, key=lambda worth: surest(worth.seconds, worth.seconds_sd,
                                                        worth.effect.grounds)))


def surest(seconds: float, sd: float, grounds: Grounds) -> tuple[int, float]:
    """Key that sorts gains by what is sure of them, not by what they promise.

    Clear gains come first, by the low end of their 90 % range; then what may be none, by its
    chance to be one; then what costs time. A figure without a speed or a test behind it has a
    wide range, and so cannot lead by its size. What a seller alone says, or the scale, is no clear
    gain.

    Parameters
    ----------
    seconds : s saved
    sd : s, their standard deviation
    grounds : what they rest on

    Returns
    -------
    key for sorting, least first
    """
    low, high = seconds - NINE_IN_TEN * sd, seconds + NINE_IN_TEN * sd
    if low > 0.0 and grounds == "tested":
        return 0, -low
    if high < 0.0:
        return 2, -seconds
    return 1, -seconds / sd if sd else 0.0


def changes_of(effect: Effect, priors: Priors | None = None,
               ) -> tuple[dict[Channel, float], dict[Channel, float]]:
    """Change of each property by an item, drag in the mean over the yaw on the road.

    Parameters
    ----------
    effect : of one item
    priors : factors of the kinds of test; those of the package by default

    Returns
    -------
    means and standard deviations by property [m², 1, 1, kg]
    """
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
    return Worth(item, means["drag_area"], tuple(watts), tuple(watts_sd),
                 seconds, seconds_sd, chance)
