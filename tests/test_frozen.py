"""Values whose arrays nobody can write to, also after a copy or a trip to another process."""

from __future__ import annotations

import copy
import pickle
from dataclasses import fields, replace

import numpy as np
import pytest

from optimizer.day import RaceDay
from optimizer.frozen import last_kept, locked
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


def test_an_answer_is_kept_for_the_same_question_only():
    asked = []

    @last_kept
    def work(values, factor=1.0, *, more=0.0):
        asked.append(factor)
        return values.sum() * factor + more

    fixed, other = locked(np.ones(3)), locked(np.full(3, 2.0))
    found = [work(fixed, 2.0), work(fixed, 2.0), work(other, 2.0), work(other, 3.0)]
    assert found == [6.0, 6.0, 12.0, 18.0]
    assert asked == [2.0, 2.0, 3.0]
    assert work(other, 3.0, more=1.0) == work(other, 3.0, more=1.0) == 19.0
    assert len(asked) == 5
    assert work(locked(np.full(3, 2.0)), 3.0) == 18.0  # equal, but another array
    assert len(asked) == 6


def test_an_answer_about_an_array_that_may_change_is_found_anew():
    work = last_kept(lambda values: float(values.sum()))
    values = np.ones(3)
    assert work(values) == 3.0
    values[0] = 5.0
    assert work(values) == 7.0


def test_a_question_that_fails_is_asked_again():
    asked = []

    @last_kept
    def work(value):
        asked.append(value)
        return 1.0 / value

    for _ in range(2):
        with pytest.raises(ZeroDivisionError):
            work(0.0)
    assert asked == [0.0, 0.0]
