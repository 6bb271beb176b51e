"""The interior point's linear algebra against differences, and how soon it ends."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.pacing.certificate import dual_bound
from optimizer.pacing.convex import convex_program
from optimizer.pacing.interior_point import (
    Iterate,
    interior_point,
    starting_point,
)
from optimizer.pacing.lagrangian import (
    Point,
    gradient,
    linearised,
    row_values,
    times,
    transposed,
)
from optimizer.pacing.newton import Newton
from tests.pacing.random_problems import random_problem

CASES = [{}, {"recovery": 0.6}, {"effort_rate": 0.95, "effort_budget": 20.0},
         {"recovery": 0.7, "effort_rate": 0.95}, {"wind": 8.0}]


def case(fields, seed=6):
    """A program without wind, whose drag bends nowhere the wrong way, and a point of it."""
    problem = random_problem(seed, **({"steps": 40, "length": 2000.0, "start_speed": 7.0,
                                       "wind": 0.0} | fields))
    program = convex_program(problem)
    rng = np.random.default_rng(seed)
    point = Point(rng.uniform(30, 70, 41), rng.uniform(0.2, 0.9, 41) * problem.w_prime,
                  rng.uniform(10, 40, 40), rng.uniform(0.06, 0.2, 40))
    rows = 10 if program.recovery is not None else 9
    direction = Point(rng.normal(0, 1, 41), rng.normal(0, 50, 41), rng.normal(0, 1, 40),
                      rng.normal(0, 0.01, 40))
    direction.energy[0] = direction.reserve[0] = 0.0
    return program, point, rng.uniform(0.1, 1.0, (rows, 40)), rng.uniform(0.1, 2.0, (rows, 40)), (
        direction)


def moved(point, direction, by):
    return Point(*(x + by * d for x, d in zip(point, direction, strict=True)))


def along(one, other):
    return sum(float(a @ b) for a, b in zip(one, other, strict=True))


@pytest.mark.parametrize("fields", CASES)
def test_the_jacobian_is_that_of_the_rows(fields):
    program, point, y, _, direction = case(fields)
    rows, d = linearised(program, point)
    assert rows == pytest.approx(row_values(program, point), rel=1e-12, abs=1e-12)
    by = (row_values(program, moved(point, direction, 1e-4))
          - row_values(program, moved(point, direction, -1e-4))) / 2e-4
    assert times(program, d, direction) == pytest.approx(by, rel=1e-5, abs=1e-5)
    assert along(transposed(program, d, y), direction) == pytest.approx(float(np.sum(y * by)),
                                                                         rel=1e-6)


@pytest.mark.parametrize("fields", CASES)
def test_a_newton_step_solves_the_newton_system(fields):
    """Curvature of the Lagrangian by differences of its gradient, and the rows' own part."""
    program, point, y, weight, _ = case(fields)
    effort = 0.7 if program.has_effort else 0.0
    # Weights as they are where rows are tight, the reserve row on half of the steps.
    weight[2, ::2] *= 1e-7
    _, d = linearised(program, point)
    newton = Newton(program)
    newton.factor(point, d, y, weight, effort)
    right = case(fields, 7)[-1]
    step = newton.solve(right)
    size = 1e-4 / max(np.abs(step.energy / point.energy).max(),
                      np.abs(step.pace / point.pace).max(), np.abs(step.work / point.work).max())
    up, down = (gradient(program, linearised(program, moved(point, step, s * size))[1], y, effort)
                for s in (1, -1))
    back = transposed(program, d, weight * times(program, d, step))
    for name, plus, minus, part, wanted in zip(Point._fields, up, down, back, right, strict=True):
        got = (plus - minus) / (2 * size) + part
        scale = 1e-4 * np.abs(part).max() + 1e-6
        assert got[1:] == pytest.approx(wanted[1:], abs=scale), name


def test_a_step_to_a_bound():
    from optimizer.pacing.interior_point import _longest

    value = np.array([2.0, 1.0, 3.0])
    assert _longest(np.array([-1.0, -0.25, 1.0]) / value) == 2.0
    assert _longest(np.array([0.0, 0.25, 1.0]) / value) == np.inf


@pytest.mark.parametrize("fields", [*CASES, {"reserve_floor": 3000.0}])
def test_it_ends_soon_with_every_condition_met(fields):
    """Karush, Kuhn and Tucker; the number of iterations is a regression, with some room."""
    problem = random_problem(8, **({"steps": 300, "length": 20e3} | fields))
    program = convex_program(problem)
    found = interior_point(program)
    assert found.converged
    assert found.iterations <= 25
    x, y = found.point, found.multipliers
    time = float(problem.step @ x.pace)
    assert row_values(program, x).max() < 1e-4
    assert y.min() >= 0
    assert found.slacks.min() >= 0
    assert found.complementarity < 1e-9 * time
    assert float(np.sum(found.slacks * y)) <= found.complementarity * (1 + 1e-9) + 1e-12
    left = gradient(program, linearised(program, x)[1], y, found.effort_multiplier)
    assert float(np.abs(left.work) @ x.work) < 1e-5 * time
    assert float(np.abs(left.pace) @ x.pace) < 1e-5 * time
    assert float(np.abs(left.energy) @ x.energy) < 1e-5 * time
    assert float(np.abs(left.reserve).sum()) * problem.w_prime < 1e-5 * time
    if program.has_effort:
        assert program.effort(x.work, x.pace) == pytest.approx(0.0, abs=1e-5 * time)
        assert found.effort_multiplier > 0


@pytest.mark.parametrize("seed", range(5))
def test_it_starts_inside_the_bounds(seed):
    problem = random_problem(seed, steps=300, length=15e3, reserve_floor=1000.0)
    program = convex_program(problem)
    rows = row_values(program, starting_point(program))
    for row in (1, 3, 4, 5, 6, 7, 8):  # pace, power, coast and the bounds; the others come later
        assert rows[row].max() < 0, row


def test_a_neighbours_solution_is_a_start():
    problem = random_problem(9, steps=300, length=20e3)
    first = interior_point(convex_program(problem))
    windier = convex_program(replace(problem, headwind=problem.headwind + 0.2))
    cold, warm = interior_point(windier), interior_point(windier, first.point)
    assert warm.converged
    assert float(problem.step @ warm.point.pace) == pytest.approx(
        float(problem.step @ cold.point.pace), rel=1e-7)


@pytest.mark.parametrize(("seed", "fields", "rows", "factor"), [
    (9, {"effort_rate": 0.95}, slice(None), 1e-3), (3, {"effort_rate": 0.95}, slice(None), 1e-3),
    (3, {"recovery": 0.6}, slice(3), 1e-4), (9, {}, slice(None), 1e-6)])
def test_multipliers_that_bound_badly_are_no_end(seed, fields, rows, factor):
    """From such a start complementarity is small at once; steps cut short leave it at that."""
    problem = random_problem(seed, steps=200, length=15e3, wind=3.0, **fields)
    program = convex_program(problem)
    good = interior_point(program)
    x, y = good.point, np.array(good.multipliers)
    y[rows] *= factor
    effort = (max(-program.effort(x.work, x.pace), 1e-9),
              good.effort_multiplier * factor) if program.has_effort else None
    found = interior_point(program, (Iterate.at(program, x, good.slacks, y, effort),))
    bound = dual_bound(program, good)
    assert not found.converged or dual_bound(program, found) == pytest.approx(bound, abs=5e-3)


@pytest.mark.parametrize("recovery", [1.0, 0.6])
def test_weights_of_many_powers_of_ten_leave_the_step_its_digits(recovery):
    """The same step by a dense solution of all unknowns and tight rows' multipliers at once."""
    program, point, y, weight, _ = case({"recovery": recovery, "steps": 12, "length": 600.0})
    n = 12
    point = Point(*(x[:size] for x, size in zip(point, (n + 1, n + 1, n, n), strict=True)))
    y, weight = y[:, :n], weight[:, :n]
    weight[:3] *= 1e12  # as work, pace and reserve are near the end
    weight[3, ::3] *= 1e12
    _, d = linearised(program, point)
    newton = Newton(program)
    newton.factor(point, d, y, weight, 0.0)
    rng = np.random.default_rng(1)
    right = Point(rng.normal(0, 1, n + 1), rng.normal(0, 1, n + 1), rng.normal(0, 1, n),
                  rng.normal(0, 1, n))
    right.energy[0] = right.reserve[0] = 0.0
    step = newton.solve(right)

    def flat(x):
        return np.concatenate([x.energy[1:], x.reserve[1:], x.work, x.pace])

    def unit(k):
        x = Point(np.zeros(n + 1), np.zeros(n + 1), np.zeros(n), np.zeros(n))
        which, at = (0, k + 1) if k < n else (1, k - n + 1) if k < 2 * n else (
            (2, k - 2 * n) if k < 3 * n else (3, k - 3 * n))
        x[which][at] = 1.0
        return x

    units = [unit(k) for k in range(4 * n)]
    jacobian = np.column_stack([times(program, d, x).ravel() for x in units])
    bent = y[0] * d.drag_curvature
    curved = np.zeros((4 * n, 4 * n))
    ends = ((d.pace00, d.pace01), (d.pace01, d.pace11))
    for a in (0, 1):
        for b in (0, 1):
            for k in range(n):
                i, j = k - 1 + a, k - 1 + b
                if min(i, j) >= 0:
                    curved[i, j] += bent[k] + y[1, k] * ends[a][b][k]
    whole = np.block([[curved, jacobian.T], [jacobian, -np.diag(1.0 / weight.ravel())]])
    wanted = np.linalg.solve(whole, np.concatenate([flat(right), np.zeros(weight.size)]))[:4 * n]
    assert flat(step) == pytest.approx(wanted, rel=1e-6, abs=1e-9 * np.abs(wanted).max())
