"""The effort law on whole rides: the limit of the plan's own duration, its bound, its price."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.conditions import Conditions
from optimizer.course import Course
from optimizer.day import RaceDay
from optimizer.pacing import plan_ride, race_day, solve
from optimizer.physics import Setup
from optimizer.rider import Position, Rider
from optimizer.rider.effort import EffortLimit, allowance, capacity

RIDER = Rider("x", 70.0, 270.0, 18e3, 480.0, (Position("aero", 0.25),), endurance_loss=0.08)
BIKE = Setup("bike", 9.0, 0.004)


def road(length, hills=25.0):
    distance = np.linspace(0.0, length, 401)
    n = 400
    return Course("made up", distance, np.zeros(n + 1), np.zeros(n + 1),
                  hills * np.sin(distance / 900.0), np.zeros(n), np.ones(n),
                  np.full(n + 1, np.inf), np.full(n, 0.03), np.ones(n))


def on(length, rider=RIDER, step=300.0, **options):
    return RaceDay(road(length, **options), Conditions(), rider, step=step)


def strain(plan, exponent=4.0):
    share = plan.power / plan.problem.critical_power
    return (np.sum(share**exponent * np.diff(plan.time)) / plan.finish_time) ** (1 / exponent)


@pytest.mark.parametrize("length", [3e3, 9e3, 40e3, 180e3])
def test_the_power_mean_is_what_can_be_held_for_the_plans_own_duration(length):
    plan = plan_ride(on(length, step=length / 400), BIKE)
    can = float(capacity(RIDER, plan.finish_time))
    assert strain(plan) * RIDER.critical_power == pytest.approx(can, rel=2e-6)
    assert plan.mean_power < can


@pytest.mark.parametrize("length", [6e3, 18e3])
def test_a_short_hilly_ride_neither_sprints_nor_coasts(length):
    """Without the law it asks for more than the rider can hold evenly for that time."""
    day = on(length, step=length / 400, hills=40.0)
    plan = plan_ride(day, BIKE)
    time = np.diff(plan.time)
    assert time[plan.power > 0.98 * RIDER.max_power].sum() < 0.02 * plan.finish_time
    assert time[plan.power < 10.0].sum() < 0.01 * plan.finish_time
    free = solve(replace(plan.problem, effort=None))
    assert strain(free) * RIDER.critical_power > 1.03 * capacity(RIDER, free.finish_time)


@pytest.mark.parametrize("length", [3e3, 40e3])
def test_the_bound_covers_rides_of_every_duration(length):
    """For any duration: where its allowance gets a ride home in time, it is not below the bound,
    and where it does not, the duration is below the plan's."""
    day = on(length, step=length / 200)
    plan = plan_ride(day, BIKE)
    assert plan.gap < 1e-4 * plan.finish_time
    p = RIDER.effort_exponent
    for factor in (0.7, 0.85, 0.95, 0.99, 1.01, 1.1, 1.4):
        duration = factor * plan.finish_time
        fixed = EffortLimit(p, 0.0, float(allowance(RIDER, duration)))
        other = solve(replace(plan.problem, effort=fixed))
        if other.finish_time <= duration:
            assert duration >= plan.lower_bound - 1e-3
        else:
            assert duration < plan.finish_time + 1e-3


def price(**changes):
    rider = replace(RIDER, **changes)
    return plan_ride(on(90e3, rider), BIKE)


def test_sparing_costs_time_and_more_of_it_costs_more():
    free, some, much = (price(effort_share=share) for share in (1.0, 0.93, 0.85))
    assert free.finish_time < some.finish_time < much.finish_time
    # power falls to 85 %, speed by less than its cube root on the flat, by more on climbs
    part = much.finish_time / free.finish_time
    assert 0.85 ** (-1 / 3) * 0.98 < part < 0.85**-1


def test_a_share_of_the_endurance_is_a_price_too():
    within_budget, free = price(time_share=0.5), price()
    assert within_budget.finish_time > free.finish_time + 60.0
    assert strain(within_budget) < strain(free)


def test_nobody_pedals_above_the_pedalling_speed():
    rider = replace(RIDER, pedalling_speed=13.0)
    day = race_day(road(20e3, hills=45.0), Conditions(), rider, BIKE, step=50.0)
    plan = plan_ride(day, BIKE)
    assert day.pedalling is not None
    fast = plan.speed[1:] > 1.002 * rider.pedalling_speed
    assert fast.any()
    assert plan.power[fast].max() < 1.0
    without = plan_ride(on(20e3, replace(rider, pedalling_speed=99.0), step=50.0, hills=45.0), BIKE)
    assert without.finish_time < plan.finish_time < 1.08 * without.finish_time
