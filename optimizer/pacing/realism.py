"""Whether a plan is one that a person can ride, in the figures that studies give."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from optimizer.rider.effort import allowance, capacity

if TYPE_CHECKING:
    from optimizer.pacing.plan import Plan
    from optimizer.rider import Rider

__all__ = ["Realism", "realism"]

_SHORTEST: Final = 120.0  # s, of a stretch; the hyperbola says little of shorter ones
_POINTS: Final = 200
_AT_LIMIT: Final = 0.99  # of the power limit
_NO_POWER: Final = 5.0  # W


@dataclass(frozen=True)
class Realism:
    """How even a ride is, and how it compares with what its rider can hold.

    Attributes
    ----------
    variation : standard deviation of power over its mean
    power_mean : W, (mean of P^p)^(1/p) with p of the rider
    capacity : W, what can be held evenly for the same time
    limit : W, most that `power_mean` may come to: the effort limit, in the positions ridden
    stretch : greatest mean power of any stretch of two minutes or more, over what can be held
        for as long
    at_limit, coasting : shares of the time
    """

    variation: float
    power_mean: float
    capacity: float
    limit: float
    stretch: float
    at_limit: float
    coasting: float


def realism(plan: Plan, rider: Rider) -> Realism:
    """Compare a plan with what its rider can hold.

    Parameters
    ----------
    plan : a ride
    rider : who is to ride it

    Returns
    -------
    how even it is, and how near its hardest stretch comes to the rider's best for that long
    """
    elapsed, power = np.diff(plan.time), plan.power
    T, p = plan.finish_time, rider.effort_exponent
    held = elapsed / T
    at = np.linspace(0.0, T, _POINTS)
    # A position that costs power makes the same watts harder: they count as what they are there.
    felt = power * rider.critical_power / plan.problem.critical_power
    work = np.interp(at, plan.time, np.concatenate([[0.0], np.cumsum(felt * elapsed)]))
    first, last = np.triu_indices(_POINTS, 1)
    span = at[last] - at[first]
    long = span >= min(_SHORTEST, 0.5 * T)
    mean = (work[last] - work[first])[long] / span[long]
    power_mean = float(np.power(float(power**p @ held), 1.0 / p))
    spent = float((power / plan.problem.critical_power) ** p @ elapsed)
    return Realism(
        variation=float(np.sqrt(held @ (power - plan.mean_power) ** 2) / plan.mean_power),
        power_mean=power_mean,
        capacity=float(capacity(rider, T)),
        limit=power_mean * float(allowance(rider, T) / spent) ** (1.0 / p),
        stretch=float((mean / capacity(rider, span[long])).max()),
        at_limit=float(held[power > _AT_LIMIT * rider.max_power].sum()),
        coasting=float(held[power < _NO_POWER].sum()))
