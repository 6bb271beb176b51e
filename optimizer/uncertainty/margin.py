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
# By which the margin that days ridden at another one foretell may be wrong: of the distance between
# the two (at most 0.03 was seen), and of a step besides.
_UNSURE, _APART = 0.06, 0.05
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
    day and plan with the margin; the chance is foretold from one or two thousandths beside it where
    that says enough

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
        # With the watts at a margin the days tell at which one few enough would run out.
        wanted = at * _few_below(able, risk)
        best = _decided(wanted, at, low, high) if tried else None
        if best is not None:
            if best > low:  # not ridden itself
                trial, plan = _planned(day, setup, best, plan)
                found = Kept(trial, plan, _chance(able * at / best))
            break
        at = _next(tried, at, wanted, low, high)
        trial, plan = _planned(day, setup, at, plan)
        able = allowed_as_printed(plan, trial, draws)
        chance = _chance(able)
        if chance <= risk:
            found, low = Kept(trial, plan, chance), at
        else:
            high = at
        if high - low < 2:
            break
    if found is None:
        raise Infeasible(f"the rider runs out on {100 * chance:.0f} days in 100 however carefully "
                         "the ride is planned", "accept a higher risk, or narrow down the "
                         "uncertainty of critical power, W' and endurance")
    return found


def _next(tried: int, at: int, wanted: float, low: int, high: int) -> int:
    """Margin to ride next, between one that is small enough and one that is too much."""
    if tried < _FORETOLD:
        at = round(wanted)
    else:  # ever further, then halve
        at += 2**(tried - _FORETOLD) * (1 if at == low else -1)
    return at if low < at < high else low + 1 if at <= low else high - 1


def _decided(wanted: float, at: int, low: int, high: int) -> int | None:
    """Smallest margin that holds, where days ridden at another one leave no two to choose from."""
    error = _APART + _UNSURE * abs(wanted - at)
    least, most = max(int(wanted - error), low), min(int(wanted + error), high - 1)
    return least if least == most else None


def _planned(day: RaceDay, setup: Setup, at: int, near: Plan) -> tuple[RaceDay, Plan]:
    """Day with a margin, and the plan for it from a plan near it."""
    trial = replace(day.keeping(at * _CLOSE), pedalling=near.pedalling)
    return trial, plan_ride(trial, setup, warm=near, bounded=False)


def _few_below(able: NDArray[np.float64], risk: float) -> float:
    """Highest factor below which no more than a share of `risk` of the days lie."""
    return float(np.sort(able)[min(int(risk * len(able)), len(able) - 1)])
