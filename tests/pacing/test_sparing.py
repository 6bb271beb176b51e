"""Rides of hours: limit and duration agree, and sparing has its price."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.conditions import Conditions
from optimizer.course import Course
from optimizer.pacing.sparing import plan_within_effort, price_of_sparing
from optimizer.physics import Setup
from optimizer.rider import Position, Rider
from optimizer.rider.effort import cap_effort, capacity

RIDER = Rider("x", 70.0, 270.0, 18e3, 480.0, (Position("aero", 0.25),), endurance_loss=0.08)
BIKE = Setup("bike", 9.0, 0.004)


def road(length):
    distance = np.linspace(0.0, length, 401)
    n = 400
    return Course("made up", distance, np.zeros(n + 1), np.zeros(n + 1),
                  25 * np.sin(distance / 900.0), np.zeros(n), np.ones(n),
                  np.full(n + 1, np.inf), np.full(n, 0.03), np.ones(n))


def strain(plan, exponent=4.0):
    share = plan.power / plan.problem.critical_power
    return (np.sum(share**exponent * np.diff(plan.time)) / plan.finish_time) ** (1 / exponent)


@pytest.mark.parametrize("length", [40e3, 180e3])
def test_the_limit_is_that_of_the_plans_own_duration(length):
    rider, plan = plan_within_effort(road(length), Conditions(), RIDER, BIKE, step=300.0)
    own = cap_effort(RIDER, plan.finish_time)
    assert rider.effort_rate == pytest.approx(own.effort_rate, rel=1e-4)
    assert strain(plan) == pytest.approx(rider.effort_rate, rel=1e-3)
    assert plan.mean_power < capacity(RIDER, plan.finish_time)


def test_a_short_ride_is_left_alone():
    rider, _ = plan_within_effort(road(12e3), Conditions(), RIDER, BIKE, step=200.0)
    assert np.isinf(rider.effort_rate)


def test_sparing_costs_time_and_more_of_it_costs_more():
    prices = [price_of_sparing(road(90e3), Conditions(), replace(RIDER, effort_share=share), BIKE,
                               step=300.0) for share in (1.0, 0.93, 0.85)]
    assert prices[0].seconds == 0.0
    assert 0.0 < prices[1].seconds < prices[2].seconds
    # power falls to 85 %, speed by less than its cube root on the flat, by more on climbs
    part = prices[2].spared.finish_time / prices[2].free.finish_time
    assert 0.85 ** (-1 / 3) * 0.98 < part < 0.85**-1


def test_a_share_of_the_endurance_is_a_price_too():
    price = price_of_sparing(road(90e3), Conditions(), replace(RIDER, time_share=0.5), BIKE,
                             step=300.0)
    assert price.seconds > 60.0
    assert strain(price.spared) < strain(price.free)
