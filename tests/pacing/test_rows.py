"""Rows of the program: what is declared once reaches solver, both bounds and prices."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.pacing import convex, solve
from optimizer.pacing.certificate import dual_bound, linear_bound
from optimizer.pacing.convex import convex_program
from optimizer.pacing.interior_point import ROWS, interior_point
from optimizer.pacing.rows import E1, F, Row, Z, prices, rows_of
from tests.pacing.random_problems import random_problem

PROBLEM = random_problem(8, steps=200, length=12e3, wind=5.0, recovery=0.7)


def solved(problem):
    program = convex_program(problem)
    found = interior_point(program)
    assert found.converged
    return program, found, float(problem.step @ found.point.pace)


def test_names_and_order_are_those_that_other_programs_read():
    assert tuple(row.name for row in convex_program(PROBLEM).rows) == ROWS
    full = convex_program(replace(PROBLEM, recovery=np.ones(200)))
    assert tuple(row.name for row in full.rows) == ROWS[:-1]


@pytest.mark.parametrize(("more", "instead"), [
    (lambda p: Row("cap", ((F, 1.0), (Z, -0.75 * p.power_limit)), 0.0, 5.0, "N"),
     lambda p: {"power_limit": 0.75 * p.power_limit}),
    (lambda _: Row("slow", ((E1, 1.0),), 0.5 * 11.0**2, 10.0, "m²/s²"),
     lambda p: {"speed_limit": np.minimum(p.speed_limit, 11.0)})])
def test_an_added_row_does_what_the_same_limit_does(monkeypatch, more, instead):
    """A constraint on work and pace, and one on a speed, beside the ones that are there."""
    same = replace(PROBLEM, **instead(PROBLEM))
    program, found, time = solved(same)
    free = solved(PROBLEM)[2]
    assert time > free + 1.0  # it binds
    bounds = dual_bound(program, found), linear_bound(program, found)
    monkeypatch.setattr(convex, "rows_of", lambda g: (*rows_of(g), more(g.problem)))
    program, found, added = solved(PROBLEM)
    assert added == pytest.approx(time, abs=1e-4)
    # The planes dip between speed bounds, which the added row narrows only as a row.
    for bound, other in zip((dual_bound(program, found), linear_bound(program, found)), bounds,
                            strict=True):
        assert bound <= added
        assert bound == pytest.approx(other, abs=0.2)


@pytest.mark.parametrize(("name", "field", "size"), [
    ("limit_joule", "power_limit", 0.2), ("critical_joule", "critical_power", 0.2)])
def test_prices_are_what_a_little_more_wins(name, field, size):
    """Envelope theorem, by differences of two solutions."""
    program, found, _ = solved(PROBLEM)
    price = float(np.sum(prices(program, found.multipliers)[name] * PROBLEM.step
                         * found.point.pace))
    up, down = (solved(replace(PROBLEM, **{field: getattr(PROBLEM, field) + sign * size}))[2]
                for sign in (1, -1))
    assert (down - up) / (2 * size) == pytest.approx(price, rel=0.02)


def test_a_joule_of_work_and_of_reserve():
    program, found, _ = solved(PROBLEM)
    worth = prices(program, found.multipliers)
    up, down = (solved(replace(PROBLEM, w_prime=PROBLEM.w_prime + by))[2] for by in (20.0, -20.0))
    assert (down - up) / 40.0 == pytest.approx(float(worth["reserve_joule"]), rel=0.02)
    plan = solve(PROBLEM)
    up, down = (solve(replace(PROBLEM, bearing=(PROBLEM.bearing[0] + by, PROBLEM.bearing[1])))
                for by in (0.01, -0.01))
    assert (up.finish_time - down.finish_time) / 0.02 == pytest.approx(
        float(plan.seconds_per_newton.sum()), rel=0.02)


def test_the_linear_program_begins_anew_where_its_start_comes_to_nothing(monkeypatch):
    """A road with wind on which an earlier dual simplex gave up in SI units."""
    monkeypatch.setattr("optimizer.pacing.certificate._optimal_multipliers", lambda *_: None)
    problem = random_problem(3, steps=511, wind=10.0)
    program, found, time = solved(problem)
    bound = linear_bound(program, found)
    assert bound <= time
    assert bound == pytest.approx(time, abs=0.01)
