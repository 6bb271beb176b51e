"""The grid of the computation: places that are nodes, and steps where the road asks for them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.conditions import Conditions
from optimizer.course import Mark
from optimizer.day import RaceDay
from optimizer.pacing import grid, plan_ride, planner
from tests.kit.invented import BASELINE, RIDER, road


@pytest.fixture
def hills():
    """120 km, flat but for rolling hills of 600 m between 40 and 70 km."""
    flat = road(np.random.default_rng(1), length=120_000.0)
    hilly = (flat.distance > 40e3) & (flat.distance < 70e3)
    elevation = np.where(hilly, 6.0 * (1 - np.cos(2 * np.pi * (flat.distance - 40e3) / 600)), 0.0)
    return replace(flat, elevation=elevation, marks=(Mark("bridge", 12_345.6),))


def test_marks_and_corners_are_nodes(hills):
    nodes = grid(hills)
    assert nodes[0] == 0.0
    assert nodes[-1] == hills.length
    assert 12_345.6 in nodes
    assert hills.corners[0].distance in nodes
    assert np.all(np.diff(nodes) > 0)


def test_steps_shrink_where_the_grade_changes(hills):
    nodes = grid(hills, 100.0)
    steps, middle = np.diff(nodes), 0.5 * (nodes[1:] + nodes[:-1])
    among = steps[(middle > 41e3) & (middle < 59e3)]
    assert np.median(among) < 60.0
    assert among.min() > 20.0
    assert np.median(steps[(middle > 80e3) & (middle < 119e3)]) == pytest.approx(100.0, rel=0.05)


def test_short_steps_on_hills_pay(hills, monkeypatch):
    """The same number of steps, evenly laid, leaves at least twice the error."""
    def time(step):
        plan = plan_ride(RaceDay(hills, Conditions(), RIDER, step=step), BASELINE)
        return plan.finish_time, len(plan.power)

    near, count = time(100.0)
    exact, _ = time(25.0)
    monkeypatch.setattr(planner, "_BEND", 1e9)
    even, as_many = time(120e3 / count)
    assert as_many >= count
    assert abs(near - exact) < 0.5 * abs(even - exact)
