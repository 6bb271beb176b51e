"""What keeps a bound safe where a step's Lagrangian is not convex: a term each, by brute force.

A tail wind faster than the rider makes drag concave in energy. The multipliers of a solved plan
outweigh that, so the multipliers here are invented: the rise of a step above its tangent plane is
gone through on a fine grid, for the sets and the growth of multipliers that are worst, and
compared with the parabola that the bound puts below it.
"""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.kit import bound as module
from optimizer.kit.bound import levels
from optimizer.pacing.convex import convex_program
from tests.kit.invented import BASELINE, road, wind
from tests.kit.test_bound import RIDER, RaceDay, pacing_evaluator

U = np.linspace(-1.0, 1.0, 41)


@pytest.fixture(scope="module")
def step():
    """Program of a road with a tail wind of 22 m/s one way, energies about 9 m/s, and ranges."""
    course = road(np.random.default_rng(3), length=6_000.0)
    day = RaceDay(course, wind(22.0, 0.3), RIDER, step=300.0)
    program = convex_program(pacing_evaluator(day, BASELINE).problem(BASELINE))
    energy = np.full(program.problem.steps + 1, 0.5 * 9.0**2)
    energy[0] = program.start_energy
    half = np.zeros(len(levels(BASELINE.drag_area_change)) + 4)
    half[0], half[-4] = 3e-4, 2e-5
    return program, energy, half


def worst(step, price, pace_price, turn):
    """(samples, n) how far energies are from the mean, and the least rise there of any set."""
    program, energy, half = step
    p, mean = program.problem, 0.5 * (energy[:-1] + energy[1:])
    at = module._samples(program, mean)
    run = at - mean
    force, slope = module._forces(p, BASELINE, mean)
    rest = module._forces(p, BASELINE, at)[0] - force[:, None] - slope[:, None] * run
    own = np.array([*levels(BASELINE.drag_area_change), 1.0]) / p.effective_mass
    least = np.full(at.shape, np.inf)
    for signs in np.array(np.meshgrid(*[[-1.0, 1.0]] * len(own))).reshape(len(own), -1).T:
        for growth in (1.0 - turn, 1.0 + turn):
            drag = growth * np.tensordot(own + signs * half[:len(own)], rest, 1)
            least = np.minimum(least, price * drag)
    return run, least + pace_price * module._pace_rise(energy, mean, at)


@pytest.mark.parametrize(("price", "turn", "wide"), [
    (0.0, 0.0, False), (2.0, 0.0, False), (2.0, 0.05, False), (2.0, 0.05, True),
    (40.0, 0.0, False), (40.0, 0.3, True)])
def test_no_step_dips_below_its_parabola(step, price, turn, wide):
    program, energy, half = step
    half = half if wide else 0.0 * half
    n = program.problem.steps
    pace_price, steepest = np.full(n, 30.0), np.full(n, 0.02)
    curvature, dips = module._curvature(program, energy, np.full(n, price), pace_price, BASELINE,
                                        half, turn, steepest)
    run, rise = worst((program, energy, half), price, pace_price, turn)
    for share in U:
        u = share * steepest
        least = (rise + u * run).min(axis=0)
        assert np.all(least >= -0.5 * u**2 / curvature - dips - 1e-9 * (1 + np.abs(least)))
    assert (rise.min() < 0) == (price == 40.0)  # where drag outweighs the pace it does dip


@pytest.mark.ci
def test_the_pace_rises_by_no_less_than_its_least(step):
    """By brute force over how a mean energy is shared out between both ends of a step."""
    program, _, _ = step
    rng = np.random.default_rng(5)
    n = program.problem.steps
    energy = 0.5 * rng.uniform(2.0, 25.0, n + 1)**2
    mean = 0.5 * (energy[:-1] + energy[1:])
    at = module._samples(program, mean)
    pace, along, tilt = module._pace_tangent(energy)
    half = 0.5 * (energy[:-1] - energy[1:])
    split = at * np.sin(np.linspace(-0.5 * np.pi, 0.5 * np.pi, 4001))[:, None, None]
    gone = 2.0 / (np.sqrt(2 * (at + split)) + np.sqrt(2 * np.maximum(at - split, 0.0)))
    least = (gone - pace - along * (at - mean) - tilt * (split - half)).min(axis=0)
    rise = module._pace_rise(energy, mean, at)
    assert np.all(rise[:, 1:] <= np.maximum(least, 0.0)[:, 1:] + 1e-12)
    assert rise[:, 1:] == pytest.approx(least[:, 1:], rel=1e-3, abs=5e-8)
