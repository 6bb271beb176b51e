"""Plans against CasADi + IPOPT on the same arrays, and the two lower bounds against each other."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.pacing import simulate, solve
from optimizer.rider.recovery import SLOWING
from tests.oracles.general_solver import general_solution
from tests.pacing.random_problems import random_problem

CLOSE = 0.01  # s

KINDS = {
    "plain": {"yaw": False},
    "flying start": {"yaw": False, "start_speed": 8.0},
    "partial recovery": {"yaw": False, "recovery": 0.6},
    "effort limit": {"yaw": False, "effort_rate": 0.9},
    "reserve to keep": {"yaw": False, "reserve_floor": 3000.0},
    "calm": {"yaw": False, "wind": 0.0},
}


@pytest.mark.parametrize("seed", [3, 7])
@pytest.mark.parametrize("kind", KINDS)
def test_finish_time_of_a_general_solver(kind, seed):
    problem = random_problem(seed, steps=250, length=18e3, **KINDS[kind])
    found = general_solution(problem)
    assert found.settled
    assert solve(problem).finish_time == pytest.approx(found.finish_time, abs=CLOSE)


def test_finish_time_with_drag_that_changes_with_yaw():
    problem = random_problem(5, steps=60, length=6e3)
    found = general_solution(problem)
    assert found.settled
    assert solve(problem).finish_time == pytest.approx(found.finish_time, abs=CLOSE)


def test_positions_in_turn():
    problem = random_problem(9, steps=200, length=15e3, yaw=False)
    from optimizer.physics import DragArea

    turn = (np.arange(problem.steps) // 20) % 2
    mixed = random_problem(
        9, steps=200, length=15e3, yaw=False, position=turn,
        drag=DragArea(np.zeros(1), np.array([[0.24], [0.33]])),
        critical_power=problem.critical_power * np.where(turn == 1, 1.04, 1.0))
    found = general_solution(mixed)
    assert found.settled
    assert solve(mixed).finish_time == pytest.approx(found.finish_time, abs=CLOSE)


@pytest.mark.parametrize("seed", [0, 2])
def test_slowing_recovery_is_near_a_local_optimum(seed):
    """IPOPT, started from our plan, finds next to nothing to win."""
    problem = random_problem(seed, steps=200, length=15e3, yaw=False, recovery_law=SLOWING)
    plan = solve(problem)
    found = general_solution(problem, plan.power, plan.speed)
    assert found.settled
    assert plan.finish_time >= found.finish_time - CLOSE
    assert plan.finish_time <= found.finish_time * 1.001


def test_ipopt_cannot_beat_the_bound():
    for seed in range(3):
        problem = random_problem(seed, steps=200, length=15e3, yaw=False, wind=10.0)
        plan = solve(problem)
        found = general_solution(problem)
        assert found.finish_time >= plan.lower_bound - 1e-3
        ride = simulate(problem, np.minimum(found.power, problem.power_limit))
        assert float(ride.finish_time) == pytest.approx(found.finish_time, abs=0.05)


@pytest.mark.parametrize(("seed", "wind"), [(1, 0.0), (4, 4.0), (6, 10.0), (8, 10.0)])
def test_two_bounds_agree(seed, wind):
    """HiGHS finds its own multipliers: at least as high as ours, never above a plan."""
    plan = solve(random_problem(seed, steps=300, length=25e3, wind=wind), second_bound=True)
    assert plan.lower_bound <= plan.finish_time
    assert plan.linear_bound <= plan.finish_time + 1e-6
    assert plan.linear_bound >= plan.lower_bound - 1e-3
    assert plan.finish_time - plan.linear_bound < 1e-3 * plan.finish_time


@pytest.mark.parametrize("fields", [{"effort_rate": 0.9}, {"recovery": 0.5}])
def test_two_bounds_agree_with_other_rows(fields):
    plan = solve(random_problem(4, steps=200, length=20e3, **fields), second_bound=True)
    assert plan.lower_bound - 1e-3 <= plan.linear_bound <= plan.finish_time + 1e-6
