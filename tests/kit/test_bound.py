"""The bound from multipliers: never above the time of any set, and tight where it was made."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.day import RaceDay
from optimizer.kit.bound import coordinates
from optimizer.kit.groups import plane_of
from optimizer.kit.judge import pacing_judge
from optimizer.kit.ledger import ledger
from optimizer.kit.master import directions
from optimizer.kit.terms import tabulate
from tests.kit.invented import BASELINE, RIDER, catalogue, road, wind


def case(seed, **rider):
    from dataclasses import replace

    rng = np.random.default_rng(seed)
    course = road(rng, length=15_000.0, turns=seed % 3)
    weather = wind(float(rng.uniform(0, 5)), float(rng.uniform(0, 6.28)))
    wanted, effects = catalogue(rng, (3, 3, 3, 2, 2, 2, 2, 1, 2))
    able = replace(RIDER, **rider)
    judge = pacing_judge(RaceDay(course, weather, able, step=300.0), BASELINE)
    terms = tabulate(BASELINE, wanted, effects)
    book = ledger(terms, wanted, BASELINE, able.mass)
    return rng, judge, terms, book


def some_set(rng, book):
    return sorted(int(rng.choice(rows)) for rows in book.places if rng.random() < 0.6)


@pytest.mark.parametrize("seed", range(6))
def test_no_set_is_faster_than_the_bound(seed):
    rider = [{}, {"effort_share": 0.9}, {"recovery": "partial", "recovery_share": 0.6}][seed % 3]
    rng, judge, terms, book = case(seed, **rider)
    origin = terms.setup(BASELINE, some_set(rng, book))
    bound = judge.bound(origin, book.reach())
    own = judge.plan(origin).finish_time
    here = bound.at(coordinates(origin, RIDER.mass), origin.cornering_factor)
    assert own - 0.02 <= here <= own + 1e-4
    for _ in range(6):
        setup = terms.setup(BASELINE, some_set(rng, book))
        time = judge.plan(setup).finish_time
        lower = float(bound.at(coordinates(setup, RIDER.mass), setup.cornering_factor))
        assert lower <= time + 1e-4
        assert time - lower < 0.6 + 0.1 * abs(time - own)  # and it says something


@pytest.mark.parametrize("seed", range(4))
def test_one_form_lies_below_the_bound_in_its_range(seed):
    rng, judge, terms, book = case(seed)
    origin = terms.setup(BASELINE, some_set(rng, book))
    bound = judge.bound(origin, book.reach())
    assert np.linalg.eigvalsh(bound.bend * np.outer(book.reach(), book.reach())).min() > -1e-9
    chosen = np.zeros((200, len(terms.names)), dtype=bool)
    for row in chosen:
        row[some_set(rng, book)] = True
    delta = book.coordinates(chosen) - bound.point
    first = delta @ bound.slope
    form = bound.value + first - 0.5 * np.einsum("si,ij,sj->s", delta, bound.bend, delta)
    near = np.abs(first) <= bound.range
    assert near.any()
    exact = bound.at(book.coordinates(chosen), np.full(200, bound.cornering))
    assert np.all(form[near] <= exact[near] + 1e-9)


def test_the_slope_is_the_derivative_of_the_planned_time():
    from dataclasses import replace

    _, judge, terms, book = case(11)
    origin = terms.setup(BASELINE, [])
    bound = judge.bound(origin, book.reach())
    for change in ({"mass": 0.02}, {"rolling_resistance": 1e-5}, {"drivetrain_efficiency": 2e-4},
                   {"wheel_inertia": 2e-3}, {"drag_area_change": origin.drag_area_change + 1e-4}):
        name, value = next(iter(change.items()))
        step = value if name == "drag_area_change" else getattr(origin, name) + value
        back = (2 * origin.drag_area_change - step if name == "drag_area_change"
                else getattr(origin, name) - value)
        up, down = (replace(origin, **{name: v}) for v in (step, back))
        by_plan = judge.plan(up).finish_time - judge.plan(down).finish_time
        by_slope = bound.slope @ (coordinates(up, RIDER.mass) - coordinates(down, RIDER.mass))
        assert by_slope == pytest.approx(by_plan, rel=0.01, abs=5e-4)


@pytest.mark.parametrize("seed", range(3))
def test_the_ledger_knows_the_coordinates_of_every_set(seed):
    rng, _, terms, book = case(seed)
    sets = [some_set(rng, book) for _ in range(30)]
    chosen = np.zeros((30, len(terms.names)), dtype=bool)
    for row, picked in zip(chosen, sets, strict=True):
        row[picked] = True
    setups = [terms.setup(BASELINE, picked) for picked in sets]
    assert book.coordinates(chosen) == pytest.approx(
        np.array([coordinates(setup, RIDER.mass) for setup in setups]), rel=1e-12, abs=1e-15)
    assert book.corners(chosen) == pytest.approx([setup.cornering_factor for setup in setups])
    theta = book.coordinates(chosen)
    reach = book.reach()
    assert np.all(np.abs(theta[:, None] - theta[None]).max(axis=(0, 1)) <= reach + 1e-15)


@pytest.mark.parametrize("seed", range(4))
def test_a_scaled_plan_is_a_plan_and_close_to_a_sets_own(seed):
    rng, judge, terms, book = case(20 + seed)
    base = some_set(rng, book)
    judge.bound(terms.setup(BASELINE, base), book.reach())
    near = terms.setup(BASELINE, sorted({*base} ^ {base[0]}) if base else [0])
    time, own = judge.time(near), judge.plan(near).finish_time
    first = judge.plan(terms.setup(BASELINE, base)).finish_time
    assert own - 2e-3 <= time <= own + 0.02 + 0.15 * abs(own - first)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("size", [1e-4, 3e-2])
def test_no_set_is_faster_than_a_bound_from_multipliers_that_are_off(seed, size):
    from dataclasses import replace

    from optimizer.kit.bound import bound_from
    from optimizer.pacing.convex import convex_program
    from optimizer.pacing.interior_point import interior_point

    rng, judge, terms, book = case(seed)
    origin = terms.setup(BASELINE, some_set(rng, book))
    program = convex_program(judge.problem(origin))
    solution = interior_point(program)
    others = [terms.setup(BASELINE, some_set(rng, book)) for _ in range(3)]
    times = [judge.plan(setup).finish_time for setup in (origin, *others)]
    for _ in range(4):
        y = solution.multipliers * np.exp(size * rng.normal(size=solution.multipliers.shape))
        bound = bound_from(program, replace(solution, multipliers=y), origin, book.reach())
        for setup, time in zip((origin, *others), times, strict=True):
            assert float(bound.at(coordinates(setup, RIDER.mass),
                                  setup.cornering_factor)) <= time + 1e-4


@pytest.mark.parametrize("seed", range(4))
def test_a_plane_lies_below_the_bound_on_its_piece(seed):
    rng, judge, terms, book = case(seed)
    origin = terms.setup(BASELINE, some_set(rng, book))
    bound = judge.bound(origin, book.reach())
    chosen = np.zeros((300, len(terms.names)), dtype=bool)
    for row in chosen:
        row[some_set(rng, book)] = True
    theta, corners = book.coordinates(chosen), book.corners(chosen)
    basis = directions(bound.bend, book.reach())
    along = (theta - bound.point) @ basis.T
    plane = plane_of(bound, book, basis, np.column_stack([along.min(axis=0), along.max(axis=0)]))
    value = plane.start + chosen @ plane.item + book.overlapping(chosen) @ plane.overlap
    effective = 1.0 / theta[:, len(terms.yaw)] / book.usual_effective
    exact = (bound.at(theta, corners) - bound.value) * effective
    near = np.abs((theta - bound.point) @ bound.slope) <= bound.range
    assert np.all((value - plane.slack)[near] <= exact[near] + 1e-6)
    assert np.median(exact[near] - value[near]) < 1.0 + 0.2 * np.ptp(exact)  # and it says something
