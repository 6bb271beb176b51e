"""The bound from multipliers: never above the time of any set, and tight where it was made."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.day import RaceDay
from optimizer.kit.bound import coordinates
from optimizer.kit.evaluator import pacing_evaluator
from optimizer.kit.minorant import directions, minorant
from optimizer.kit.set_model import set_model
from optimizer.kit.terms import tabulate
from optimizer.pacing import plan_ride
from tests.kit.invented import BASELINE, RIDER, catalogue, road, wind


def case(seed, **rider):
    from dataclasses import replace

    rng = np.random.default_rng(seed)
    course = road(rng, length=15_000.0, turns=seed % 3)
    weather = wind(float(rng.uniform(0, 5)), float(rng.uniform(0, 6.28)))
    wanted, effects = catalogue(rng, (3, 3, 3, 2, 2, 2, 2, 1, 2))
    able = replace(RIDER, **rider)
    evaluator = pacing_evaluator(RaceDay(course, weather, able, step=300.0), BASELINE)
    terms = tabulate(BASELINE, wanted, effects)
    model = set_model(terms, BASELINE, able.mass)
    return rng, evaluator, terms, model


def some_set(rng, model):
    return sorted(int(rng.choice(rows)) for rows in model.terms.combinations.places
                  if rng.random() < 0.6)


@pytest.mark.parametrize("seed", range(6))
def test_no_set_is_faster_than_the_bound(seed):
    rider = [{}, {"effort_share": 0.9}, {"recovery": "partial", "recovery_share": 0.6}][seed % 3]
    rng, evaluator, terms, model = case(seed, **rider)
    origin = terms.setup(BASELINE, some_set(rng, model))
    bound = evaluator.bound(origin, model.half_range())
    own = evaluator.plan(origin).finish_time
    here = bound.at(coordinates(origin, RIDER.mass), origin.cornering_factor)
    assert own - 0.02 <= here <= own + 1e-4
    for _ in range(6):
        setup = terms.setup(BASELINE, some_set(rng, model))
        time = evaluator.plan(setup).finish_time
        lower = float(bound.at(coordinates(setup, RIDER.mass), setup.cornering_factor))
        assert lower <= time + 1e-4
        assert time - lower < 0.6 + 0.1 * abs(time - own)  # and it says something


def test_a_speed_up_to_which_the_rider_pedals_is_no_corners():
    """Where such a speed holds a step, tyres that corner better or worse change nothing there."""
    from dataclasses import replace

    rider = replace(RIDER, pedalling_speed=12.0)
    day = RaceDay(road(np.random.default_rng(1), length=15_000.0, turns=1), wind(2.0, 1.0), rider,
                  step=300.0)
    stretches = plan_ride(day, BASELINE).pedalling
    assert stretches is not None
    assert stretches.held.any()
    evaluator = pacing_evaluator(replace(day, pedalling=stretches), BASELINE)
    setups = [replace(BASELINE, cornering_factor=factor) for factor in (0.85, 1.0, 1.15)]
    times = [evaluator.plan(setup).finish_time for setup in setups]
    for origin, own in zip(setups, times, strict=True):
        bound = evaluator.bound(origin, 1e-6 * np.ones(5))
        lower = [float(bound.at(coordinates(setup, rider.mass), setup.cornering_factor))
                 for setup in setups]
        assert np.all(lower <= np.array(times) + 1e-4)
        assert np.all(np.array(times) - lower < 0.02 + np.abs(np.array(times) - own))


@pytest.mark.parametrize("seed", range(4))
def test_one_form_lies_below_the_bound_in_its_range(seed):
    rng, evaluator, terms, model = case(seed)
    origin = terms.setup(BASELINE, some_set(rng, model))
    bound = evaluator.bound(origin, model.half_range())
    size = model.half_range()
    assert np.linalg.eigvalsh(bound.curvature * np.outer(size, size)).min() > -1e-9
    chosen = np.zeros((200, len(terms.names)), dtype=bool)
    for row in chosen:
        row[some_set(rng, model)] = True
    delta = model.coordinates(chosen) - bound.point
    first = delta @ bound.slope
    form = bound.value + first - 0.5 * np.einsum("si,ij,sj->s", delta, bound.curvature, delta)
    near = np.abs(first) <= bound.range
    assert near.any()
    exact = bound.at(model.coordinates(chosen), np.full(200, bound.cornering))
    assert np.all(form[near] <= exact[near] + 1e-9)


def test_the_slope_is_the_derivative_of_the_planned_time():
    from dataclasses import replace

    _, evaluator, terms, model = case(11)
    origin = terms.setup(BASELINE, [])
    bound = evaluator.bound(origin, model.half_range())
    for change in ({"mass": 0.02}, {"rolling_resistance": 1e-5}, {"drivetrain_efficiency": 2e-4},
                   {"wheel_inertia": 2e-3}, {"drag_area_change": origin.drag_area_change + 1e-4}):
        name, value = next(iter(change.items()))
        step = value if name == "drag_area_change" else getattr(origin, name) + value
        back = (2 * origin.drag_area_change - step if name == "drag_area_change"
                else getattr(origin, name) - value)
        up, down = (replace(origin, **{name: v}) for v in (step, back))
        by_plan = evaluator.plan(up).finish_time - evaluator.plan(down).finish_time
        by_slope = bound.slope @ (coordinates(up, RIDER.mass) - coordinates(down, RIDER.mass))
        assert by_slope == pytest.approx(by_plan, rel=0.01, abs=5e-4)


@pytest.mark.parametrize("seed", range(3))
def test_the_set_model_knows_the_coordinates_of_every_set(seed):
    rng, _, terms, model = case(seed)
    sets = [some_set(rng, model) for _ in range(30)]
    chosen = np.zeros((30, len(terms.names)), dtype=bool)
    for row, picked in zip(chosen, sets, strict=True):
        row[picked] = True
    setups = [terms.setup(BASELINE, picked) for picked in sets]
    assert model.coordinates(chosen) == pytest.approx(
        np.array([coordinates(setup, RIDER.mass) for setup in setups]), rel=1e-12, abs=1e-15)
    assert model.corners(chosen) == pytest.approx([setup.cornering_factor for setup in setups])
    theta = model.coordinates(chosen)
    reach = model.half_range()
    assert np.all(np.abs(theta[:, None] - theta[None]).max(axis=(0, 1)) <= reach + 1e-15)


@pytest.mark.parametrize("seed", range(4))
def test_a_scaled_plan_is_a_plan_and_close_to_a_sets_own(seed):
    rng, evaluator, terms, model = case(20 + seed)
    base = some_set(rng, model)
    evaluator.bound(terms.setup(BASELINE, base), model.half_range())
    near = terms.setup(BASELINE, sorted({*base} ^ {base[0]}) if base else [0])
    time, own = evaluator.time(near), evaluator.plan(near).finish_time
    first = evaluator.plan(terms.setup(BASELINE, base)).finish_time
    assert own - 2e-3 <= time <= own + 0.02 + 0.15 * abs(own - first)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("size", [1e-4, 3e-2])
def test_no_set_is_faster_than_a_bound_from_multipliers_that_are_off(seed, size):
    from dataclasses import replace

    from optimizer.kit.bound import bound_from
    from optimizer.pacing.convex import convex_program
    from optimizer.pacing.interior_point import interior_point

    rng, evaluator, terms, model = case(seed)
    origin = terms.setup(BASELINE, some_set(rng, model))
    program = convex_program(evaluator.problem(origin))
    solution = interior_point(program)
    others = [terms.setup(BASELINE, some_set(rng, model)) for _ in range(3)]
    times = [evaluator.plan(setup).finish_time for setup in (origin, *others)]
    for _ in range(4):
        y = solution.multipliers * np.exp(size * rng.normal(size=solution.multipliers.shape))
        bound = bound_from(program, replace(solution, multipliers=y), origin, model.half_range())
        for setup, time in zip((origin, *others), times, strict=True):
            assert float(bound.at(coordinates(setup, RIDER.mass),
                                  setup.cornering_factor)) <= time + 1e-4


@pytest.mark.parametrize("seed", range(4))
def test_a_minorant_lies_below_the_bound_on_its_piece(seed):
    rng, evaluator, terms, model = case(seed)
    origin = terms.setup(BASELINE, some_set(rng, model))
    bound = evaluator.bound(origin, model.half_range())
    chosen = np.zeros((300, len(terms.names)), dtype=bool)
    for row in chosen:
        row[some_set(rng, model)] = True
    theta, corners = model.coordinates(chosen), model.corners(chosen)
    basis = directions(bound.curvature, model.half_range())
    along = (theta - bound.point) @ basis.T
    plane = minorant(bound, model, basis,
                     np.column_stack([along.min(axis=0), along.max(axis=0)]))
    value = plane.of(chosen, model.terms.combinations.overlapping(chosen))
    effective = 1.0 / theta[:, len(terms.yaw)] / model.usual_effective
    exact = (bound.at(theta, corners) - bound.value) * effective
    near = np.abs((theta - bound.point) @ bound.slope) <= bound.range
    assert np.all((value - plane.slack)[near] <= exact[near] + 1e-6)
    assert np.median(exact[near] - value[near]) < 1.0 + 0.2 * np.ptp(exact)  # and it says something


@pytest.mark.parametrize("seed", range(4))
def test_a_bound_for_sets_nearby_is_closer_there_and_says_nothing_beyond(seed):
    rng, evaluator, terms, model = case(seed)
    origin = terms.setup(BASELINE, some_set(rng, model))
    sets = [some_set(rng, model) for _ in range(200)]
    chosen = terms.combinations.flags(sets)
    theta, corners = model.coordinates(chosen), model.corners(chosen)
    wide = evaluator.bound(origin, model.half_range())
    apart = np.abs(theta[:, 0] - wide.point[0])
    close = evaluator.bound(origin, model.half_range(), float(np.median(apart)))
    near = apart <= np.median(apart)
    assert np.all(close.at(theta, corners)[~near] == -np.inf)
    assert np.all(close.at(theta, corners)[near] >= wide.at(theta, corners)[near] - 1e-6)
    assert np.isfinite(wide.at(theta, corners)).all()
    for k in np.flatnonzero(near)[:5]:
        assert close.at(theta[k], corners[k]) <= evaluator.plan(
            terms.setup(BASELINE, sets[k])).finish_time + 1e-4
