"""Values whose arrays nobody can write to, also after a copy or a trip to another process."""

from __future__ import annotations

import copy
import pickle
from dataclasses import fields, replace

import numpy as np
import pytest

from optimizer.day import RaceDay
from optimizer.pacing import plan_ride
from tests.kit.invented import BASELINE, RIDER, road, wind


@pytest.fixture(scope="module")
def plan():
    day = RaceDay(road(np.random.default_rng(2), length=3000.0), wind(2.0, 1.0), RIDER, step=300.0)
    return plan_ride(day, BASELINE)


def copies(value):
    return value, copy.deepcopy(value), pickle.loads(pickle.dumps(value))  # noqa: S301 - our own


def test_no_array_of_a_value_can_be_written_to(plan):
    values = (plan, plan.problem, road(np.random.default_rng(2), length=3000.0), wind(2.0, 1.0),
              replace(BASELINE, drag_area_change=np.zeros(1)))
    for value in (one for each in values for one in copies(each)):
        arrays = [getattr(value, entry.name) for entry in fields(value)
                  if isinstance(getattr(value, entry.name), np.ndarray)]
        assert arrays
        for array in arrays:
            with pytest.raises(ValueError, match="read-only"):
                array[...] = 0


def test_what_is_written_to_the_array_given_changes_nothing(plan):
    limit = np.array(plan.problem.speed_limit)
    problem = replace(plan.problem, speed_limit=limit)
    limit[:] = 0.0
    assert np.all(problem.speed_limit > 0.0)
    assert isinstance(replace(problem, rolling_factor=1.0).rolling_factor, float)
