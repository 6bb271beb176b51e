"""Riding a card to the letter: slopes, best figures, round figures."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq, minimize, nnls

from optimizer.pacing import solve
from optimizer.pacing.literal import (
    Layout,
    NoFigures,
    _least_distance,
    _not_negative,
    _root,
    best_figures,
    highest_even,
    room,
    round_figures,
)
from optimizer.rider.recovery import SLOWING
from tests.pacing.random_problems import random_problem
from tests.published.uniform_course import stretches

BIKE = {"mass": 82.0, "area": 0.26, "rolling": 0.004, "efficiency": 0.976, "power": 270.0,
        "inertia": 83.5}
GUESS = np.full(301, 40.0)


def four_lines(problem):
    """Four lines on 300 steps, and a figure for climbs on top."""
    share = np.zeros((300, 5))
    for k, (a, b) in enumerate(itertools.pairwise((0, 80, 150, 230, 300))):
        share[a:b, k] = 1.0
    share[problem.grade > 0.02, 4] = 1.0
    return Layout(problem, np.array([0, 80, 150, 230, 300]), share, np.zeros(300),
                  problem.step / 10.0 / np.mean(problem.critical_power) ** 2)


@pytest.mark.parametrize("fields", [
    {}, {"recovery": 0.6}, {"recovery_law": SLOWING},
    {"effort_rate": 0.95, "effort_budget": 30.0}, {"effort_rate": 0.95, "pedalling_speed": 11.0}])
@pytest.mark.parametrize(("seed", "corners"), [(3, False), (5, False), (3, True)])
def test_slopes_are_differences_of_rides(seed, corners, fields):
    problem = random_problem(seed, steps=300, length=15e3, wind=4.0, start_speed=8.0, **fields)
    if not corners:
        problem = replace(problem, speed_limit=np.full(301, np.inf))
    layout = four_lines(problem)
    x = float(problem.critical_power[0]) * np.array([1.05, 0.9, 1.1, 0.8, 0.15])
    ride = layout.ride(x)
    lowest = layout.lowest(ride)

    def values(x):
        there = layout.ride(x)
        rows = (there.reserve[lowest] - problem.reserve_floor) / problem.w_prime
        if problem.effort is not None:
            spent = (there.power / problem.critical_power) ** 4 @ np.diff(there.time)
            allowed = problem.effort.per_second * there.time[-1] + problem.effort.budget
            rows = np.append(rows, 10.0 * (allowed - spent) / there.time[-1])
        return np.array([float(there.finish_time), *rows])

    time, rows = layout.slopes(x, ride)
    assert layout.room(ride) == pytest.approx(values(x)[1:])
    for j in range(5):
        move = 0.02 * np.eye(5)[j]
        by = (values(x + move) - values(x - move)) / 0.04
        assert time[j] == pytest.approx(by[0], rel=2e-3, abs=1e-5)
        assert rows[:, j] == pytest.approx(by[1:], rel=3e-3, abs=2e-5)


def test_the_step_against_a_general_solver():
    rng = np.random.default_rng(4)
    for _ in range(20):
        slope, rows = rng.standard_normal(4), rng.standard_normal((7, 4))
        left = rng.uniform(0.0, 1.0, 7)
        found = minimize(lambda d, s=slope: s @ d + 0.5 * d @ d, np.zeros(4), method="SLSQP",
                         jac=lambda d, s=slope: s + d, options={"ftol": 1e-12},
                         constraints={"type": "ineq", "fun": lambda d, r=rows, w=left: r @ d + w})
        assert _least_distance(slope, rows, left) == pytest.approx(found.x, abs=1e-5)


def test_non_negative_fits_against_a_library():
    rng = np.random.default_rng(7)
    for trial in range(300):
        rows, columns = rng.integers(1, 14, 2)
        A, b = rng.standard_normal((rows, columns)), rng.standard_normal(rows)
        if trial % 3 == 0:  # as a step asks for it; columns that say the same
            A, b = np.vstack([A, A[0]]), np.append(np.zeros(rows), 1.0)
            A[:, -1] = A[:, 0]
        x, left = _not_negative(A, b)
        assert x.min() >= 0.0
        assert left == pytest.approx(np.linalg.norm(A @ x - b), abs=1e-12)
        assert left == pytest.approx(nnls(A, b)[1], abs=1e-9)


@pytest.mark.parametrize("falling", [
    lambda x: 300.1 - x, lambda x: 1.0 - (x / 270.0) ** 9, lambda x: np.tanh(240.0 - x),
    lambda x: np.cbrt(333.0 - x)])
def test_a_root_against_a_library(falling):
    wanted = brentq(falling, 200.0, 900.0, xtol=1e-9)
    assert _root(falling, 200.0, 900.0) == pytest.approx(wanted, abs=2e-5)


@pytest.mark.parametrize("seed", [3, 5, 8])
def test_best_figures_against_a_general_solver(seed):
    problem = random_problem(seed, steps=300, length=20e3, wind=4.0, start_speed=8.0,
                             effort_rate=0.95, effort_budget=20.0)
    layout = four_lines(problem)
    first = np.append(np.full(4, 0.8 * problem.critical_power[0]), 0.0)
    _, ride = best_figures(layout, first, GUESS)
    assert room(problem, ride) >= -1e-6
    found = minimize(
        lambda y: float(layout.ride(50 * y).finish_time) / 100, first / 50, method="SLSQP",
        bounds=[(0, problem.power_limit[0] / 50)] * 5, options={"ftol": 1e-7, "maxiter": 60},
        constraints={"type": "ineq", "fun": lambda y: layout.room(layout.ride(50 * y))})
    there = layout.ride(50 * found.x * (1 - 1e-4))
    assert float(ride.finish_time) < float(there.finish_time) + 0.2


def test_highest_even_power_uses_the_reserve_up():
    problem = stretches([10e3], step=50.0, start_speed=11.0, w_prime=15e3, **BIKE)
    layout = Layout(problem, np.array([0, 200]), np.ones((200, 1)), np.zeros(200), np.ones(200))
    x, ride = highest_even(layout, np.full(201, 60.0))
    # By hand: what is above CP uses the reserve up at the finish.
    assert (x[0] - 270.0) * float(ride.finish_time) == pytest.approx(15e3, rel=1e-4)


def test_figures_that_cannot_be_are_refused():
    wall = stretches([8000.0, 400.0], step=20.0, grades=[0.0, 0.35], start_speed=8.0,
                     w_prime=9e3, **BIKE)
    layout = Layout(wall, np.array([0, 420]), np.ones((420, 1)), np.zeros(420), np.ones(420))
    with pytest.raises(NoFigures):
        best_figures(layout, np.array([300.0]), np.full(421, 60.0))


@pytest.mark.parametrize(("grade", "unit", "w_prime", "limit"), [
    (0.04, 20.0, 15e3, 2700.0), (0.03, 25.0, 9e3, 2700.0), (0.05, 25.0, 12e3, 2700.0),
    (0.02, 30.0, 18e3, 2700.0), (0.06, 30.0, 15e3, 2700.0), (0.06, 20.0, 20e3, 305.0)])
def test_round_figures_against_every_pair(grade, unit, w_prime, limit):
    """Two lines, up and down: of all pairs of round powers within the limits, the best."""
    problem = stretches([3000.0, 3000.0], step=50.0, grades=[grade, -0.01], start_speed=6.0,
                        w_prime=w_prime, power_limit=np.full(120, limit), **BIKE)
    layout = Layout(problem, np.array([0, 60, 120]), np.repeat(np.eye(2), 60, axis=0),
                    np.zeros(120), np.full(120, 1e-4))
    plan = solve(problem)
    guess = 0.5 * plan.speed**2
    x, _ = best_figures(layout, np.array([290.0, 250.0]), guess)
    figures, ride = round_figures(layout, x, unit, guess, np.full(2, limit))
    best = np.inf
    for watts in itertools.product(unit * np.arange(5, 20), repeat=2):
        trial = layout.ride(np.array(watts))
        if max(watts) <= limit and room(problem, trial) >= 0:
            best = min(best, float(trial.finish_time))
    assert float(ride.finish_time) == pytest.approx(best, abs=1e-6)
    assert np.all(figures <= limit)
    assert np.all(np.abs(figures / unit - np.round(figures / unit)) < 1e-9)
