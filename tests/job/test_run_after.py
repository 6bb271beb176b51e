"""Bike and run."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest

from optimizer.job.run_after import bike_and_run
from optimizer.pacing import plan_ride, realism
from tests.pacing.random_days import BIKE, random_day

DAY = random_day(3, minutes=(120.0, 150.0))


def test_a_faster_run_takes_an_easier_ride():
    day = replace(DAY, rider=replace(DAY.rider, run_fresh_time=5400.0, endurance_loss=0.08))
    rows = bike_and_run(day, BIKE, plan_ride(day, BIKE))
    assert len(rows) >= 4
    for one, other in itertools.pairwise(rows):
        assert one.run < other.run
        assert one.ride > other.ride
        assert one.share < other.share < 1.0
    best = min(rows, key=lambda row: row.total)
    assert rows[0].total > best.total < rows[-1].total


def test_without_a_run_there_is_nothing_to_share():
    assert bike_and_run(DAY, BIKE, plan_ride(DAY, BIKE)) == ()


def test_a_plan_is_what_its_rider_can_hold():
    plan = plan_ride(DAY, BIKE)
    found = realism(plan, DAY.rider)
    assert found.power_mean == pytest.approx(found.capacity, rel=1e-5)
    assert found.stretch <= 1.005
    assert 0.0 <= found.at_limit < 0.02
    assert 0.02 < found.variation < 0.35


def test_the_effort_limit_is_that_of_the_positions_ridden():
    """With 97 % of the power in its only position a ride may come to 97 % of the capacity."""
    (first, *_) = DAY.rider.positions
    rider = replace(DAY.rider, positions=(replace(first, power_share=0.97),))
    found = realism(plan_ride(replace(DAY, rider=rider), BIKE), rider)
    assert found.limit == pytest.approx(0.97 * found.capacity, rel=1e-9)
    assert found.power_mean == pytest.approx(found.limit, rel=1e-5)
