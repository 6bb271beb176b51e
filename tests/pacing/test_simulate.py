"""Forward simulation against a general integrator, and its edges."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from optimizer.pacing import Variation, simulate, simulate_many
from optimizer.physics import DragArea, road_load
from optimizer.physics.road_load import aerodynamic_force, drag_and_slope
from tests.pacing.random_problems import random_problem


def test_ride_against_a_general_integrator():
    """The equation of motion in time, to 1e-9, by SciPy; a fine grid comes close."""
    n = 4000
    middle = (np.arange(n) + 0.5) * 2.5
    problem = random_problem(
        1, steps=n, length=10e3, grade=0.03 * np.sin(2 * np.pi * middle / 2000.0),
        headwind=np.full(n, 2.0), crosswind=np.full(n, 1.0), start_speed=8.0,
        speed_limit=np.full(n + 1, np.inf))
    watts = 250.0

    def motion(_, state):
        place, speed = state
        force = road_load(np.array(speed), 0.03 * np.sin(2 * np.pi * place / 2000.0), 2.0, 1.0,
                          1.2, drag=problem.drag, mass=problem.mass, rolling_resistance=0.004,
                          bearing=problem.bearing)
        return [speed, (0.976 * watts / speed - float(force)) / problem.effective_mass]

    def finish(_, state):
        return state[0] - 10e3

    finish.terminal = True
    found = solve_ivp(motion, (0.0, 4000.0), [0.0, 8.0], events=finish, rtol=1e-9, atol=1e-9)
    ride = simulate(problem, np.full(n, watts))
    assert float(ride.finish_time) == pytest.approx(found.t_events[0][0], abs=0.01)


@pytest.mark.parametrize("table", [DragArea.constant(0.3), DragArea(
    np.radians([0.0, 10.0, 20.0]), np.array([[0.25, 0.23, 0.26], [0.33, 0.32, 0.34]]))])
def test_short_form_of_the_drag(table):
    rng = np.random.default_rng(1)
    speed, head, cross = rng.uniform(1, 20, 500), rng.normal(0, 8, 500), rng.normal(0, 8, 500)
    force, slope, _ = aerodynamic_force(speed, head, cross, 1.2, table, 0)
    short, short_slope = drag_and_slope(speed, head, cross, 1.2, table, 0)
    assert short == pytest.approx(force, abs=1e-10)
    assert short_slope == pytest.approx(slope, abs=1e-10)
    more = drag_and_slope(speed, head, cross, 1.2, table, 0, factor=1.1, change=0.01)[0]
    extra = aerodynamic_force(speed, head, cross, 1.2, DragArea.constant(0.01))[0]
    assert more == pytest.approx(1.1 * force + extra, abs=1e-10)


def test_a_stalled_ride_says_so():
    problem = random_problem(2, steps=300, length=10e3, grade=np.full(300, 0.2))
    assert simulate(problem, np.full(300, 60.0)).stalled
    assert simulate_many(problem, np.full((300, 3), 60.0), Variation()).stalled.all()


def test_reserve_never_exceeds_what_is_full():
    problem = random_problem(4, steps=300, length=10e3, recovery=0.5)
    rng = np.random.default_rng(2)
    power = problem.critical_power[:, None] * rng.uniform(0.3, 1.6, (300, 20))
    ride = simulate_many(problem, power, Variation())
    assert np.all(ride.reserve <= problem.w_prime * (1 + 1e-12))
    pace = np.diff(ride.time[:, 0])
    level = problem.w_prime
    for k in range(300):
        net = (problem.critical_power[k] - power[k, 0]) * pace[k]
        level = min(level + net * (0.5 if net > 0 else 1.0), problem.w_prime)
        assert ride.reserve[k + 1, 0] == pytest.approx(level, abs=1e-6)
