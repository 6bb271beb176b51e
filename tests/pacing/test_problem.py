"""The arrays of a problem: what belongs to a step goes with it."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from optimizer.conditions import AirDepartures
from optimizer.pacing.problem import split_steps
from tests.pacing.random_problems import random_problem


@pytest.fixture
def problem():
    """A problem whose arrays all differ from step to step."""
    found = random_problem(3)
    n = found.steps
    count = np.arange(1.0, n + 1)
    found = replace(found, **{
        part.name: (count * (1 + k)).astype(getattr(found, part.name).dtype)
        for k, part in enumerate(fields(found)) if np.shape(getattr(found, part.name)) == (n,)},
        rolling_factor=7 * count)
    return replace(found, departures=AirDepartures(
        np.stack([count, -count]), np.stack([2 * count, 3 * count]), np.array([0.01, -0.01])))


def test_each_step_takes_along_all_that_it_has(problem):
    n, m = problem.steps, problem.steps // 2
    short = problem.with_steps(np.arange(m), problem.speed_limit[:m + 1])
    for part in fields(problem):
        whole, cut = getattr(problem, part.name), getattr(short, part.name)
        if np.shape(whole) == (n,):
            assert np.array_equal(cut, whole[:m]), part.name
        elif part.name not in {"speed_limit", "departures"}:
            assert cut is whole or cut == whole, part.name
    assert np.array_equal(short.speed_limit, problem.speed_limit[:m + 1])
    for name in ("headwind", "crosswind"):
        assert np.array_equal(getattr(short.departures, name),
                              getattr(problem.departures, name)[:, :m])
    assert np.array_equal(short.departures.density, problem.departures.density)


def test_steps_that_are_cut_add_up_to_the_same_road(problem):
    pieces = 1 + np.arange(problem.steps) % 3
    cut = split_steps(problem, pieces)
    ends = np.cumsum(pieces)
    assert cut.distance[ends] == pytest.approx(problem.distance[1:])
    assert np.array_equal(cut.rolling_factor[ends - 1], problem.rolling_factor)
    assert np.array_equal(cut.speed_limit[ends], problem.speed_limit[1:])
    assert np.isinf(np.delete(cut.speed_limit, [0, *ends])).all()
    assert np.array_equal(cut.departures.crosswind[:, ends - 1], problem.departures.crosswind)
