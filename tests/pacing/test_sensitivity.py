"""What moves the finish time, held by plans made anew: an oracle that knows no multiplier.

Each ride is under the effort law of its own duration and on rough roads, where every term counts.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.conditions import Conditions
from optimizer.day import RaceDay
from optimizer.pacing import plan_ride, sensitivities
from tests.pacing.test_effort_law import BIKE, RIDER, road

ROUGH = 1.8


def planned(length, rider=RIDER, bike=BIKE):
    course = road(length)
    course = replace(course, rolling_factor=ROUGH * course.rolling_factor)
    return plan_ride(RaceDay(course, Conditions(), rider, step=length / 200), bike)


def slope(length, change, by):
    """Central difference of the finish times of two plans."""
    more, less = (planned(length, **change(sign * by)).finish_time for sign in (1, -1))
    return (more - less) / (2 * by)


@pytest.fixture(scope="module", params=[6e3, 40e3], ids=["6 km", "40 km"])
def ride(request):
    """A short ride, in which W' decides, and one of an hour, in which the effort limit does."""
    plan = planned(request.param)
    assert plan.problem.effort is not None
    assert plan.seconds_per_effort > 0.0
    return request.param, sensitivities(plan)


def test_crr_counts_as_much_as_the_road_multiplies_it(ride):
    length, by = ride
    found = slope(length, lambda d: {"bike": replace(
        BIKE, rolling_resistance=BIKE.rolling_resistance + d)}, 2e-4)
    assert by.rolling_resistance.sum() == pytest.approx(found, rel=0.01)


def test_critical_power_also_raises_what_can_be_held(ride):
    length, by = ride
    found = slope(length, lambda d: {"rider": replace(
        RIDER, critical_power=RIDER.critical_power + d)}, 1.0)
    assert by.critical_power.sum() == pytest.approx(found, rel=0.01)


def test_w_prime_also_raises_what_can_be_held(ride):
    length, by = ride
    found = slope(length, lambda d: {"rider": replace(RIDER, w_prime=RIDER.w_prime + d)}, 300.0)
    assert by.w_prime == pytest.approx(found, rel=0.01)
