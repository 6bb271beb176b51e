"""A plan with one decision on the way."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from optimizer.course import Mark
from optimizer.day import RaceDay
from optimizer.pacing import plan_ride
from optimizer.uncertainty import day_within_risk, draw_days, fork_in, ride_days, runs_out
from tests.kit.invented import BASELINE, RIDER, road, wind

RIDER = replace(RIDER, critical_power_sd=9.0, w_prime_sd=1500.0, endurance_loss=0.08,
                endurance_loss_sd=0.02, effort_exponent_sd=0.5)
DAY = RaceDay(road(np.random.default_rng(8), length=40_000.0), wind(3.0, 1.0), RIDER, step=200.0)
PLACES = (Mark("bridge", 5000.0), Mark("mill", 14_000.0), Mark("tower", 30_000.0))


@pytest.fixture(scope="module")
def world():
    plan = plan_ride(DAY, BASELINE)
    draws = draw_days(DAY, BASELINE, (), 400, 1)
    careful = day_within_risk(DAY, BASELINE, draws, 0.1)
    return plan, draws, careful, fork_in(plan, DAY, draws, PLACES, careful)


def test_the_decision_lies_about_a_third_of_the_way_in(world):
    assert world[3].name == "mill"


def test_a_fork_wins_on_one_plan_and_less_than_knowing_the_day(world):
    fork = world[3]
    assert fork.known_time < fork.mean_time < fork.single_time
    assert [branch.factor for branch in fork.branches] == sorted(
        branch.factor for branch in fork.branches)


def test_its_chance_holds_on_days_that_it_has_not_seen(world):
    plan, _, careful, fork = world
    assert fork.chance <= careful.chance
    draws = draw_days(DAY, BASELINE, (), 2000, 99)
    node = int(np.searchsorted(plan.distance, fork.place))
    rides = []
    for branch in fork.branches:
        factor = np.where(np.arange(plan.problem.steps) < node, fork.first, branch.factor)
        ridden = replace(plan, power=plan.power * factor)
        rides.append(runs_out(ridden, DAY, draws,
                              ride_days(ridden, DAY, draws, (), (), "printed")))
    # Who runs out on a harder branch and not on an easier one takes the easier one; the shares
    # of the days are those that the fork states.
    order = np.argsort(np.sum(rides, axis=0), kind="stable")[::-1]
    ends = np.round(np.cumsum([0.0, *(b.share for b in fork.branches)]) * 2000).astype(int)
    out = sum(rides[k][order[a:b]].sum() for k, (a, b) in enumerate(
        itertools.pairwise(ends)))
    assert out / 2000 <= 0.13


def test_no_named_place_no_fork(world):
    plan, draws, careful, _ = world
    assert fork_in(plan, DAY, draws, PLACES[2:], careful) is None
