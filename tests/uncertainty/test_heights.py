"""Heights that are known by place only so far: what they do to the grades and the time."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.conditions import Conditions
from optimizer.pacing import Variation, simulate, simulate_many
from optimizer.pacing.problem import pacing_problem
from optimizer.physics import Setup, lay_road
from optimizer.rider import Position, Rider
from optimizer.uncertainty.heights import draw_heights, grade_changes
from tests.report.made_up import made_up_course

BARE = made_up_course()
COURSE = replace(BARE, height_error=np.linspace(0.5, 2.0, len(BARE.distance)))
NODES = np.linspace(0.0, BARE.length, 300)
RIDER = Rider("R", 72.0, 280.0, 20_000.0, 600.0, (Position("aero", 0.26),))


def test_drawn_heights_have_the_stated_error_everywhere():
    drawn = draw_heights(COURSE, np.random.default_rng(0), 4000)
    change = grade_changes(COURSE, drawn, NODES)
    off = np.cumsum(change * np.diff(NODES)[:, None], axis=0)  # against the start's own error
    sd = np.interp(NODES[1:], COURSE.distance, COURSE.height_error)
    far = NODES[1:] > 300.0
    assert off.std(axis=1)[far] == pytest.approx(np.hypot(sd, 0.5)[far], rel=0.08)


def test_without_an_error_by_place_nothing_is_drawn():
    assert draw_heights(BARE, np.random.default_rng(0), 5) is None
    assert grade_changes(BARE, None, NODES) is None


def test_other_grades_are_those_of_another_road():
    """Each draw of the batch is the single ride on the road with its heights."""
    drawn = grade_changes(COURSE, draw_heights(COURSE, np.random.default_rng(2), 3), NODES)
    problem = pacing_problem(lay_road(COURSE, Conditions(), NODES), RIDER, Setup("b", 9.0, 0.004))
    power = np.full(problem.steps, 240.0)
    batch = simulate_many(problem, power[:, None], Variation(grade_change=drawn))
    for k in range(3):
        alone = simulate(replace(problem, grade=problem.grade + drawn[:, k]), power)
        assert batch.finish_time[k] == pytest.approx(float(alone.finish_time), abs=0.01)
    assert np.ptp(batch.finish_time) > 0.01
