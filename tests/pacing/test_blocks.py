"""Blocks of constant power: where they begin, what they are worth, and that limits are kept."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from optimizer.course import Corner, Course, Mark
from optimizer.errors import Infeasible
from optimizer.pacing import (
    constant_power,
    constant_speed,
    recognisable_places,
    rideable,
    simulate,
    solve,
)
from optimizer.pacing.blocks import _edges, _Layout
from tests.pacing.random_problems import random_problem
from tests.published.uniform_course import stretches

BIKE = {"mass": 82.0, "area": 0.26, "rolling": 0.004, "efficiency": 0.976, "power": 270.0,
        "inertia": 83.5}


def course(grades, length=1000.0, **fields):
    """Stretches of constant grade, each of `length` metres, in steps of 20 m."""
    grade = np.repeat(grades, round(length / 20))
    distance = 20.0 * np.arange(len(grade) + 1)
    n = len(grade)
    return Course("made up", distance, np.zeros(n + 1), np.zeros(n + 1),
                  np.concatenate([[0.0], np.cumsum(20.0 * grade)]), np.zeros(n), np.ones(n),
                  np.full(n + 1, np.inf), np.full(n, 0.03), np.ones(n), **fields)


def places(*args, **fields):
    return [(mark.name, round(mark.distance, -2))
            for mark in recognisable_places(course(*args, **fields))]


def test_a_change_of_grade_is_felt_and_named():
    found = places([0.0, 0.05, -0.05, 0.0])
    assert found[:2] == [("foot of the climb", 1000.0), ("crest", 2000.0)]
    assert [place for _, place in found] == [1000.0, 2000.0, 3000.0]
    assert found[2] == ("end of the descent", 3000.0)
    assert places([0.02, 0.06, 0.02]) == [("steeper", 1000.0), ("easier", 2000.0)]
    assert places([0.0, -0.03, -0.07, -0.02]) == [
        ("start of the descent", 1000.0), ("steeper descent", 2000.0),
        ("gentler descent", 3000.0)]
    assert places([0.0, 0.008, 0.0]) == []  # too little to feel
    assert places([0.0, 0.05], 300.0) == []  # too short to look ahead and behind


def test_marks_and_turns_are_known_best():
    def turn(name, at, way, dead=False):
        return Corner(name, at, 10.0, way, 5.0, dead_turn=dead)

    found = places([0.0, 0.05, 0.0], marks=(Mark("bridge", 1060.0), Mark("start line", 20.0)),
                   corners=(turn("", 1100.0, 1.5), turn("", 400.0, 1.5), turn("", 600.0, -1.5),
                            turn("", 1500.0, 3.1, dead=True), turn("church", 1600.0, 1.5),
                            turn("", 2980.0, 1.5)))
    # Within 150 m the mark stands for the turn and the foot, the dead turn for the church.
    assert found == [("right turn", 400.0), ("left turn", 600.0), ("bridge", 1100.0),
                     ("dead turn", 1500.0), ("crest", 2000.0)]


@pytest.mark.parametrize("blocks", [1, 2, 3, 5])
def test_edges_against_every_division(blocks):
    plan = solve(random_problem(3, steps=300, length=15e3, wind=0.0))
    candidates = np.array([0, 30, 70, 110, 160, 200, 250, 300])
    time = np.diff(plan.time)

    def cost(edges):
        return sum(np.average((plan.power[a:b] - np.average(plan.power[a:b], weights=time[a:b]))
                              ** 2, weights=time[a:b]) * time[a:b].sum()
                   for a, b in itertools.pairwise(edges))

    least = min(cost((0, *inner, 300)) for count in range(blocks)
                for inner in itertools.combinations(candidates[1:-1].tolist(), count))
    found = _edges(plan, plan.power, candidates, blocks)
    assert len(found) <= blocks + 1
    assert (found[0], found[-1]) == (0, 300)
    assert set(found) <= set(candidates)
    assert cost(found.tolist()) == pytest.approx(least, rel=1e-9)


@pytest.mark.parametrize("fields", [{}, {"recovery": 0.6}, {"slowing_recovery": True},
                                    {"effort_rate": 0.95, "effort_budget": 30.0}])
@pytest.mark.parametrize(("seed", "corners"), [(3, False), (5, False), (3, True)])
def test_slopes_are_differences_of_rides(seed, corners, fields):
    problem = random_problem(seed, steps=300, length=15e3, wind=4.0, start_speed=8.0, **fields)
    if not corners:
        problem = replace(problem, speed_limit=np.full(301, np.inf))
    edges = np.array([0, 80, 150, 230, 300])
    share = np.zeros((300, 5))
    for k, (a, b) in enumerate(itertools.pairwise(edges)):
        share[a:b, k] = 1.0
    share[problem.grade > 0.02, 4] = 1.0
    layout = _Layout(problem, edges, share)
    x = float(problem.critical_power[0]) * np.array([1.05, 0.9, 1.1, 0.8, 0.15])
    ride, used, held = layout.ride(x)
    lowest = layout.lowest(ride)

    def values(x):
        there, power, _ = layout.ride(x)
        spent = (power / problem.critical_power) ** 4 - (
            problem.effort.per_second if problem.effort else 0.0)
        effort = float(spent @ np.diff(there.time)) if problem.effort else 0.0
        return np.array([float(there.finish_time), effort, *there.reserve[lowest]])

    time, reserve, effort = layout.slopes(x, ride, used, held)
    for j in range(5):
        move = 0.02 * np.eye(5)[j]
        by = (values(x + move) - values(x - move)) / 0.04
        assert time[j] == pytest.approx(by[0], rel=2e-3, abs=1e-5)
        assert effort[j] == pytest.approx(by[1], rel=2e-3, abs=1e-5)
        # What riding faster into a braking zone saves there is left out of the slopes.
        assert reserve[:, j] == pytest.approx(by[2:], rel=0.04 if corners else 2e-3, abs=0.05)
    left = layout.room(ride, used)
    assert left[:4] == pytest.approx(values(x)[2:] / problem.w_prime)
    if fields.get("effort_rate"):
        assert left[4] == pytest.approx(10.0 * (30.0 - values(x)[1]) / 15e3)


def kept(problem, ridden):
    assert ridden.reserve.min() >= problem.reserve_floor - 1e-6 * problem.w_prime
    assert np.all(ridden.power <= problem.power_limit)
    if problem.effort is not None:
        spent = (ridden.power / problem.critical_power) ** 4 - problem.effort.per_second
        assert float(spent @ np.diff(ridden.time)) <= problem.effort.budget + 1e-3


@pytest.mark.parametrize("fields", [{"recovery": 0.6, "reserve_floor": 2000.0},
                                    {"slowing_recovery": True}, {"effort_rate": 0.93}])
def test_blocks_are_round_and_within_the_limits(fields):
    problem = random_problem(8, steps=300, length=20e3, start_speed=8.0, steepest=0.06, **fields)
    plan = solve(problem)
    marks = [Mark(f"mark {k}", 2000.0 * k) for k in range(1, 10)]
    ridden = rideable(plan, marks, blocks=4, rounding=10.0)
    assert 1 <= len(ridden.blocks) <= 4
    assert ridden.blocks[0].start == 0.0
    assert ridden.blocks[0].place == "start"
    assert ridden.blocks[-1].end == pytest.approx(20e3)
    for before, after in itertools.pairwise(ridden.blocks):
        assert before.end == after.start
        assert after.place == marks[round(after.start / 2000) - 1].name
    assert all(b.power % 10 == pytest.approx(0.0, abs=1e-9) for b in ridden.blocks)
    assert all(abs(h.extra / 10 - round(h.extra / 10)) < 1e-9 for h in ridden.hills)
    kept(problem, ridden)
    assert ridden.price == pytest.approx(ridden.finish_time - plan.finish_time)
    assert -1e-3 < ridden.price < 0.03 * plan.finish_time
    exact = rideable(plan, marks, blocks=4, rounding=0.0)
    kept(problem, exact)
    assert exact.finish_time <= ridden.finish_time + 0.05
    again = simulate(problem, ridden.power)
    assert float(again.finish_time) == pytest.approx(ridden.finish_time, abs=1e-3)


@pytest.mark.parametrize(("grade", "unit", "w_prime", "limit"), [
    (0.04, 20.0, 15e3, 2700.0), (0.03, 25.0, 9e3, 2700.0), (0.05, 25.0, 12e3, 2700.0),
    (0.02, 30.0, 18e3, 2700.0), (0.06, 30.0, 15e3, 2700.0), (0.06, 20.0, 20e3, 305.0)])
def test_round_powers_against_every_pair(grade, unit, w_prime, limit):
    """Two blocks, up and down: of all pairs of round powers within the limits, the best."""
    problem = stretches([3000.0, 3000.0], step=50.0, grades=[grade, -0.01], start_speed=6.0,
                        w_prime=w_prime, power_limit=np.full(120, limit), **BIKE)
    ridden = rideable(solve(problem), [Mark("top", 3000.0)], blocks=2, rounding=unit, hills=())
    layout = _Layout(problem, np.array([0, 60, 120]), np.repeat(np.eye(2), 60, axis=0))
    best = np.inf
    for watts in itertools.product(unit * np.arange(5, 20), repeat=2):
        ride, used, _ = layout.ride(np.array(watts))
        if max(watts) <= limit and layout.room(ride, used).min() >= 0:
            best = min(best, float(ride.finish_time))
    assert ridden.finish_time == pytest.approx(best, abs=1e-6)
    assert all(block.power <= limit for block in ridden.blocks)


def test_a_rule_for_hills_is_kept_where_it_wins():
    problem = stretches([1500.0] * 8, step=50.0, grades=[0.03, -0.03] * 4, start_speed=8.0,
                        w_prime=15e3, **BIKE)
    plan = solve(problem)
    with_rule = rideable(plan, [], blocks=1, rounding=5.0)
    without = rideable(plan, [], blocks=1, rounding=5.0, hills=())
    assert with_rule.finish_time < without.finish_time - 1.0
    up = [hill for hill in with_rule.hills if hill.low > 0]
    down = [hill for hill in with_rule.hills if hill.high <= 0]
    assert up
    assert down
    assert min(hill.extra for hill in up) > 0 > max(hill.extra for hill in down)
    assert without.hills == ()
    assert len(without.blocks) == 1


def test_constant_power_is_the_highest_that_the_reserve_allows():
    problem = stretches([10e3], step=50.0, start_speed=11.0, w_prime=15e3, **BIKE)
    ridden = constant_power(solve(problem))
    power = ridden.blocks[0].power
    # By hand: what is above CP uses the reserve up at the finish.
    assert (power - 270.0) * ridden.finish_time == pytest.approx(15e3, rel=2e-3)
    assert ridden.price >= 0


def test_constant_speed_on_the_flat_is_that_of_the_power():
    """Power balance by hand: CP and the whole reserve, at one speed from the start on."""
    from scipy.optimize import brentq

    problem = stretches([10e3], step=50.0, start_speed=45.0, w_prime=15e3, **BIKE)

    def missing(v):
        force = 0.5 * 1.2234 * 0.26 * v**2 + 82.0 * 9.80665 * 0.004
        return 0.976 * (270.0 + 15e3 / (10e3 / v)) - force * v

    assert constant_speed(problem) == pytest.approx(10e3 / brentq(missing, 5.0, 20.0), rel=1e-3)


def test_no_speed_can_be_held_up_a_wall():
    wall = stretches([1000.0, 500.0], step=25.0, grades=[0.0, 0.5], start_speed=8.0,
                     w_prime=15e3, **BIKE)
    assert np.isnan(constant_speed(wall))


def test_where_no_constant_power_keeps_the_reserve_it_is_said():
    """Walking up takes more than CP; one power for all leaves too little for the climb."""
    problem = stretches([8000.0, 400.0], step=20.0, grades=[0.0, 0.22], start_speed=8.0,
                        w_prime=9e3, **BIKE)
    plan = solve(problem)
    with pytest.raises(Infeasible, match="blocks"):
        rideable(plan, [], blocks=1, rounding=5.0, hills=())
