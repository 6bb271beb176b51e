"""How a plan is ridden on the drawn days, and on which of them the rider runs out.

Two ways to ride: "printed", the watts of the plan whatever the day, and "feel", the watts in
proportion to what the day allows. What a day allows is the effort law with that day's CP, W',
endurance loss and exponent, so that a rider by feel spends on every day what the law lets him.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final, Literal, NamedTuple

import numpy as np

from optimizer.conditions.draws import spread_density, spread_wind
from optimizer.pacing import Variation, simulate_each
from optimizer.rider.effort import capacity_of
from optimizer.uncertainty.heights import grade_changes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from optimizer.day import RaceDay
    from optimizer.evidence import Effect
    from optimizer.pacing import Plan, SimulatedRide
    from optimizer.uncertainty.draws import Draws

__all__ = ["Manner", "Way", "ability", "allowed", "ride_days", "ride_each_way", "runs_out"]

Manner = Literal["feel", "printed"]

_LAST: Final = 0.005  # of the course, where running out does no harm any more
_SLACK: Final = 0.002  # of the power, by which the law may be exceeded on the way
_ROUNDS: Final = 4
_SENSIBLE: Final = (0.4, 1.6)  # factors; beyond them nobody rides
_LOW, _FULL = 0.1, 0.9999  # of W'; below and above which a reserve says how far it is from gone
_TOGETHER: Final = 64  # steps that are gone through at once
_SETTLED: Final = 600.0  # s; before, W' alone says what can be held


def ability(plan: Plan, day: RaceDay, draws: Draws) -> NDArray[np.float64]:
    """Find what each day allows of the powers of a plan.

    The power-mean of the plan, with that day's exponent, is brought to what the day's rider can
    hold evenly for the time that the ride then takes, to first order.

    Parameters
    ----------
    plan : plan of the ride
    day : course, weather and rider of the race day
    draws : drawn days

    Returns
    -------
    (k,) factor on all powers, about 1
    """
    rider, reach = day.expected, plan.finish_time / day.rider.time_share
    ratio = plan.power / plan.problem.critical_power
    time = np.diff(plan.time)
    held = time / plan.finish_time
    # How much longer the ride takes in per cent, for a per cent less of all powers.
    longer = float(plan.seconds_per_joule @ (plan.power * time)) / plan.finish_time

    def mean(exponent: float) -> float:
        return float(np.power(float(ratio**exponent @ held), 1.0 / exponent))

    usual = capacity_of(rider.critical_power, rider.w_prime, rider.endurance_loss,
                        reach) / mean(rider.effort_exponent)
    harder = np.array([mean(exponent) for exponent in draws.effort_exponent])
    factor = np.ones(draws.count)
    for _ in range(_ROUNDS):
        can = capacity_of(draws.critical_power, draws.w_prime, draws.endurance_loss,
                          reach * factor**-longer)
        factor = np.clip(can / harder / usual, *_SENSIBLE)
    return np.asarray(factor)


class Way(NamedTuple):
    """One way to ride the drawn days: powers (n,) [W], names of the items in the set, and how."""

    power: NDArray[np.float64]
    items: Sequence[str] = ()
    manner: Manner = "feel"


def ride_days(plan: Plan, day: RaceDay, draws: Draws, effects: Sequence[Effect],
              items: Sequence[str], manner: Manner = "feel") -> SimulatedRide:
    """Ride a plan with a set of kit on every drawn day, all at once.

    Parameters
    ----------
    plan : plan of the ride
    day : course, weather and rider of the race day
    draws : k drawn days
    effects : of the items
    items : names of those in the set
    manner : by feel, or by the watts of the card

    Returns
    -------
    (n + 1, k) speeds [m/s], times [s], reserves [J] and powers [W]
    """
    return ride_each_way(plan, day, draws, effects, [Way(plan.power, items, manner)])[0]


def ride_each_way(plan: Plan, day: RaceDay, draws: Draws, effects: Sequence[Effect],
                  ways: Sequence[Way]) -> list[SimulatedRide]:
    """Ride the drawn days in several ways with one set of kit, side by side, which saves a third.

    Parameters
    ----------
    plan : plan of the ride, on whose problem all of them are ridden
    day : course, weather and rider of the race day
    draws : k drawn days
    effects : of the items
    ways : each as `ride_days` takes it; items say only what is uncertain

    Returns
    -------
    a ride for each, as `ride_days` gives it
    """
    p, rider = plan.problem, day.expected
    head, cross = spread_wind(p.headwind, p.crosswind, draws.wind, p.departures)
    air = spread_density(draws.wind, p.departures)
    grades = grade_changes(day.course, draws.heights, plan.distance)
    # Draws are of the Crr on smooth asphalt; the road multiplies them as it does the mean.
    crr = float(np.mean(p.rolling_resistance / p.rolling_factor))
    cases = []
    for way in ways:
        area, rolling, driven, mass = _kit_on(draws, effects, way.items)
        # A better drivetrain does to the wheel what less of all forces and of the mass would do.
        ease = 1.0 / np.maximum(1.0 + driven / p.drivetrain_efficiency, 0.5)
        by_feel = way.manner == "feel"
        cases.append((way.power[:, None], Variation(
            headwind=head.T, crosswind=cross.T, drag_factor=ease, drag_area_change=ease * area,
            rolling_factor=np.maximum(1.0 + rolling / crr, 0.1), density_factor=air,
            mass_change=(ease - 1.0) * p.mass + ease * mass, grade_change=grades,
            power_factor=ability(replace(plan, power=way.power), day, draws) if by_feel else 1.0,
            # A plan with a margin is for less than the expected CP; the day's rider has his own.
            critical_power_factor=draws.critical_power / day.rider.critical_power,
            w_prime_factor=draws.w_prime / (rider.w_prime * day.kept))))
    return simulate_each(p, cases)


def _kit_on(draws: Draws, effects: Sequence[Effect], items: Sequence[str],
            ) -> tuple[NDArray[np.float64], ...]:
    """Add up what changes CdA [m²], Crr, drivetrain efficiency and mass [kg], (k,) each."""
    area, rolling = draws.drag_area.copy(), draws.rolling_resistance.copy()
    driven, mass = np.zeros(draws.count), draws.mass.copy()
    held = set(items)
    for effect in effects:
        if effect.item in held:
            by = draws.items[effect.item]
            area += effect.drag_area_sd * by
            rolling += effect.rolling_resistance_sd * by
            driven += effect.efficiency_sd * by
            mass += effect.mass_sd * by
    return area, rolling, driven, mass


def runs_out(plan: Plan, day: RaceDay, draws: Draws, ride: SimulatedRide) -> NDArray[np.bool_]:
    """Say whether the reserve, or what the day's rider can hold, is gone before the finish.

    The second: somewhere the power-mean so far is above what could be held evenly for the time so
    far, all of it, also where the plan means to leave some for a run. In the last half per cent
    of the course neither counts.

    Parameters
    ----------
    plan : plan of the ride
    day : course, weather and rider of the race day
    draws : drawn days
    ride : on those days

    Returns
    -------
    (k,) whether
    """
    return np.asarray(allowed(plan, day, draws, ride) < 1.0)


def allowed(plan: Plan, day: RaceDay, draws: Draws, ride: SimulatedRide) -> NDArray[np.float64]:
    """(k,) factor on the powers of a ride that each day would just allow.

    Below 1 exactly where the rider `runs_out`. To first order how far: what is spent goes with the
    exponent of the power, and a reserve that has run out asks for less work since it was full.

    Parameters
    ----------
    plan : plan that is ridden
    day : course, weather and rider of the race day
    draws : k drawn days
    ride : the plan ridden on them

    Returns
    -------
    (k,) factor, at most 1.6
    """
    p, exponent = plan.problem, draws.effort_exponent
    last = int(np.searchsorted(plan.distance, (1.0 - _LAST) * plan.distance[-1]))
    own = draws.critical_power / day.rider.critical_power
    early = np.minimum(_SETTLED, 0.5 * ride.time[-1])
    over, least = np.full(draws.count, 1e-9), np.full(draws.count, np.inf)
    spent, since = np.zeros((2, draws.count))
    # Some steps at a time, and sums row by row: arrays of all steps and days leave the cache.
    for first in range(0, last - 1, _TOGETHER):
        steps = slice(first, min(first + _TOGETHER, last - 1))
        nodes = slice(first + 1, steps.stop + 1)
        time, power, left = ride.time[nodes], ride.power[steps], ride.reserve[nodes]
        passed = time - ride.time[steps]
        run = (power / (p.critical_power[steps, None] * own)) ** exponent * passed
        for row in run:
            np.add(row, spent, out=row)
            spent = row
        spent = spent.copy()
        can = capacity_of(draws.critical_power, draws.w_prime, draws.endurance_loss,
                          time) / draws.critical_power
        run /= time * ((1.0 + _SLACK) * can) ** exponent
        run[time <= early] = 0.0
        np.maximum(over, run.max(axis=0), out=over)
        work, full = power * passed, left > _FULL * ride.reserve[0]
        for row, again in zip(work, full, strict=True):  # J since the reserve was full
            np.add(row, since, out=row)
            row[again] = 0.0
            since = row
        np.minimum(least, (left / np.maximum(work, 1.0)).min(axis=0), out=least)
    factor = np.minimum(over ** (-1.0 / exponent), _SENSIBLE[1])
    low = ride.reserve[:last].min(axis=0) < _LOW * ride.reserve[0]
    return np.where(low, np.minimum(factor, 1.0 + least), factor)
