"""Shelter by what stands beside the road and by where the wind comes from."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.conditions import Conditions
from optimizer.course import Features, Obstacle, read_course
from optimizer.course.shelter import SECTORS, obstacle_sectors, surface_sectors, wind_left
from optimizer.physics import lay_road
from tests.course.drawn import straight, write_road

STEPS = np.arange(0.0, 1001.0, 10.0)
NORTH = np.zeros(100)


def hedge(side, **more):
    return Obstacle(**{"start": 0.0, "end": 500.0, "side": side, "height": 2.0, "distance": 5.0,
                       "porosity": 0.4, **more})


@pytest.mark.parametrize("porosity", [0.2, 0.4, 0.5])
def test_shelter_is_deepest_at_three_to_six_heights_and_gone_at_thirty_five(porosity):
    """Heisler and DeWalle 1988, Agric. Ecosyst. Environ. 22/23:41: least wind at 3 to 6 heights,
    felt to 25 and more (from memory)."""
    x = np.linspace(0.0, 40.0, 401)
    left = wind_left(x, porosity)
    assert 2.0 < x[left.argmin()] < 6.0
    assert 0.05 < left.min() < 0.5
    assert left[x > 35].min() > 0.95
    assert wind_left(10.0, porosity) < 0.6 < wind_left(20.0, porosity)


@given(st.floats(-50, 100), st.floats(0.0, 0.85))
def test_a_share_is_a_share(away, porosity):
    assert 0.0 <= float(wind_left(away, porosity)) <= 1.0


def test_the_denser_shelters_more_nearby():
    assert wind_left(4.0, 0.2) < wind_left(4.0, 0.6) < wind_left(4.0, 0.8)


def test_a_hedge_on_the_left_shelters_from_the_left():
    table = obstacle_sectors((hedge(-1),), STEPS, NORTH)
    west, east, north = (table[10, SECTORS * k // 4] for k in (3, 1, 0))
    assert west == pytest.approx(float(wind_left(2.5, 0.4)))
    assert east == pytest.approx(float(wind_left(-2.5, 0.4)))  # just in front of it
    assert north == pytest.approx(float(wind_left(2.5 / np.sin(np.radians(8)), 0.4)), abs=1e-9)
    assert west < 0.4 < east < north
    assert (table[60:] == 1.0).all()  # the hedge ends half way


def test_the_strongest_of_several_counts():
    both = obstacle_sectors((hedge(0), hedge(0, height=1.5)), STEPS, NORTH)
    one, other = (obstacle_sectors((o,), STEPS, NORTH) for o in (hedge(0), hedge(0, height=1.5)))
    assert both == pytest.approx(np.minimum(one, other))
    assert obstacle_sectors((), STEPS, NORTH) is None


@pytest.mark.parametrize(("wind_from", "sheltered"), [(270.0, True), (90.0, False)])
def test_the_wind_that_is_forecast_decides(tmp_path, wind_from, sheltered):
    east, north = straight(1000.0, heading=0.0)
    file = write_road(tmp_path / "a.gpx", east, north, np.full(len(east), 50.0))
    course = read_course(file, features=Features(obstacles=(hedge(-1, end=1000.0),)))
    angle = np.radians(wind_from)
    weather = Conditions(wind_east=[[-8 * np.sin(angle)]], wind_north=[[-8 * np.cos(angle)]])
    nodes = np.linspace(0.0, course.length, 11)
    open_road = lay_road(replace(course, shelter_from=None), weather, nodes)
    road = lay_road(course, weather, nodes)
    left = np.abs(road.crosswind / open_road.crosswind)
    expected = float(wind_left(2.5 if sheltered else -2.5, 0.4))
    assert left == pytest.approx(expected, abs=0.02)


class Model:
    """Heights of a plane with, or without, a row of trees 20 m to the west of the meridian 7."""

    cell, name = 1.0, "made up"

    def __init__(self, trees):
        self.trees = trees

    def at(self, _latitude, longitude):
        x = (longitude - 7.0) * 111_320 * np.cos(np.radians(46.0))
        row = (x > -23.0) & (x < -17.0)
        return np.where(row & self.trees, 110.0, 100.0)


def test_trees_of_a_surface_model_shelter_the_road_beside_them():
    """Ten metres high, their far edge 20 m off: two heights upwind, by the same law."""
    latitude = 46.0 + STEPS / 111_150
    table = surface_sectors(STEPS, latitude, np.full(len(STEPS), 7.0), Model(False), Model(True))
    assert table.shape == (100, SECTORS)
    west, east = table[50, SECTORS * 3 // 4], table[50, SECTORS // 4]
    assert west == pytest.approx(float(wind_left(2.0, 0.35)), abs=0.05)
    assert east == 1.0
    aslant = table[50, SECTORS * 3 // 4 + 4]  # 60° further on: twice as far
    assert aslant == pytest.approx(float(wind_left(4.0, 0.35)), abs=0.05)
