"""Lower bounds: valid for any multipliers, close for the right ones."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.pacing import certificate, simulate, solve
from optimizer.pacing.certificate import attainable, dual_bound, linear_bound
from optimizer.pacing.convex import convex_program, drag_in_energy
from optimizer.pacing.interior_point import interior_point
from optimizer.pacing.lagrangian import Point
from tests.later import later
from tests.pacing.random_problems import random_problem

CASES = [{}, {"recovery": 0.6}, {"effort_rate": 0.95, "effort_budget": 20.0},
         {"reserve_floor": 2000.0, "start_speed": 9.0}]


def case(fields, seed=8, wind=6.0):
    problem = random_problem(seed, **({"steps": 300, "length": 20e3, "wind": wind} | fields))
    program = convex_program(problem)
    return problem, program, interior_point(program)


@pytest.mark.parametrize("fields", CASES)
@pytest.mark.parametrize("size", [1e-4, 1e-2, 0.2])
def test_no_multipliers_and_no_point_lift_the_bound_above_a_plan(fields, size):
    problem, program, solution = case(fields)
    best = solve(problem).finish_time
    rng = np.random.default_rng(1)
    for _ in range(6):
        y = solution.multipliers * np.exp(size * rng.normal(size=solution.multipliers.shape))
        x = solution.point
        energy = x.energy * np.exp(0.3 * size * rng.normal(size=x.energy.shape))
        energy[0] = program.start_energy
        energy[1:] = np.clip(energy[1:], program.bottom, program.top)
        off = replace(solution, multipliers=y, point=Point(
            energy, x.reserve, x.work * np.exp(size * rng.normal(size=x.work.shape)), x.pace),
            effort_multiplier=solution.effort_multiplier * float(np.exp(size * rng.normal())))
        assert dual_bound(program, off) <= best
    assert dual_bound(program, solution) == pytest.approx(best, rel=5e-5)


@pytest.mark.parametrize("fields", CASES)
def test_both_routes_come_close_to_the_plan(fields):
    problem, program, solution = case(fields)
    best = solve(problem).finish_time
    narrow = attainable(program)
    assert linear_bound(narrow, solution) <= best
    assert linear_bound(narrow, solution) == pytest.approx(best, rel=1e-4)
    assert dual_bound(narrow, solution) <= best
    # Dips are sampled at other speeds, which moves the bound by a thousandth of a second.
    assert dual_bound(narrow, solution) >= dual_bound(program, solution) - 1e-6 * best


@pytest.mark.parametrize("fields", CASES)
def test_where_highs_begins_does_not_move_its_optimum(fields, monkeypatch):
    """Against the same program solved from nothing by SciPy's dual simplex."""
    _, program, solution = case(fields)
    narrow = attainable(program)
    begun = []
    original = certificate._optimal_multipliers
    monkeypatch.setattr(certificate, "_optimal_multipliers",
                        lambda *a: begun.append(original(*a)) or begun[-1])
    bound = linear_bound(narrow, solution)
    assert begun[0] is not None
    monkeypatch.setattr(certificate, "_optimal_multipliers", lambda *_: None)
    assert bound == pytest.approx(linear_bound(narrow, solution), abs=1e-3)


@pytest.mark.parametrize("seed", [3, 5, 8])
def test_nobody_is_faster_than_what_is_attainable(seed):
    problem, program, _ = case({"start_speed": 6.0}, seed)
    top = attainable(program).top
    assert np.all(top <= program.top * (1 + 1e-12))
    rng = np.random.default_rng(seed)
    fastest = 0.5 * simulate(problem, problem.power_limit).speed[1:] ** 2
    assert np.all(fastest <= top)
    for _ in range(5):
        power = problem.power_limit * rng.uniform(0.0, 1.0, problem.steps)
        assert np.all(0.5 * simulate(problem, power).speed[1:] ** 2 <= top)


def test_what_is_attainable_is_the_ride_at_the_power_limit():
    """On the flat without wind more speed at a step's start is more at its end."""
    problem, program, _ = case({"grade": np.zeros(300), "speed_limit": np.full(301, np.inf),
                                "start_speed": 9.0}, wind=0.0)
    ride = 0.5 * simulate(problem, problem.power_limit).speed[1:] ** 2
    assert attainable(program).top == pytest.approx(ride, rel=0.02)


@pytest.mark.parametrize(("seed", "raised"), [
    (8, True), (30, True), *later((5, False), (19, True))])
def test_no_step_within_the_bounds_ends_above_them(seed, raised):
    """By bisection of the energy balance of each step, from many speeds at its start.

    On long steps up a hill a slow start can end faster than a fast one: it takes longer, and the
    power limit more work.
    """
    problem = random_problem(seed, wind=10.0)
    program = convex_program(problem)
    top = attainable(program).top
    low = np.concatenate([[program.start_energy], program.bottom[:-1]])
    high = np.append(program.start_energy, top[:-1])
    start = low + np.linspace(0.0, 1.0, 60)[:, None] * np.maximum(high - low, 0.0)
    below, above = np.full_like(start, 1e-3), np.full_like(start, 4000.0)
    work = 2.0 * problem.drivetrain_efficiency * problem.power_limit
    for _ in range(60):
        end = 0.5 * (below + above)
        given = work / (np.sqrt(2 * start) + np.sqrt(2 * end))
        taken = (program.inertia * (end - start) + program.resistance
                 + drag_in_energy(problem, 0.5 * (start + end))[0])
        below, above = np.where(taken < given, end, below), np.where(taken < given, above, end)
    held = (below <= top * (1 + 1e-6)).all(axis=0) | (top >= program.top * (1 - 1e-12))
    assert held.all()
    ride = 0.5 * simulate(problem, 1.01 * problem.power_limit).speed[1:] ** 2
    assert bool((top > 1.0011 * ride).any()) is raised
