"""One decision on the road: ride a first part as printed, then choose by how the day turns out.

Nobody knows the day before riding. With one plan a rider has to be careful for the worst days;
with a fork the first part is common to all days, and from a named place on the watts are those
for a bad, a usual or a good day. A third of the way in a rider is taken to tell which it is.

All of it follows the effort law. With E₁ and E₂ what both parts of the plan spend on a day at
their own watts and G what that day allows, watts scaled by κ₁ and κ₂ are held while
κ₁^p E₁ + κ₂^p E₂ ≤ G, and the time changes by the plan's own price of power. Chances and times that
are stated come from riding all drawn days with the watts found.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

from optimizer.rider.effort import capacity_of
from optimizer.uncertainty.riding import ride_days, runs_out

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.course import Mark
    from optimizer.day import RaceDay
    from optimizer.pacing import Plan
    from optimizer.uncertainty.draws import Draws
    from optimizer.uncertainty.margin import Kept

__all__ = ["Branch", "Fork", "fork_in"]

_PART: Final = (0.2, 0.5)  # of the time, within which the decision lies
_WANTED: Final = 1 / 3
_GROUPS: Final = (("bad day", 0.3), ("usual day", 0.4), ("good day", 0.3))  # shares of the days
_FIRST: Final = np.linspace(0.9, 1.06, 81)  # factors on the first part that are tried
_HARDEST: Final = 1.12  # factor on a part; nobody believes in more
_EASIEST: Final = 0.5
_LESS: Final = (1.0, 0.995, 0.99, 0.98, 0.97, 0.96, 0.95)  # factors on all watts that are tried


@dataclass(frozen=True)
class Branch:
    """What to ride after the fork: `factor` on the watts of the plan, for a `share` of the days."""

    name: str
    share: float
    factor: float


@dataclass(frozen=True)
class Fork:
    """A plan with one decision.

    Attributes
    ----------
    place : where to decide, m from the start; `name` in words
    first : factor on the watts of the plan for the expected day before the fork
    branches : after it
    chance : to run out as printed
    mean_time : over the drawn days [s]
    single_time : the same with one careful plan of the same chance
    known_time : the same if the day were known before the start
    """

    place: float
    name: str
    first: float
    branches: tuple[Branch, ...]
    chance: float
    mean_time: float
    single_time: float
    known_time: float


def fork_in(plan: Plan, day: RaceDay, draws: Draws, places: Sequence[Mark],
            careful: Kept) -> Fork | None:
    """Put one decision into the plan for the expected day.

    There is none where no named place lies between a fifth and half of the way, where a decision
    wins nothing, and for a rider who spares effort: there is little risk to share out.

    Parameters
    ----------
    plan, day : without a margin
    draws : drawn days
    places : where the decision may lie
    careful : the single plan with a margin; the fork may run out as often

    Returns
    -------
    the fork, None where there is none
    """
    rider = day.rider
    if rider.effort_share < 1.0 or rider.time_share < 1.0:
        return None
    share = {mark: plan.time_at(mark.distance) / plan.finish_time for mark in places}
    inside = [mark for mark in places if _PART[0] < share[mark] < _PART[1]]
    if not inside or careful.day.kept == day.kept:
        return None
    mark = min(inside, key=lambda m: abs(share[m] - _WANTED))
    node = int(np.searchsorted(plan.distance, mark.distance))
    law = _Law.of(plan, day, draws, node)
    order = np.argsort(law.together())
    ends = np.cumsum([0.0, *(part for _, part in _GROUPS)])
    cuts = np.round(ends * draws.count).astype(int)
    groups = [order[a:b] for a, b in pairwise(cuts)]
    first, factors = _best(law, groups, careful.chance, draws.count)
    if not factors:
        return None
    single = float(ride_days(careful.plan, careful.day, draws, (), (), "printed").time[-1].mean())
    known = float(ride_days(plan, day, draws, (), (), "feel").time[-1].mean())
    for less in _LESS:  # where W' is what runs out the law alone promises too much
        scaled = [less * factor for factor in factors]
        out, times = np.zeros(draws.count, dtype=bool), np.zeros(draws.count)
        for group, factor in zip(groups, scaled, strict=True):
            ridden = _ridden(plan, node, less * first, factor)
            ride = ride_days(ridden, day, draws, (), (), "printed")
            out[group] = runs_out(ridden, day, draws, ride)[group]
            times[group] = ride.time[-1, group]
        chance, mean = float(out.mean()), float(times.mean())
        if mean >= single:
            return None
        if chance <= max(careful.chance, 1.0 / draws.count):
            return Fork(mark.distance, mark.name, less * first, tuple(
                Branch(name, part, factor)
                for (name, part), factor in zip(_GROUPS, scaled, strict=True)),
                chance, mean, single, known)
    return None


def _best(law: _Law, groups: Sequence[NDArray[np.int64]], risk: float,
          count: int) -> tuple[float, list[float]]:
    """Find the factor on the first part and those after it with the least mean time."""
    best: tuple[float, float, list[float]] = (np.inf, 1.0, [])
    shares = [len(group) / count for group in groups]
    for first in map(float, _FIRST):
        most = np.minimum(law.later_at_most(first), _HARDEST)
        factors = [float(np.quantile(most[group], risk)) for group in groups]
        if min(factors) > _EASIEST:
            best = min(best, (law.time(first, factors, shares), first, factors))
    return best[1:]


def _ridden(plan: Plan, node: int, first: float, later: float) -> Plan:
    factor = np.where(np.arange(plan.problem.steps) < node, first, later)
    return replace(plan, power=np.minimum(plan.power * factor, plan.problem.power_limit))


@dataclass(frozen=True)
class _Law:
    """What both parts spend on each day and what it allows, (k,) s; exponent; price of power."""

    first: NDArray[np.float64]
    later: NDArray[np.float64]
    allowed: NDArray[np.float64]
    exponent: NDArray[np.float64]
    price: tuple[float, float]

    @classmethod
    def of(cls, plan: Plan, day: RaceDay, draws: Draws, node: int) -> _Law:
        time = np.diff(plan.time)
        ratio = plan.power / plan.problem.critical_power
        by = draws.effort_exponent
        on_day = (day.rider.critical_power / draws.critical_power) ** by
        first, later = (np.array([float(ratio[part]**p @ time[part]) for p in by]) * on_day
                        for part in (slice(None, node), slice(node, None)))
        T = plan.finish_time
        can = capacity_of(draws.critical_power, draws.w_prime, draws.endurance_loss,
                          T) / draws.critical_power
        worth = plan.seconds_per_joule * plan.power * time
        return cls(first, later, T * can**by, by,
                   (float(worth[:node].sum()), float(worth[node:].sum())))

    def together(self) -> NDArray[np.float64]:
        """(k,) greatest factor on both parts that each day allows."""
        return np.asarray((self.allowed / (self.first + self.later)) ** (1 / self.exponent))

    def later_at_most(self, first: float) -> NDArray[np.float64]:
        """(k,) greatest factor on the later part that each day allows after `first` before."""
        left = np.maximum(self.allowed - first**self.exponent * self.first, 1e-9)
        return np.asarray((left / self.later) ** (1 / self.exponent))

    def time(self, first: float, factors: Sequence[float], shares: Sequence[float]) -> float:
        """Mean change of the time, to first order in the logarithm of power [s]."""
        return -self.price[0] * float(np.log(first)) - self.price[1] * float(
            np.dot(np.log(factors), shares))
