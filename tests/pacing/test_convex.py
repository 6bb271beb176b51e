"""The convex program: its coefficients, and derivatives against differences."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.errors import Infeasible
from optimizer.pacing import simulate, solve
from optimizer.pacing.convex import convex_program, drag_in_energy
from optimizer.pacing.lagrangian import Point, gradient, linearised, row_values
from optimizer.pacing.problem import FASTEST
from optimizer.physics import road_load
from optimizer.rider.recovery import SLOWING
from tests.pacing.random_problems import random_problem

CASES = [{}, {"recovery": 0.6}, {"effort_rate": 0.95, "effort_budget": 20.0}]


def problem(**fields):
    return random_problem(6, **({"steps": 300, "length": 15e3, "start_speed": 7.0} | fields))


def test_derivatives_of_drag_by_energy():
    p = problem(wind=6.0)
    energy = np.linspace(20.0, 120.0, p.steps)
    _, first, second = drag_in_energy(p, energy)
    h = 1e-4 * energy
    up, down = (drag_in_energy(p, energy + s * h) for s in (1, -1))
    assert first == pytest.approx((up[0] - down[0]) / (2 * h), rel=1e-4, abs=1e-6)
    smooth = np.abs(second) < 10 * np.median(np.abs(second))  # not at an edge of the yaw table
    assert second[smooth] == pytest.approx(((up[1] - down[1]) / (2 * h))[smooth], rel=0.02,
                                           abs=1e-5)


@pytest.mark.parametrize("fields", CASES)
def test_a_ride_meets_every_row(fields):
    """A ride at nine tenths of CP, written in the unknowns: the model's own equations hold."""
    p = problem(**fields)
    program = convex_program(p)
    ride = simulate(p, 0.9 * p.critical_power)
    pace = np.diff(ride.time) / p.step
    power = 0.9 * p.critical_power
    point = Point(0.5 * ride.speed**2, ride.reserve, power * pace, pace)
    rows = dict(zip(("work", "pace", "reserve", "power", "coast", "top", "bottom", "full", "empty",
                     "recovery"), row_values(program, point), strict=False))
    free = rows["top"] < -1e-6
    assert rows["work"][free] == pytest.approx(0.0, abs=1e-3)
    assert rows["work"][~free].max(initial=-1.0) < 1e-3  # the brakes take the rest
    assert rows["pace"] == pytest.approx(0.0, abs=1e-12)
    assert rows["power"] == pytest.approx((power - p.power_limit) * pace)
    assert rows["coast"] == pytest.approx(-power * pace)
    assert rows["reserve"].max() <= 1e-6  # full all the way
    assert rows["full"] == pytest.approx(0.0, abs=1e-9)
    assert rows["empty"] == pytest.approx(p.reserve_floor - p.w_prime)
    middle = np.sqrt(point.energy[:-1] + point.energy[1:])
    force = road_load(middle, p.grade, p.headwind, p.crosswind, p.air_density, drag=p.drag,
                      mass=p.mass, rolling_resistance=p.rolling_resistance, bearing=p.bearing)
    assert drag_in_energy(p, 0.5 * middle**2)[0] + program.resistance == pytest.approx(force)
    if program.has_effort:
        time = np.diff(ride.time)
        spent = float(np.sum(((power / p.critical_power) ** 4 - 0.95**4) * time))
        assert program.effort(point.work, point.pace) == pytest.approx(spent - 20.0)


@pytest.mark.parametrize("fields", CASES)
def test_the_gradient_is_that_of_the_lagrangian(fields):
    p = problem(**fields)
    program = convex_program(p)
    rng = np.random.default_rng(3)
    n = p.steps
    point = Point(rng.uniform(20, 100, n + 1), rng.uniform(0.2, 0.9, n + 1) * p.w_prime,
                  rng.uniform(10, 40, n), rng.uniform(0.06, 0.2, n))
    y = rng.uniform(0.1, 1.0, (10 if program.recovery is not None else 9, n))
    mu = 0.7 if program.has_effort else 0.0

    def lagrangian(x):
        effort = mu * program.effort(x.work, x.pace) if mu else 0.0
        return float(p.step @ x.pace) + float(np.sum(y * row_values(program, x))) + effort

    slope = gradient(program, linearised(program, point)[1], y, mu)
    for name, size in (("energy", 1e-4), ("reserve", 1e-1), ("work", 1e-4), ("pace", 1e-6)):
        values, found = getattr(point, name), getattr(slope, name)
        for k in (1, 2, 57, 150, len(values) - 1):
            move = size * np.eye(len(values))[k]
            up, down = (lagrangian(point._replace(**{name: values + s * move})) for s in (1, -1))
            by = (up - down) / (2 * size)
            assert found[k] == pytest.approx(by, rel=1e-4, abs=1e-5), (name, k)
    assert slope.energy[0] == slope.reserve[0] == 0.0


def test_a_start_beyond_the_limit_is_braked_to_it():
    limit = np.full(301, np.inf)
    limit[0] = 6.0
    p = problem(start_speed=20.0, speed_limit=limit)
    assert convex_program(p).start_energy == pytest.approx(18.0)
    assert solve(p).speed[0] == pytest.approx(6.0)
    free = convex_program(replace(p, speed_limit=np.full(301, np.inf)))
    assert free.start_energy == pytest.approx(200.0)
    assert free.top == pytest.approx(0.5 * FASTEST**2)
    assert free.bottom == pytest.approx(0.5)
    assert convex_program(replace(p, lowest_speed=2.0)).bottom == pytest.approx(2.0)


@pytest.mark.parametrize(("least", "fine"), [(1.03, True), (1.01, False), (0.5, False)])
def test_a_limit_leaves_room_above_the_lowest_speed(least, fine):
    limit = np.full(301, np.inf)
    limit[200] = least
    p = problem(speed_limit=limit)
    if fine:
        assert convex_program(p).top[199] == pytest.approx(0.5 * least**2)
    else:
        with pytest.raises(Infeasible, match=r"at 10\.00 km"):
            convex_program(p)


def test_a_limit_at_the_start_does_no_harm_and_one_just_behind_it_does():
    limit = np.full((2, 301), np.inf)
    limit[0, 0] = limit[1, 1] = 0.9
    assert convex_program(problem(speed_limit=limit[0])).start_energy == pytest.approx(0.405)
    with pytest.raises(Infeasible, match=r"at 0\.05 km"):
        convex_program(problem(speed_limit=limit[1]))


def test_full_recovery_needs_no_row_of_its_own():
    assert convex_program(problem()).recovery is None
    assert convex_program(problem(recovery=0.6)).recovery == pytest.approx(0.6)
    assert convex_program(problem(recovery_law=SLOWING)).recovery == pytest.approx(1.0)
