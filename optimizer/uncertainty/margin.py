"""How much a plan has to keep back so that a rider rarely runs out, and what that costs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from optimizer.errors import Infeasible
from optimizer.pacing import plan_ride
from optimizer.uncertainty.riding import allowed, ride_days

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.day import RaceDay
    from optimizer.pacing import Plan
    from optimizer.physics import Setup
    from optimizer.uncertainty.draws import Draws

__all__ = ["Kept", "allowed_as_printed", "chance_as_printed", "day_within_risk"]

_ROUNDS: Final = 14
_FORETOLD: Final = 4  # of them, in which the next margin is foretold
_FORESEEN: Final = 0.9  # of the step to the next margin, as far as days tell of it without riding
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
    return _chance(allowed_as_printed(plan, day, draws))


def allowed_as_printed(plan: Plan, day: RaceDay, draws: Draws) -> NDArray[np.float64]:
    """Say how hard each day would let the printed watts of a plan be ridden.

    Parameters
    ----------
    plan : plan of the ride
    day : course, weather and rider of the race day
    draws : k drawn days

    Returns
    -------
    (k,) factor on the watts, 1 where the day just allows them; the rider runs out below
    """
    return allowed(plan, day, draws, ride_days(plan, day, draws, (), (), "printed"))


def _chance(able: NDArray[np.float64]) -> float:
    return float(np.mean(able < 1.0))


def day_within_risk(day: RaceDay, setup: Setup, draws: Draws, risk: float,
                    plan: Plan | None = None, able: NDArray[np.float64] | None = None) -> Kept:
    """Keep the smallest margin with which the best plan runs out on no more days than accepted.

    Parameters
    ----------
    day : course, weather and rider of the race day
    setup : set of kit
    draws : k drawn days
    risk : accepted chance to run out, 0 to 1
    plan : the one for day and setup, where it is known
    able : (k,) `allowed_as_printed` of that plan, where it is known

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
    if able is None:
        able = allowed_as_printed(plan, day, draws)
    if (chance := _chance(able)) <= risk:
        return Kept(day, plan, chance)
    found: Kept | None = None
    low, high = round(_LEAST / _CLOSE) - 1, round(1.0 / _CLOSE)
    at = high
    for tried in range(_ROUNDS):
        if tried < _FORETOLD:
            # With the watts at a margin the days tell at which one few enough would run out.
            at = int(at * _few_below(able, risk))
        else:  # ever further, then halve
            at += 2**(tried - _FORETOLD) * (1 if chance <= risk else -1)
        if not low < at < high:
            at = low + 1 if at <= low else high - 1
        trial = replace(day.keeping(at * _CLOSE), pedalling=plan.pedalling)
        plan = plan_ride(trial, setup, warm=plan, bounded=False)
        able = allowed_as_printed(plan, trial, draws)
        chance = _chance(able)
        if chance <= risk:
            found, low = Kept(trial, plan, chance), at
        else:
            high = at
        # Done where a step less of a margin was too much, or clearly would be.
        if high - low < 2 or (chance <= risk and _few_below(able, risk) < 1.0 + _FORESEEN / at):
            break
    if found is None:
        raise Infeasible(f"the rider runs out on {100 * chance:.0f} days in 100 however carefully "
                         "the ride is planned", "accept a higher risk, or narrow down the "
                         "uncertainty of critical power, W' and endurance")
    return found


def _few_below(able: NDArray[np.float64], risk: float) -> float:
    """Highest factor below which no more than a share of `risk` of the days lie."""
    return float(np.sort(able)[min(int(risk * len(able)), len(able) - 1)])
