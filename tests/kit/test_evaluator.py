"""The evaluator of sets: its road, and plans of a neighbour scaled to a set's limits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.conditions import Conditions
from optimizer.day import RaceDay
from optimizer.kit import evaluator as evaluator_module
from optimizer.kit.bound import coordinates
from optimizer.kit.evaluator import _scaled, _Solved, pacing_evaluator
from optimizer.pacing import plan_ride
from tests.kit.invented import BASELINE, RIDER, road, wind

COURSE = road(np.random.default_rng(7), length=12_000.0)
NEAR = replace(BASELINE, drag_area_change=np.array([-0.006]), mass=8.8)
FAR = 0.05 * np.ones(5)


def test_a_wind_that_changes_is_met_when_the_baseline_meets_it():
    turning = Conditions(wind_time=[0.0, 1200.0], wind_east=[[-6.0], [6.0]],
                         wind_north=[[0.0], [3.0]])
    evaluator = pacing_evaluator(RaceDay(COURSE, turning, RIDER, step=300.0), BASELINE)
    plan = plan_ride(RaceDay(COURSE, turning, RIDER, step=300.0), BASELINE)
    still = pacing_evaluator(RaceDay(COURSE, wind(6.0, -np.pi / 2), RIDER, step=300.0), BASELINE)
    # The plan's wind belongs to arrivals that it agrees with to a second.
    assert evaluator.problem(BASELINE).headwind == pytest.approx(plan.problem.headwind, abs=0.02)
    apart = evaluator.problem(BASELINE).headwind - still.problem(BASELINE).headwind
    assert np.abs(apart).max() > 1.0
    assert evaluator.time(BASELINE) == pytest.approx(plan.finish_time, abs=0.2)


@pytest.mark.parametrize("fields", [
    {}, {"effort_share": 0.97}, {"recovery": "slowing"}, {"reserve_floor": 3000.0},
    {"recovery": "partial", "recovery_share": 0.6}])
def test_a_neighbours_plan_is_ridden_within_the_limits(fields):
    rider = replace(RIDER, **fields)
    evaluator = pacing_evaluator(RaceDay(COURSE, wind(3.0, 1.0), rider, step=300.0), BASELINE)
    own = evaluator.time(NEAR)
    assert own == evaluator.plan(NEAR).finish_time  # nothing is known yet
    bound = evaluator.bound(BASELINE, FAR)
    lower = float(bound.at(coordinates(NEAR, rider.mass)))
    scaled = evaluator.time(NEAR)
    assert scaled != own
    # Slowing recovery: its own plan is a local optimum, the other may be a little better.
    slack = 0.5 if rider.recovery == "slowing" else 2e-3
    # Eight seconds apart, with a U-turn: a hundredth of that is lost where the reserve binds.
    apart = evaluator.plan(BASELINE).finish_time - own
    assert own - slack <= scaled <= own + slack + 0.02 * apart
    assert lower <= min(scaled, own) + 1e-4


def test_a_bound_that_came_out_loose_is_made_again_without_a_neighbour(monkeypatch):
    evaluator = pacing_evaluator(RaceDay(COURSE, wind(3.0, 1.0), RIDER, step=300.0), BASELINE)
    starts, whole = [], evaluator_module.interior_point

    def solved(program, start=None):
        starts.append(start)
        found = whole(program, start)
        # As from a neighbour's multipliers that do not fit: far from what they should be.
        return found if start is None else replace(
            found, multipliers=0.9 * found.multipliers)

    monkeypatch.setattr(evaluator_module, "interior_point", solved)
    bound = evaluator.bound(NEAR, 1e-3 * FAR)
    assert starts[0] is not None
    assert starts[1:] == [None]
    assert bound.value == pytest.approx(evaluator.plan(NEAR).finish_time, abs=0.05)


@pytest.mark.parametrize(("fields", "slack"), [
    ({}, 3e-3), ({"effort_share": 0.97}, 3e-3),
    # Where the reserve runs out as well, one factor cannot use up both limits.
    ({"effort_exponent": 2.0}, 0.1), ({"reserve_floor": 3000.0}, 0.1),
    ({"recovery": "partial", "recovery_share": 0.6}, 0.1)])
def test_without_corners_and_coasting_a_neighbours_plan_is_as_good_as_ones_own(fields, slack):
    """Regression: sets some seconds apart, by the scaled plan to three milliseconds."""
    course = road(np.random.default_rng(3), length=30_000.0, turns=0)
    rider = replace(RIDER, pedalling_speed=99.0, **fields)
    evaluator = pacing_evaluator(RaceDay(course, wind(3.0, 1.0), rider, step=150.0), BASELINE)
    evaluator.bound(BASELINE, FAR)
    for change in (-0.003, 0.002):
        near = replace(BASELINE, drag_area_change=np.array([change]))
        own = evaluator.plan(near).finish_time
        assert own - 1e-3 <= evaluator.time(near) <= own + slack


def test_the_nearest_neighbour_is_asked_and_first_of_all_one_with_the_same_corners():
    evaluator = pacing_evaluator(RaceDay(COURSE, wind(3.0, 1.0), RIDER, step=300.0), BASELINE)
    for setup in (BASELINE, replace(NEAR, cornering_factor=0.9),
                  replace(NEAR, drag_area_change=np.array([-0.02]), mass=8.0)):
        evaluator.bound(setup, FAR)
    near = replace(NEAR, drag_area_change=np.array([-0.005]))
    first = evaluator._solved[0]
    assert evaluator.time(near) == _scaled(evaluator.problem(near), first)
    evaluator.bound(NEAR, FAR)
    assert evaluator.time(near) == _scaled(evaluator.problem(near), evaluator._solved[-1])


def test_where_a_neighbours_plan_cannot_be_ridden_the_set_gets_its_own():
    evaluator = pacing_evaluator(RaceDay(COURSE, wind(3.0, 1.0), RIDER, step=300.0), BASELINE)
    plan = evaluator.plan(NEAR)
    useless = _Solved(coordinates(NEAR, RIDER.mass), 1.0, np.zeros_like(plan.power),
                      0.5 * plan.speed**2, plan)
    assert _scaled(evaluator.problem(NEAR), useless) is None
    evaluator._solved.append(useless)
    assert evaluator.time(NEAR) == plan.finish_time


def test_a_set_that_is_planned_for_itself_has_the_time_of_its_own_plan():
    turning = Conditions(wind_time=[0.0, 1200.0], wind_east=[[-6.0], [6.0]],
                         wind_north=[[0.0], [3.0]])
    day = RaceDay(COURSE, turning, RIDER, step=300.0)
    evaluator = pacing_evaluator(day, BASELINE)
    time = evaluator.time(NEAR)
    assert evaluator.own_time(NEAR, time) == time  # nothing is known yet
    evaluator.bound(BASELINE, FAR)
    evaluator.plan_own((NEAR, time))
    own = evaluator.own_time(NEAR, time)
    assert own == pytest.approx(plan_ride(day, NEAR).finish_time, abs=5e-3)
    assert abs(own - time) > 0.01
    # Another set about as fast differs by as much.
    assert evaluator.own_time(BASELINE, time + 3.0) == pytest.approx(own + 3.0)
    assert evaluator.own_plan(NEAR).finish_time == pytest.approx(own, abs=5e-3)
