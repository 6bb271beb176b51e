"""Sets of kit and plans under doubt: the same draws of wind, rider and evidence for all of them.

A draw changes the wind along the whole ride, the rider's CP, W' and CdA, and what each item of the
catalogue does. The rider keeps to the shape of the plan, all powers in proportion to the CP of the
draw; reserve left over or overdrawn is settled at the plan's own price of a joule, as a rider who
feels the day would.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.conditions.draws import WindDraws, draw_wind, spread_density, spread_wind
from optimizer.errors import Infeasible
from optimizer.pacing import Variation, simulate_many, solve

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.conditions import Conditions
    from optimizer.evidence import Effect
    from optimizer.pacing import PacingProblem, Plan, Ride
    from optimizer.rider import Rider

__all__ = ["Draws", "chance_faster", "chance_of_emptying", "draw", "finish_times", "ride_in_draws",
           "safe_plan"]

_MARGINS = 12  # halvings of the margin on CP
_MARGIN = 2e-3  # of CP, to which the margin is found
_LAST = 0.005  # of the course, where an empty reserve does no harm any more


@dataclass(frozen=True)
class Draws:
    """What k draws are; the same for every set and plan.

    Attributes
    ----------
    wind : factor and turn of the forecast wind
    critical_power, w_prime : (k,) factors
    drag_area : (k,) m² on top of the rider's
    items : name -> (k,) standard normal, times the item's standard errors
    """

    wind: WindDraws
    critical_power: NDArray[np.float64]
    w_prime: NDArray[np.float64]
    drag_area: NDArray[np.float64]
    items: dict[str, NDArray[np.float64]]

    @property
    def count(self) -> int:
        """Number of draws k."""
        return len(self.critical_power)


def draw(conditions: Conditions, rider: Rider, effects: Sequence[Effect], count: int,
         seed: int) -> Draws:
    """Draw `count` days; the same seed gives the same days."""
    rng = np.random.default_rng(seed)
    wind = draw_wind(conditions, rng, count)
    able = 1.0 + rider.critical_power_sd / rider.critical_power * rng.standard_normal(count)
    area = rider.drag_area_sd * rng.standard_normal(count)
    items = {effect.item: rng.standard_normal(count) for effect in effects}
    reserve = 1.0 + rider.w_prime_sd / rider.w_prime * rng.standard_normal(count)
    return Draws(wind, np.clip(able, 0.5, 1.5), np.clip(reserve, 0.3, 1.7), area, items)


def ride_in_draws(plan: Plan, draws: Draws, effects: Sequence[Effect], items: Sequence[str], *,
                  as_printed: bool = False) -> Ride:
    """Ride a plan with a set of `items` in every draw, all at once.

    The powers go with the CP of the draw; `as_printed` keeps to the plan's watts.
    """
    p = plan.problem
    head, cross = spread_wind(p.headwind, p.crosswind, draws.wind, p.departures)
    area, rolling = draws.drag_area.copy(), np.zeros(draws.count)
    driven, mass = np.zeros(draws.count), np.zeros(draws.count)
    held = set(items)
    for effect in effects:
        if effect.item in held:
            by = draws.items[effect.item]
            area += effect.drag_area_sd * by
            rolling += effect.rolling_resistance_sd * by
            driven += effect.efficiency_sd * by
            mass += effect.mass_sd * by
    # A better drivetrain does to the wheel what less of all forces and of the mass would do.
    ease = 1.0 / np.maximum(1.0 + driven / p.drivetrain_efficiency, 0.5)
    crr = float(np.mean(p.rolling_resistance))
    return simulate_many(p, plan.power[:, None], Variation(
        headwind=head.T, crosswind=cross.T, drag_factor=ease, drag_area_change=ease * area,
        rolling_factor=np.maximum(1.0 + rolling / crr, 0.1),
        mass_change=(ease - 1.0) * p.mass + ease * mass,
        power_factor=1.0 if as_printed else draws.critical_power,
        critical_power_factor=draws.critical_power, w_prime_factor=draws.w_prime,
        density_factor=spread_density(draws.wind, p.departures)))


def finish_times(plan: Plan, ride: Ride) -> NDArray[np.float64]:
    """(k,) finish times with the reserve settled at the plan's price of a joule [s]."""
    p = plan.problem
    lowest = ride.reserve.min(axis=0) - p.reserve_floor
    binding = plan.lowest_reserve - p.reserve_floor < 1e-3 * p.w_prime
    owed = np.maximum(-lowest, 0.0) - (np.maximum(lowest, 0.0) if binding else 0.0)
    return np.asarray(ride.time[-1] + plan.seconds_per_reserve_joule * owed)


def chance_faster(first: NDArray[np.float64], second: NDArray[np.float64]) -> float:
    """Share of common draws in which the first is faster; ties count half."""
    return float(np.mean(np.where(first == second, 0.5, first < second)))


def chance_of_emptying(plan: Plan, ride: Ride) -> float:
    """Share of draws in which the reserve runs out before the last metres."""
    before = plan.distance < (1.0 - _LAST) * plan.distance[-1]
    return float(np.mean((ride.reserve[before] < 0.0).any(axis=0)))


def safe_plan(plan: Plan, draws: Draws, effects: Sequence[Effect], items: Sequence[str],
              risk: float) -> tuple[Plan, float, float]:
    """Fastest plan of its kind that empties the reserve in no more than `risk` of the draws.

    The plan is made for a rider whose CP is lower by a margin, the smallest that will do, and
    ridden as printed by the rider of each draw. Returns it with its chance and the margin [1].

    Raises Infeasible where no margin is enough.
    """
    def tried(margin: float) -> tuple[Plan, float]:
        problem = plan.problem
        lower: PacingProblem = replace(problem,
                                       critical_power=problem.critical_power * (1.0 - margin))
        found = solve(lower)
        found = replace(found, problem=problem)
        return found, chance_of_emptying(found, ride_in_draws(found, draws, effects, items,
                                                              as_printed=True))

    chance = chance_of_emptying(plan, ride_in_draws(plan, draws, effects, items,
                                                    as_printed=True))
    if chance <= risk:
        return plan, chance, 0.0
    low, high = 0.0, 0.02
    best, chance = tried(high)
    while chance > risk:
        low, high = high, 2.0 * high
        if high > 0.4:
            raise Infeasible(f"the reserve runs out in {100 * chance:.0f} of 100 days however "
                             "carefully the ride is planned", "accept a higher risk, or narrow "
                             "down the doubts in CP, W' and wind")
        best, chance = tried(high)
    for _ in range(_MARGINS):
        if high - low < _MARGIN:
            break
        middle = 0.5 * (low + high)
        found, other = tried(middle)
        if other <= risk:
            best, chance, high = found, other, middle
        else:
            low = middle
    return best, chance, high
