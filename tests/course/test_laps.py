"""Laps from the line of the course alone."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optimizer.course import Course
from optimizer.course.laps import find_laps
from optimizer.scenario import read_scenario

METRE = 360.0 / (2 * np.pi * 6_371_000.0)  # degrees of latitude


def line(points, noise=0.0, step=12.0, seed=1):
    """Course through points (k, 2) [m east, north], with nodes about every `step` metres."""
    points = np.asarray(points, dtype=float)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    s = np.linspace(0.0, along[-1], int(along[-1] / step))
    rng = np.random.default_rng(seed)
    east, north = (np.interp(s, along, points[:, k]) + noise * rng.standard_normal(len(s))
                   for k in (0, 1))
    n = len(s) - 1
    return Course("made up", s, -40.0 + north * METRE,
                  -20.0 + east * METRE / np.cos(np.radians(40.0)), np.zeros(n + 1), np.zeros(n),
                  np.ones(n), np.full(n + 1, np.inf), np.full(n, 0.03), np.ones(n))


def ring(laps, radius=800.0, begin=0.0):
    """Points of an egg-shaped circuit, ridden `laps` times."""
    angle = begin + 2 * np.pi * np.linspace(0.0, laps, int(200 * laps) + 1)
    r = radius * (1 + 0.2 * np.sin(2 * angle))
    return np.column_stack([r * np.sin(angle), r * np.cos(angle)])


def around(points):
    return float(np.sum(np.hypot(*np.diff(points, axis=0).T)))


@pytest.mark.parametrize("noise", [0.0, 3.0])
def test_three_laps(noise):
    laps = find_laps(line(ring(3), noise))
    assert laps is not None
    assert laps.count == 3
    lap = around(ring(1))
    assert laps.edges == pytest.approx([0.0, lap, 2 * lap, 3 * lap], abs=25.0)
    assert laps.length == pytest.approx(lap, abs=10.0)


def test_a_lead_in_and_a_run_to_the_finish_are_no_laps():
    road = np.concatenate([[[-2500.0, 800.0]], ring(4), [[0.0, 800.0], [1500.0, 2400.0]]])
    laps = find_laps(line(road))
    assert laps is not None
    assert laps.count == 4
    lap = around(ring(1))
    assert laps.edges == pytest.approx(2500.0 + lap * np.arange(5), abs=60.0)


def test_a_short_lead_in_belongs_to_the_first_lap():
    road = np.concatenate([[[-60.0, 800.0]], ring(3)])
    laps = find_laps(line(road))
    assert laps is not None
    assert (laps.count, laps.edges[0]) == (3, 0.0)


@pytest.mark.parametrize("points", [
    ring(1), ring(1.5), [[0.0, 0.0], [9000.0, 500.0]],
    [[0.0, 0.0], [5000.0, 0.0], [5000.0, 5.0], [0.0, 5.0]],  # out and back once
    [[0.0, 0.0], [2000.0, 0.0], [2000.0, 200.0], [0.0, 200.0], [0.0, 400.0], [2000.0, 400.0],
     [2000.0, 600.0]]])  # hairpins
def test_no_laps(points):
    assert find_laps(line(points)) is None


def test_out_and_back_twice_is_two_laps():
    out = [[0.0, 0.0], [5000.0, 0.0], [5000.0, 5.0], [0.0, 5.0]]
    laps = find_laps(line([*out, *out]))
    assert laps is not None
    assert laps.count == 2
    assert laps.edges[1] == pytest.approx(10_010.0, abs=30.0)


def test_no_coordinates_no_laps():
    course = line(ring(3))

    nowhere = np.zeros(len(course.distance))
    assert find_laps(replace(course, latitude=nowhere, longitude=nowhere)) is None


def test_the_place_within_a_lap():
    laps = find_laps(line(np.concatenate([[[-2500.0, 800.0]], ring(3)])))
    assert laps is not None
    first, lap = laps.edges[0], laps.length
    number, into = laps.within(np.array([100.0, first + 10.0, first + 1.5 * lap, laps.edges[-1]]))
    assert number.tolist() == [-1, 0, 1, 2]
    assert into == pytest.approx([100.0, 10.0, 0.5 * lap, lap], abs=15.0)


def test_the_demo_with_laps():
    folder = Path(__file__).parents[2] / "courses"
    laps = find_laps(read_scenario(folder / "petrel-flats" / "scenario.toml").course)
    assert laps is not None
    assert laps.count == 2
    assert laps.edges[1] == pytest.approx(20_000.0, abs=50.0)
    for name in ("quern-pass", "tarn-loop"):
        assert find_laps(read_scenario(folder / name / "scenario.toml").course) is None
