"""Starts beside a plan that is known: inside the new limits, and sooner at the same end."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.pacing import solve
from optimizer.pacing.convex import convex_program
from optimizer.pacing.interior_point import ROWS, interior_point
from optimizer.pacing.lagrangian import row_values
from optimizer.pacing.problem import COASTING_POWER
from optimizer.pacing.start import beginning
from tests.pacing.random_problems import random_problem

PROBLEM = random_problem(9, steps=300, length=20e3, effort_rate=0.95, effort_budget=20.0)


def coasting(problem, plan, share):
    """Nobody pedals on the fastest steps, and some of those beside them have a limit."""
    fast = plan.speed[1:] > np.quantile(plan.speed[1:], 1.0 - share)
    held = np.roll(fast, -1) & ~fast
    limit = np.array(problem.speed_limit)
    limit[1:] = np.where(held, np.minimum(limit[1:], 0.999 * plan.speed[1:]), limit[1:])
    return replace(problem, power_limit=np.where(fast, COASTING_POWER, problem.power_limit),
                   speed_limit=limit)


@pytest.mark.parametrize("share", [0.02, 0.2])
def test_a_start_keeps_inside_limits_that_moved(share):
    plan = solve(PROBLEM)
    program = convex_program(coasting(PROBLEM, plan, share))
    starts = beginning(program, plan)
    assert len(starts) == 3
    for at in starts[:2]:
        assert at.slack.min() > 0
        assert at.dual.min() > 0
        rows = row_values(program, at.x)
        for name in ("power", "coast", "top", "bottom"):
            row = ROWS.index(name)
            assert rows[row].max() < 0, name
            # What is left off is the neighbour's own, and what the new pace moves beside a limit.
            assert -rows[row] == pytest.approx(at.s[row], abs=0.1 * program.rows[row].size), name
    assert starts[2] is None


@pytest.mark.parametrize(("share", "least"), [(0.02, 4), (0.1, 2)])
def test_other_coasting_is_solved_sooner_beside_a_plan(share, least):
    """The number of iterations is a regression, with some room."""
    plan = solve(PROBLEM)
    program = convex_program(coasting(PROBLEM, plan, share))
    warm, cold = interior_point(program, beginning(program, plan)), interior_point(program)
    assert warm.converged
    assert float(PROBLEM.step @ warm.point.pace) == pytest.approx(
        float(PROBLEM.step @ cold.point.pace), rel=1e-7)
    assert warm.iterations <= cold.iterations - least


def test_a_neighbour_that_is_far_away_costs_next_to_nothing():
    plan = solve(PROBLEM)
    other = replace(PROBLEM, headwind=PROBLEM.headwind + 3.0, mass=PROBLEM.mass + 8.0,
                    effective_mass=PROBLEM.effective_mass + 8.0)
    program = convex_program(other)
    warm, cold = interior_point(program, beginning(program, plan)), interior_point(program)
    assert warm.iterations <= cold.iterations + 2
    assert float(PROBLEM.step @ warm.point.pace) == pytest.approx(
        float(PROBLEM.step @ cold.point.pace), rel=1e-7)


def test_a_chain_of_neighbours_ends_where_each_one_does_alone():
    plan = solve(PROBLEM)
    for share in (0.05, 0.0, 0.15, 0.1):
        problem = coasting(PROBLEM, plan, share) if share else PROBLEM
        plan = solve(problem, plan)
        assert plan.finish_time == pytest.approx(solve(problem).finish_time, abs=2e-3)
