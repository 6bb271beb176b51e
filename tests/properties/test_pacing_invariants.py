"""What holds for every pacing problem."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.pacing import Variation, sensitivities, simulate, simulate_many, solve
from optimizer.pacing.problem import split_steps
from optimizer.physics import DragArea
from optimizer.rider.recovery import SLOWING
from tests.pacing.random_problems import random_problem

SLACK = 1e-4  # s, what rounding leaves of a plan
SEEDS = st.integers(min_value=0, max_value=10_000)
MODEST = settings(max_examples=12, deadline=None, derandomize=True)


def drawn(seed, **fields):
    return random_problem(seed, **({"steps": 300, "length": 20e3, "steepest": 0.08} | fields))


def scaled(drag, factor):
    return DragArea(drag.yaw, drag.area * factor)


@given(SEEDS, st.floats(1.01, 1.5))
@MODEST
def test_more_reserve_is_never_slower(seed, factor):
    problem = drawn(seed)
    more = replace(problem, w_prime=problem.w_prime * factor)
    assert solve(more).finish_time <= solve(problem).finish_time + SLACK


@given(SEEDS, st.floats(0.8, 0.99))
@MODEST
def test_less_drag_is_never_slower_in_still_air(seed, factor):
    """In a strong tail wind drag pushes; there less of it may well be slower."""
    problem = drawn(seed, wind=0.0)
    less = replace(problem, drag=scaled(problem.drag, factor))
    assert solve(less).finish_time <= solve(problem).finish_time + SLACK


@given(SEEDS)
@MODEST
def test_splitting_steps_changes_little(seed):
    problem = drawn(seed, steps=600)
    whole, split = solve(problem), solve(split_steps(problem, np.full(600, 2)))
    assert split.finish_time == pytest.approx(whole.finish_time, rel=3e-3)


@given(SEEDS, st.sampled_from([{}, {"recovery": 0.6}, {"effort_rate": 0.9},
                               {"reserve_floor": 2000.0}, {"recovery_law": SLOWING}]))
@MODEST
def test_every_limit_is_kept_and_the_bound_is_below(seed, fields):
    problem = drawn(seed, **fields)
    plan = solve(problem)
    assert np.all(plan.power <= problem.power_limit * (1 + 1e-12))
    assert np.all(plan.power >= 0)
    assert plan.lowest_reserve >= problem.reserve_floor - 2e-6 * problem.w_prime
    assert np.all(plan.speed <= np.minimum(problem.speed_limit, 45.0) * (1 + 1e-9))
    assert plan.lower_bound <= plan.finish_time
    ride = simulate(problem, plan.power)
    assert float(ride.finish_time) == pytest.approx(plan.finish_time, abs=1e-6)
    assert ride.reserve == pytest.approx(plan.reserve, abs=1e-3)
    if "effort_rate" in fields:
        spent = np.sum((plan.power / problem.critical_power) ** 4 * np.diff(plan.time))
        assert spent <= 0.9**4 * plan.finish_time * (1 + 2e-6)


@given(SEEDS)
@MODEST
def test_one_ride_and_many_are_the_same(seed):
    problem = drawn(seed)
    power = solve(problem).power * 0.98
    one, many = simulate(problem, power), simulate_many(problem, power[:, None], Variation())
    assert many.speed[:, 0] == pytest.approx(one.speed, abs=1e-7)
    assert float(many.finish_time[0]) == pytest.approx(float(one.finish_time), abs=1e-5)


@given(SEEDS)
@MODEST
def test_scenarios_do_not_know_of_each_other(seed):
    problem = drawn(seed)
    rng = np.random.default_rng(seed)
    power = problem.critical_power[:, None] * 0.95
    wind, cross = rng.normal(0.0, 2.0, (2, problem.steps, 6))
    drag = rng.normal(1.0, 0.03, 6)
    there = simulate_many(problem, power, Variation(headwind=wind, crosswind=cross,
                                                    drag_factor=drag))
    back = simulate_many(problem, power, Variation(
        headwind=wind[:, ::-1], crosswind=cross[:, ::-1], drag_factor=drag[::-1]))
    assert back.finish_time[::-1] == pytest.approx(there.finish_time, abs=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_error_of_the_grid_is_of_second_order(seed):
    """On a smooth road, halving the steps takes three quarters of the error away."""
    def time(n):
        nodes = np.linspace(0.0, 12e3, n + 1)
        middle = 0.5 * (nodes[1:] + nodes[:-1])
        grade = 0.03 * np.sin(2 * np.pi * middle / 3000.0 + seed)
        wind = 2.0 * np.cos(2 * np.pi * middle / 6000.0 + seed)
        return solve(drawn(
            seed, steps=n, length=12e3, grade=grade, headwind=wind, crosswind=wind[::-1],
            speed_limit=np.full(n + 1, np.inf), power_limit=np.full(n, 700.0),
            critical_power=np.full(n, 280.0), start_speed=9.0, mass=80.0, effective_mass=81.5,
            w_prime=18e3, drag=DragArea.constant(0.27))).finish_time

    first, second, third = time(300), time(600), time(1200)
    assert 3.0 < (second - first) / (third - second) < 5.5


@pytest.mark.parametrize("seed", range(3))
def test_warm_start_finds_the_same_plan(seed):
    problem = drawn(seed)
    other = solve(replace(problem, drag=scaled(problem.drag, 0.97)))
    cold, warm = solve(problem), solve(problem, other)
    assert warm.finish_time == pytest.approx(cold.finish_time, abs=2e-4)


def test_the_same_twice():
    one, two = solve(drawn(3)), solve(drawn(3))
    assert np.array_equal(one.power, two.power)
    assert one.lower_bound == two.lower_bound


@pytest.mark.parametrize("seed", [1, 4])
@pytest.mark.parametrize("fields", [{}, {"effort_rate": 0.95}, {"recovery": 0.6}])
def test_sensitivities_are_differences_of_plans(seed, fields):
    problem = drawn(seed, wind=5.0, **fields)
    by = sensitivities(solve(problem))

    def slope(up, down, width):
        return (solve(up).finish_time - solve(down).finish_time) / width

    def both(name, change):
        value = getattr(problem, name)
        return (replace(problem, **{name: value + change}),
                replace(problem, **{name: value - change}), 2 * change)

    area = problem.drag.area
    more, less = (replace(problem, drag=DragArea(problem.drag.yaw, area + d))
                  for d in (0.002, -0.002))
    expected = {
        "drag_area": slope(more, less, 0.004), "w_prime": slope(*both("w_prime", 100.0)),
        "critical_power": slope(*both("critical_power", 0.5)),
        "rolling_resistance": slope(*both("rolling_resistance", 1e-4)),
        "headwind": slope(*both("headwind", 0.02)),
        "air_density": slope(*both("air_density", 0.005))}
    for name, value in expected.items():
        assert float(np.sum(getattr(by, name))) == pytest.approx(
            value, rel=0.02, abs=1e-6), name
