"""What one change of kit saves, by the multipliers of one plan, and how sure its evidence is.

The envelope theorem: to first order the best time changes by the multipliers of the plan times the
change of each force. Every range of a single item, on whatever page, is made here.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable

    from optimizer.evidence import Effect, Grounds
    from optimizer.kit.catalogue import Item
    from optimizer.pacing import Sensitivities
    from optimizer.physics import Setup

__all__ = ["evidence_sd", "grounds_of", "seconds_saved"]


def grounds_of(item: Item, effect: Effect | None) -> Grounds:
    """Say what the gain of an item is based on.

    Parameters
    ----------
    item : of the catalogue
    effect : of its evidence, None where it has none

    Returns
    -------
    somebody's test, the seller's word alone, mass alone, or nothing
    """
    if effect is not None:
        return effect.grounds
    return "mass" if item.mass or item.wheel_inertia else "none"


def seconds_saved(slope: Sensitivities, before: Setup, after: Setup) -> float:
    """Seconds that one set saves on another, to first order.

    Parameters
    ----------
    slope : of the finish time of one plan
    before, after : sets of kit

    Returns
    -------
    s, negative where the second is slower
    """
    area = (np.interp(slope.yaw, after.yaw, after.drag_area_change)
            - np.interp(slope.yaw, before.yaw, before.drag_area_change))
    return -float(
        slope.drag_area @ area + slope.mass.sum() * (after.mass - before.mass)
        + slope.rolling_resistance.sum() * (after.rolling_resistance - before.rolling_resistance)
        + slope.drivetrain_efficiency.sum() * (after.drivetrain_efficiency
                                               - before.drivetrain_efficiency))


def evidence_sd(slope: Sensitivities, effects: Iterable[Effect]) -> float:
    """Give the standard deviation of what some items save together.

    Parameters
    ----------
    slope : of the finish time of one plan
    effects : of items that are used together

    Returns
    -------
    s
    """
    return math.hypot(*(part for effect in effects for part in (
        float(slope.drag_area.sum()) * effect.drag_area_sd,
        float(slope.rolling_resistance.sum()) * effect.rolling_resistance_sd,
        float(slope.drivetrain_efficiency.sum()) * effect.efficiency_sd,
        float(slope.mass.sum()) * effect.mass_sd)))
