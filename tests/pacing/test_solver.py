"""Plans at the edge of what is possible, and the limits that are named beyond it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from optimizer.errors import Infeasible
from optimizer.pacing import simulate, solve, solver
from optimizer.pacing.convex import convex_program
from optimizer.pacing.interior_point import interior_point
from optimizer.pacing.problem import split_steps
from optimizer.pacing.solver import StepTooLong
from tests.pacing.random_problems import random_problem


def calm(**fields):
    return random_problem(2, **({"steps": 300, "length": 20e3, "wind": 0.0} | fields))


def hill(grade, watts, limit, **fields):
    """Five flat kilometres, one of climb, four flat."""
    n = 400
    return calm(steps=n, length=10e3, grade=np.repeat([0.0, grade, 0.0], [200, 40, 160]),
                speed_limit=np.full(n + 1, np.inf), critical_power=np.full(n, watts),
                power_limit=np.full(n, limit), mass=90.0, effective_mass=91.5, **fields)


def test_power_limit_below_what_the_climb_takes():
    with pytest.raises(Infeasible, match=r"climb at 5\.\d+ km .* takes \d+ W .* limit is 160 W"):
        solve(hill(0.25, 120.0, 160.0))


def test_reserve_too_small_for_the_climb():
    with pytest.raises(Infeasible, match=r"reserve of 8\.0 kJ .* does not carry"):
        solve(hill(0.22, 100.0, 500.0, w_prime=8e3))


def test_nothing_left_to_spend():
    problem = calm()
    with pytest.raises(Infeasible, match="reserve to keep"):
        solve(replace(problem, reserve_floor=problem.w_prime))


def test_effort_that_no_climb_allows():
    with pytest.raises(Infeasible, match="effort"):
        solve(hill(0.12, 250.0, 600.0, effort_rate=0.05))


def test_no_effort_at_all():
    with pytest.raises(Infeasible, match="effort limit"):
        solve(calm(effort_rate=0.0))


def test_step_too_long_for_a_slope_is_named_and_shorter_ones_help():
    problem = random_problem(411, wind=10.0)
    with pytest.raises(StepTooLong, match="step of 310 m"):
        solve(problem)
    plan = solve(split_steps(problem, np.full(problem.steps, 4)))
    assert plan.gap < 1e-3 * plan.finish_time


@pytest.mark.parametrize("seed", [112, 230, 388, 391])
def test_plans_where_waiting_seems_to_pay(seed):
    """Lossy relaxations: said so, verified, and close to the bound all the same."""
    problem = random_problem(seed, wind=10.0)
    plan = solve(problem)
    assert not plan.lossless
    assert any("best among those near it" in note for note in plan.notes)
    assert plan.gap < 5e-3 * plan.finish_time
    ride = simulate(problem, plan.power)
    assert float(ride.finish_time) == pytest.approx(plan.finish_time, abs=1e-4)
    assert ride.reserve.min() >= -2e-6 * problem.w_prime


def test_ill_centred_iterates_recover():
    """A problem on which a plain corrector takes a hundred iterations."""
    assert solve(random_problem(104, wind=10.0)).iterations < 40


@pytest.mark.parametrize("seed", [3, 8])
def test_start_from_a_neighbour_is_as_good(seed):
    problem = random_problem(seed, steps=400, length=30e3)
    first = solve(problem)
    windier = replace(problem, headwind=problem.headwind + 0.3)
    assert solve(windier, first).finish_time == pytest.approx(solve(windier).finish_time, abs=1e-3)


@pytest.mark.parametrize(("seed", "rate"), [(9, 0.8), (9, 0.95), (55, 0.8), (66, 0.8), (110, 0.8),
                                            (147, 0.8)])
def test_an_effort_cap_on_a_slack_reserve_settles(seed, rate):
    """Where nothing asks for the reserve, its rows weigh nothing beside those of the work."""
    plan = solve(random_problem(seed, steps=300, length=20e3, effort_rate=rate))
    assert "settle" not in " ".join(plan.notes)
    assert plan.gap < 2e-2 * plan.finish_time


def test_a_program_that_ended_in_no_number_is_not_ridden(monkeypatch):
    # Against 60 m/s the numbers give out; riding powers that are none never ends soon.
    problem = calm()
    program = convex_program(problem)
    solution = interior_point(program)
    monkeypatch.setattr(solver, "interior_point", lambda *_, **__: replace(
        solution, converged=False, residual=math.nan))
    monkeypatch.setattr(solver, "_towards", None)
    solver._polish(program, solution, None)


def test_a_plan_that_is_far_outside_of_its_limits_is_given_up_after_a_few_rides(monkeypatch):
    problem = calm(w_prime=1000.0)
    ridden = []
    original = solver.simulate
    monkeypatch.setattr(solver, "simulate", lambda *a: ridden.append(1) or original(*a))
    ride = simulate(problem, problem.power_limit)
    assert solver._within(problem, problem.power_limit, ride) is None
    assert len(ridden) < 15
    slow = solver._steady(problem)
    assert slow is not None
    assert solver._spare(problem, slow.power, slow.ride) >= 0
