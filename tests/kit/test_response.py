"""First-order response of all sets to all draws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.day import RaceDay
from optimizer.kit.evaluator import pacing_evaluator
from optimizer.kit.response import _slopes, response
from optimizer.kit.set_model import set_model
from optimizer.kit.terms import tabulate
from optimizer.pacing import simulate
from optimizer.uncertainty import draw_days, ride_days
from tests.kit.invented import BASELINE, RIDER, catalogue, road, wind


@pytest.fixture(scope="module")
def world():
    rng = np.random.default_rng(4)
    course, weather = road(rng, length=12_000.0), wind(3.0, 1.0)
    wanted, effects = catalogue(rng, (2, 2, 2, 2, 2, 1, 1, 1, 1))
    evaluator = pacing_evaluator(RaceDay(course, weather, RIDER, step=300.0), BASELINE)
    terms = tabulate(BASELINE, wanted, effects)
    model = set_model(terms, BASELINE, RIDER.mass)
    draws = draw_days(evaluator.day, BASELINE, effects, 60, 1)
    rows = [int(place[0]) for place in model.terms.combinations.places[::2]]
    setup = terms.setup(BASELINE, rows)
    plan = evaluator.plan(setup)
    return evaluator, terms, model, draws, effects, rows, setup, plan


def test_slopes_are_those_of_the_simulation(world):
    *_, setup, plan = world
    ride = simulate(plan.problem, plan.power)
    from optimizer.pacing import SimulatedRide

    still = SimulatedRide(ride.speed[:, None], ride.time[:, None], ride.reserve[:, None],
                          np.zeros(1, bool), plan.power[:, None])
    p = plan.problem
    found = _slopes(plan, still, setup, p.headwind[:, None], p.crosswind[:, None], np.ones(1))[0]
    m = len(setup.yaw)

    def change(**new):
        up = simulate(replace(p, **new), plan.power, 0.5 * ride.speed**2)
        return float(up.finish_time) - float(ride.finish_time)

    tiny = 1e-4
    crr = p.rolling_resistance * (1 + tiny / setup.rolling_resistance)
    assert found[m] * tiny == pytest.approx(change(rolling_resistance=crr), rel=0.02)
    assert found[m + 1] * 0.01 == pytest.approx(
        change(mass=p.mass + 0.01, effective_mass=p.effective_mass + 0.01), rel=0.02, abs=1e-4)
    assert found[m + 2] * tiny == pytest.approx(
        change(drivetrain_efficiency=p.drivetrain_efficiency + tiny), rel=0.02)
    assert found[m + 3] * 0.01 == pytest.approx(
        change(effective_mass=p.effective_mass + 0.01), rel=0.05, abs=2e-4)
    from optimizer.physics import DragArea

    for j in range(m):
        area = p.drag.area.copy()
        area[:, j] += tiny
        assert found[j] * tiny == pytest.approx(
            change(drag=DragArea(p.drag.yaw, area)), rel=0.02, abs=2e-4)


def test_the_response_reproduces_its_own_set(world):
    evaluator, _, model, draws, effects, rows, setup, plan = world
    answer = response(plan, evaluator.day, setup, rows, draws, effects, model)
    chosen = np.zeros((1, len(model.terms.names)), dtype=bool)
    chosen[0, rows] = True
    names = [model.terms.names[row] for row in rows]
    ridden = ride_days(plan, evaluator.day, draws, effects, names).time[-1]
    got = answer.times(chosen, model.terms.combinations.overlapping(chosen),
                       np.array([plan.finish_time]))[0]
    assert got == pytest.approx(ridden, abs=1e-6)


def test_the_response_foretells_other_sets(world):
    evaluator, terms, model, draws, effects, rows, setup, plan = world
    answer = response(plan, evaluator.day, setup, rows, draws, effects, model)
    other = [int(place[-1]) for place in model.terms.combinations.places[1::2]]
    own = evaluator.plan(terms.setup(BASELINE, other))
    names = [terms.names[row] for row in other]
    ridden = ride_days(own, evaluator.day, draws, effects, names).time[-1]
    chosen = np.zeros((1, len(terms.names)), dtype=bool)
    chosen[0, other] = True
    told = answer.times(chosen, model.terms.combinations.overlapping(chosen),
                        np.array([own.finish_time]))[0]
    assert np.std(told - ridden) < 0.12 * np.std(ridden - np.mean(ridden))
    assert abs(np.mean(told - ridden)) < 1.0
