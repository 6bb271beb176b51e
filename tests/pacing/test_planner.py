"""Plans on a course: winds that change, the grid's error, limits that leave nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.conditions import Conditions
from optimizer.course import Course
from optimizer.day import Pedalling, RaceDay
from optimizer.errors import Infeasible
from optimizer.pacing import plan_ride, planner, simulate, solve
from optimizer.pacing.problem import pacing_problem
from optimizer.pacing.simulate import require_moving
from optimizer.physics import Setup, lay_road
from optimizer.rider import Position, Rider
from tests.pacing.random_problems import random_problem

RIDER = Rider("x", 70.0, 270.0, 18e3, 480.0, (Position("aero", 0.25), Position("up", 0.32)))
BIKE = Setup("bike", 9.0, 0.004)
TURNING = Conditions(wind_time=[0.0, 900.0], wind_east=np.zeros((2, 1)),
                     wind_north=[[-5.0], [3.0]])


def course(*grades, length=1500.0):
    """Stretches of constant grade, northwards."""
    grade = np.repeat(grades, 30)
    step = np.full(len(grade), length / 30)
    n = len(grade)
    return Course("made up", np.concatenate([[0.0], np.cumsum(step)]), np.zeros(n + 1),
                  np.zeros(n + 1), np.concatenate([[0.0], np.cumsum(step * grade)]), np.zeros(n),
                  np.ones(n), np.full(n + 1, np.inf), np.full(n, 0.03), np.ones(n))


ROAD = course(0.0, 0.03, -0.02, 0.01)


@pytest.mark.parametrize("road", [ROAD, course(0.0, 0.03, 0.35, 0.0, length=200.0)],
                         ids=["rolling", "a wall that CP does not climb"])
def test_a_wind_that_changes_is_the_one_that_the_plan_meets(road):
    rider = replace(RIDER, max_power=1500.0)
    plan = plan_ride(RaceDay(road, TURNING, rider, step=100.0), BIKE)
    met = lay_road(road, TURNING, plan.distance, plan.time)
    assert plan.problem.headwind == pytest.approx(met.headwind, abs=0.02)
    warm = plan_ride(RaceDay(road, TURNING, rider, step=100.0), BIKE, warm=plan)
    assert warm.finish_time == pytest.approx(plan.finish_time, abs=0.05)


def test_the_error_of_the_grid_is_measured_with_positions_and_coasting_of_their_own():
    nodes = planner.grid(ROAD, 60.0)
    middle = 0.5 * (nodes[1:] + nodes[:-1])
    up = (middle > 1500.0) & (middle < 3000.0)
    day = RaceDay(ROAD, Conditions(), RIDER, step=60.0, position=up.astype(np.int64),
                  pedalling=Pedalling(middle < 0.0, middle > 4000.0))
    plan = plan_ride(day, BIKE, measure_grid=True)
    case = (day, BIKE, nodes)
    for _ in range(3):
        case = planner.halved(*case)
    fine = planner.consistent_plan(*case).plan
    assert 0 < plan.grid_error < 1.0
    left = abs(plan.continuous_time - fine.finish_time)
    assert left < 0.02
    assert left < 0.5 * plan.grid_error
    assert np.isnan(fine.grid_error)


def test_both_bounds_lie_below_the_plan():
    road = lay_road(ROAD, Conditions(), planner.grid(ROAD, 100.0))
    plan = solve(pacing_problem(road, RIDER, BIKE), second_bound=True)
    assert plan.linear_bound == pytest.approx(plan.finish_time, rel=2e-3)
    assert plan.linear_bound <= plan.finish_time
    assert plan.lower_bound <= plan.finish_time


def test_a_power_limit_below_critical_power_is_refused():
    road = lay_road(ROAD, Conditions(), planner.grid(ROAD, 100.0))
    with pytest.raises(Infeasible, match="power limit of 270 W is not above"):
        pacing_problem(road, replace(RIDER, max_power=270.0), BIKE)


def test_a_speed_limit_at_walking_pace_is_named():
    limit = np.full(301, np.inf)
    limit[120] = 1.0
    with pytest.raises(Infeasible, match=r"speed limit at 8\.00 km is not above 1\.0 m/s"):
        solve(random_problem(2, steps=300, length=20e3, wind=0.0, speed_limit=limit))


def test_where_a_ride_stops_is_named():
    grade = np.repeat([0.0, 0.2, 0.0], 100)
    problem = random_problem(2, steps=300, length=9e3, grade=grade, start_speed=8.0, wind=0.0)
    ride = simulate(problem, np.full(300, 100.0))
    with pytest.raises(Infeasible, match=r"stop at 3\.\d\d km"):
        require_moving(ride, problem)
    require_moving(simulate(problem, np.full(300, 900.0)), problem)
