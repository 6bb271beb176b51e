"""Forward simulation against a general integrator, and its edges."""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from optimizer.pacing import Variation, simulate, simulate_each, simulate_many
from optimizer.pacing.simulate import holding_power
from optimizer.physics import DragArea, road_load
from optimizer.physics.road_load import aerodynamic_force, drag_and_slope
from optimizer.rider.recovery import SLOWING
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
        net = (problem.critical_power[k] - ride.power[k, 0]) * pace[k]
        level = min(level + net * (0.5 if net > 0 else 1.0), problem.w_prime)
        assert ride.reserve[k + 1, 0] == pytest.approx(level, abs=1e-6)


def varied(problem):
    """Each entry of a variation, and the problem that it amounts to."""
    drag, wind = problem.drag, problem.headwind
    return {
        "headwind": ((wind + 0.7)[:, None], {"headwind": wind + 0.7}),
        "crosswind": ((problem.crosswind - 2.0)[:, None], {"crosswind": problem.crosswind - 2.0}),
        "drag_factor": (1.07, {"drag": DragArea(drag.yaw, 1.07 * drag.area)}),
        "drag_area_change": (-0.012, {"drag": DragArea(drag.yaw, drag.area - 0.012)}),
        "rolling_factor": (1.3, {"rolling_resistance": 1.3 * problem.rolling_resistance}),
        "mass_change": (2.5, {"mass": problem.mass + 2.5,
                              "effective_mass": problem.effective_mass + 2.5}),
        "density_factor": (0.93, {"air_density": 0.93 * problem.air_density}),
        "critical_power_factor": (0.96, {"critical_power": 0.96 * problem.critical_power}),
        "w_prime_factor": (0.8, {"w_prime": 0.8 * problem.w_prime})}


@pytest.mark.parametrize("name", varied(random_problem(5, steps=300, length=15e3)))
@pytest.mark.parametrize("fields", [{}, {"recovery": 0.6}, {"recovery_law": SLOWING}])
def test_a_variation_is_the_problem_that_it_says(name, fields):
    problem = random_problem(5, steps=300, length=15e3, start_speed=5.0, **fields)
    power = problem.critical_power * np.where(np.arange(300) % 60 < 30, 1.2, 0.8)
    value, changed = varied(problem)[name]
    many = simulate_many(problem, power[:, None], Variation(**{name: np.atleast_1d(value)}))
    one = simulate(replace(problem, **changed), power)
    assert many.time[:, 0] == pytest.approx(one.time, abs=1e-4)
    assert many.reserve[:, 0] == pytest.approx(one.reserve, abs=0.05)
    plain = simulate(problem, power)
    assert (np.abs(one.time - plain.time).max() > 0.5
            or np.abs(one.reserve - plain.reserve).max() > 100.0)


def test_a_factor_on_power_is_on_power():
    problem = random_problem(5, steps=300, length=15e3)
    power = 0.9 * problem.critical_power
    many = simulate_many(problem, power[:, None], Variation(power_factor=np.array([1.0, 1.1])))
    for k, factor in enumerate((1.0, 1.1)):
        one = simulate(problem, factor * power)
        assert float(many.finish_time[k]) == pytest.approx(float(one.finish_time), abs=1e-4)
        assert many.reserve[:, k] == pytest.approx(one.reserve, abs=0.05)


@pytest.mark.parametrize("fast", [np.inf, 11.0])
def test_cases_side_by_side_are_those_by_themselves(fast):
    problem = random_problem(5, steps=300, length=15e3, steepest=0.08, pedalling_speed=fast)
    power, rng = 0.9 * problem.critical_power[:, None], np.random.default_rng(1)
    windy = rng.normal(problem.headwind[:, None], 1.0, (300, 3))
    cases = [
        (power, Variation(power_factor=np.array([1.0, 1.1]), grade_change=np.full((300, 2), 1e-3))),
        (0.8 * power, Variation(headwind=windy, mass_change=np.array([0.0, 2.0, -1.0]),
                                drag_area_change=0.01, density_factor=0.95)),
        (np.hstack([power, 1.2 * power]), Variation(rolling_factor=1.1, w_prime_factor=0.5))]
    for (watts, variation), ride in zip(cases, simulate_each(problem, cases), strict=True):
        alone = simulate_many(problem, watts, variation)
        for name in ("speed", "time", "power"):
            assert getattr(ride, name) == pytest.approx(getattr(alone, name), rel=1e-6, abs=1e-4)
        assert ride.reserve == pytest.approx(alone.reserve, abs=0.5)
        assert not ride.stalled.any()


def test_slowing_recovery_against_a_general_integrator():
    """Skiba et al. 2015: W' refills at (CP - P)(W'0 - W)/W'0, and falls at P - CP."""
    problem = random_problem(5, steps=300, length=15e3, recovery_law=SLOWING, w_prime=12e3,
                             speed_limit=np.full(301, np.inf))
    power = problem.critical_power * np.where(np.arange(300) % 60 < 30, 1.15, 0.7)
    ride = simulate(problem, power)
    level, expected = 12e3, [12e3]
    for k, span in enumerate(np.diff(ride.time)):
        net = problem.critical_power[k] - ride.power[k]
        found = solve_ivp(lambda _, w, net=net: [net * (1 - w[0] / 12e3) if net > 0 else net],
                          (0.0, span), [level], rtol=1e-9, atol=1e-6)
        level = float(found.y[0, -1])
        expected.append(level)
    assert ride.reserve == pytest.approx(expected, abs=0.5)
    assert np.ptp(ride.reserve) > 2000.0


def test_power_that_holds_the_limit_downhill_and_on_the_flat():
    limit = np.full(301, 8.0)
    problem = random_problem(3, steps=300, length=6e3, wind=0.0, yaw=False, start_speed=8.0,
                             grade=np.repeat([0.0, -0.05], 150), speed_limit=limit)
    ride = simulate(problem, np.full(300, 400.0))
    held = holding_power(problem, ride)
    force = (0.5 * 1.2 * problem.drag.area[0, 0] * 64.0 + problem.mass * 9.80665 * 0.004
             + 0.091 + 0.0087 * 8.0)
    assert held[:150] == pytest.approx(8.0 * force / 0.976, rel=1e-6)
    assert held[150:] == pytest.approx(0.0)
    free = replace(problem, speed_limit=np.full(301, np.inf))
    assert np.isinf(holding_power(free, simulate(free, np.full(300, 150.0)))).all()


def test_nobody_pedals_against_the_brakes():
    limit = np.full(301, 8.0)
    problem = random_problem(3, steps=300, length=6e3, wind=0.0, yaw=False, start_speed=8.0,
                             grade=np.repeat([0.0, -0.05], 150), speed_limit=limit)
    asked = np.full(300, 400.0)
    ride = simulate(problem, asked)
    assert ride.power == pytest.approx(np.minimum(asked, holding_power(problem, ride)))
    many = simulate_many(problem, asked[:, None], Variation(power_factor=np.array([1.0, 0.9])))
    assert many.power[:, 1] == pytest.approx(ride.power, abs=1e-6)
    assert many.reserve[:, 0] == pytest.approx(ride.reserve, abs=1e-6)


def test_nobody_pedals_above_the_pedalling_speed():
    """Power balance by hand: pushed up to 15 m/s, held there, coasting above, then braking."""
    grades = np.repeat([0.0, -0.02, -0.08, 0.0], 100)
    limit = np.full(401, np.inf)
    limit[250:301] = 18.0
    problem = random_problem(3, steps=400, length=12e3, wind=0.0, yaw=False, start_speed=8.0,
                             grade=grades, speed_limit=limit, pedalling_speed=15.0)
    free = simulate(replace(problem, pedalling_speed=np.inf), np.full(400, 400.0))
    ride = simulate(problem, np.full(400, 400.0))
    assert ride.time[100] == pytest.approx(free.time[100])
    assert ride.power[:100] == pytest.approx(400.0)
    assert ride.speed[150:201] == pytest.approx(15.0)
    force = (0.5 * 1.2 * problem.drag.area[0, 0] * 225.0 + 0.091 + 0.0087 * 15.0
             + problem.mass * 9.80665 * (0.004 - 0.02) / np.sqrt(1 + 0.02**2))
    assert ride.power[150:200] == pytest.approx(15.0 * force / 0.976, rel=1e-6)
    assert 0 < ride.power[150] < 400
    assert ride.power[201:300] == pytest.approx(0.0, abs=1e-9)  # coasting, then the brakes
    assert ride.speed[203] > 15.0
    assert ride.speed[250:301] == pytest.approx(18.0)
    coasting = simulate(problem, np.where(ride.power > 0, 400.0, 0.0))
    assert coasting.time == pytest.approx(ride.time, abs=1e-6)
    assert ride.power[-50:] == pytest.approx(400.0)


@pytest.mark.parametrize("seed", [2, 3, 7, 11])
def test_one_ride_and_many_agree_where_pedalling_ends(seed):
    problem = random_problem(seed, steps=400, length=20e3, steepest=0.1, pedalling_speed=11.0,
                             start_speed=13.0)
    rng = np.random.default_rng(seed)
    power = problem.critical_power * rng.uniform(0.0, 1.5, 400)
    one = simulate(problem, power)
    many = simulate_many(problem, power[:, None], Variation(power_factor=np.ones(2)))
    assert many.time[:, 1] == pytest.approx(one.time, abs=1e-3)
    assert many.power[:, 1] == pytest.approx(one.power, abs=0.05)
    pushed = one.power > 1e-6
    assert np.all(one.speed[1:][pushed] <= 11.0 * (1 + 1e-9))
    assert np.any(one.speed > 11.0)
    assert np.any(one.power < power - 1.0)


def test_where_newton_does_not_settle_steps_are_taken_one_by_one(monkeypatch):
    problem = random_problem(7, steps=300, length=15e3)
    power = problem.critical_power * 0.95
    whole = simulate(problem, power)
    monkeypatch.setattr(sys.modules[simulate.__module__], "_AT_REST", -1.0)
    step_by_step = simulate(problem, power)
    assert step_by_step.time == pytest.approx(whole.time, abs=1e-4)
    assert step_by_step.reserve == pytest.approx(whole.reserve, abs=0.05)
    assert not step_by_step.stalled
