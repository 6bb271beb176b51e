"""How much a plan has to keep back so that a rider rarely runs out, and what that costs."""

from __future__ import annotations

from dataclasses import dataclass, replace
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
_FORETOLD: Final = 2  # of them, in which the next margin is foretold
_CLOSE: Final = 1e-3  # of the power; margins are whole multiples of it
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

    Parameters
    ----------
    plan : plan of the ride
    day : course, weather and rider of the race day
    draws : drawn days

    Returns
    -------
    chance, 0 to 1
    """
    ride = ride_days(plan, day, draws, (), (), "printed")
    return float(np.mean(runs_out(plan, day, draws, ride)))


def day_within_risk(day: RaceDay, setup: Setup, draws: Draws, risk: float,
                    plan: Plan | None = None, chance: float | None = None) -> Kept:
    """Keep the smallest margin with which the best plan runs out on no more days than accepted.

    Parameters
    ----------
    day : course, weather and rider of the race day
    setup : set of kit
    draws : drawn days
    risk : accepted chance to run out, 0 to 1
    plan : the one for day and setup, where it is known
    chance : to run out with that plan, where it is known

    Returns
    -------
    day and plan with the margin

    Raises
    ------
    Infeasible
        where no margin is enough
    """
    if plan is None:
        plan = plan_ride(day, setup, bounded=False)
    if chance is None:
        chance = chance_as_printed(plan, day, draws)
    if chance <= risk:
        return Kept(day, plan, chance)
    able = ability(plan, day, draws)
    found: Kept | None = None
    low, high = round(_LEAST / _CLOSE) - 1, round(1.0 / _CLOSE)
    at = int(np.clip(np.quantile(able, risk) / _CLOSE, low + 1, high - 1))
    for tried in range(_ROUNDS):
        trial = replace(day.keeping(at * _CLOSE), pedalling=plan.pedalling)
        plan = plan_ride(trial, setup, warm=plan, bounded=False)
        chance = chance_as_printed(plan, trial, draws)
        if chance <= risk:
            found, low = Kept(trial, plan, chance), at
        else:
            high = at
        if high - low < 2:
            break
        # The days' abilities say how far away the risk is; then ever further, then halve.
        away = abs(float(np.quantile(able, risk) - np.quantile(able, chance))) / _CLOSE
        away = max(round(away) if tried < _FORETOLD else 0, 2**tried)
        at += away if chance <= risk else -away
        if not low < at < high:
            at = (low + high) // 2
    if found is None:
        raise Infeasible(f"the rider runs out on {100 * chance:.0f} days in 100 however carefully "
                         "the ride is planned", "accept a higher risk, or narrow down the "
                         "uncertainty of critical power, W' and endurance")
    return found
