from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.conditions import Conditions
from optimizer.conditions.air import air_density, air_density_along, risen_pressure


@given(st.floats(250, 320), st.floats(6e4, 1.08e5), st.floats(0, 1))
def test_warm_damp_and_thin_air_is_lighter(temperature, pressure, humidity):
    here = air_density(temperature, pressure, humidity)
    assert air_density(temperature + 1, pressure, humidity) < here
    assert air_density(temperature, pressure - 100, humidity) < here
    assert air_density(temperature, pressure, humidity + 0.01) < here


def test_along_a_course_it_thins_with_height():
    weather = Conditions(temperature=290.0, pressure=95_000.0, reference_elevation=500.0)
    rho = air_density_along(weather, np.array([500.0, 1000.0, 0.0]))
    assert rho[0] == pytest.approx(float(air_density(290.0, 95_000.0, 0.5)))
    assert rho[2] > rho[0] > rho[1]


def test_it_follows_the_temperature_of_the_hour():
    weather = Conditions(wind_time=np.array([0.0, 3600.0]), wind_east=np.zeros((2, 1)),
                         wind_north=np.zeros((2, 1)),
                         temperature_change=np.array([[0.0], [10.0]]))
    level, at = np.zeros(2), np.array([0.0, 3600.0])
    rho = air_density_along(weather, level, np.zeros(2), at)
    assert rho[0] == pytest.approx(air_density_along(weather, level)[0])
    assert rho[1] == pytest.approx(float(air_density(303.15, 101_325.0, 0.5)))


def test_pressure_from_sea_level_and_back():
    """Going up 500 m by one formula and down by the other ends where it began."""
    station = risen_pressure(101_325.0, 284.9, 500.0)
    weather = Conditions(temperature=284.9, pressure=station, reference_elevation=500.0,
                         humidity=0.0)
    rho = air_density_along(weather, np.array([0.0]))
    assert rho[0] == pytest.approx(float(air_density(284.9 + 3.25, 101_325.0, 0.0)), rel=1e-6)


def test_a_road_takes_the_temperature_of_the_arrival():
    from optimizer.course.course import Course
    from optimizer.physics import lay_road

    nodes = np.linspace(0.0, 1000.0, 11)
    one = np.ones(10)
    course = Course("c", nodes, 0 * nodes, 0 * nodes, 0 * nodes, 0 * one, one, nodes + 9, one, one)
    weather = Conditions(wind_time=np.array([0.0, 3600.0]), wind_east=np.zeros((2, 1)),
                         wind_north=np.zeros((2, 1)),
                         temperature_change=np.array([[0.0], [10.0]]))
    at_once = lay_road(course, weather, nodes).air_density
    later = lay_road(course, weather, nodes, arrival=np.full(11, 3600.0)).air_density
    assert at_once == pytest.approx(float(air_density(293.15, 101_325.0, 0.5)))
    assert later == pytest.approx(float(air_density(303.15, 101_325.0, 0.5)))
