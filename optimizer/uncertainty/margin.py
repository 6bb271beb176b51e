"""How much a plan has to keep back so that a rider rarely runs out, and what that costs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from optimizer.errors import Infeasible
from optimizer.pacing import plan_ride
from optimizer.uncertainty.riding import ability, ride_days, runs_out

if TYPE_CHECKING:
    from optimizer.day import RaceDay
    from optimizer.pacing import Plan
    from optimizer.physics import Setup
    from optimizer.uncertainty.draws import Draws

__all__ = ["Kept", "chance_as_printed", "day_within_risk"]

_ROUNDS: Final = 14
_CLOSE: Final = 1e-3  # of the power, to which the margin is found
_LEAST: Final = 0.6  # of CP; a plan for less is none


@dataclass(frozen=True)
class Kept:
    """A race day with a margin, its plan, and the chance [1] to run out when ridden as printed."""

    day: RaceDay
    plan: Plan
    chance: float


def chance_as_printed(plan: Plan, day: RaceDay, draws: Draws) -> float:
    """Chance to run out on the drawn days with the watts of the plan as they stand.

    The uncertainty in the kit moves the time and not the watts; it is left out.
    """
    ride = ride_days(plan, day, draws, (), (), "printed")
    return float(np.mean(runs_out(plan, day, draws, ride)))


def day_within_risk(day: RaceDay, setup: Setup, draws: Draws, risk: float,
                    plan: Plan | None = None) -> Kept:
    """Keep the smallest margin with which the best plan runs out on no more than `risk` of days.

    `plan` is the one for `day` and `setup`, where there is one already.

    Raises Infeasible where no margin is enough.
    """
    if plan is None:
        plan = plan_ride(day, setup, bounded=False)
    chance = chance_as_printed(plan, day, draws)
    high, best = 1.0, Kept(day, plan, chance)
    if chance <= risk:
        return best
    found: Kept | None = None
    low, step = _LEAST, 4 * _CLOSE
    kept = float(np.clip(np.quantile(ability(plan, day, draws), risk), _LEAST, 0.999))
    for _ in range(_ROUNDS):
        trial = day.keeping(kept)
        plan = plan_ride(trial, setup, warm=plan, bounded=False)
        chance = chance_as_printed(plan, trial, draws)
        if chance <= risk:
            found, low = Kept(trial, plan, chance), kept
        else:
            high = kept
        if found is not None and high - low < _CLOSE:
            return found
        # The guess is good: look close to it first, then further away, then halve.
        near = kept + (step if chance <= risk else -step)
        step *= 3.0
        kept = near if low < near < high and high - low > 2 * step else 0.5 * (low + high)
    if found is None:
        raise Infeasible(f"the rider runs out on {100 * chance:.0f} of 100 days however carefully "
                         "the ride is planned", "accept a higher risk, or narrow down the "
                         "uncertainty of critical power, W' and endurance")
    return found
