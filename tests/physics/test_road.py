"""A course laid on the steps of a computation: means over steps, values at their middles."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.conditions import Conditions, with_members
from optimizer.conditions.air import air_density_along
from optimizer.conditions.wind import height_factor
from optimizer.course import Course
from optimizer.physics import lay_road
from tests.conditions.one_member import member

NODES = np.array([0.0, 100.0, 300.0, 600.0])
MIDDLE = np.array([50.0, 200.0, 450.0])


def course(**fields):
    distance = np.arange(0.0, 601.0, 30.0)
    n = len(distance) - 1
    return Course("made up", distance=distance, **{
        "latitude": np.zeros(n + 1), "longitude": np.zeros(n + 1), "elevation": np.zeros(n + 1),
        "heading": np.zeros(n), "rolling_factor": np.ones(n), "speed_limit": np.full(n + 1, np.inf),
        "roughness": np.full(n, 0.03), "shelter": np.ones(n), **fields})


def test_wind_is_that_of_the_middle_of_a_step_when_it_is_reached():
    # North wind 2 + x/100 - t/50, linear in place and time, towards a rider who rides north.
    here = Conditions(wind_time=[0.0, 200.0], wind_distance=[0.0, 600.0],
                      wind_north=[[-2.0, -8.0], [2.0, -4.0]], wind_east=np.zeros((2, 2)))
    shade = height_factor(0.03)
    still = lay_road(course(), here, NODES)
    assert still.headwind == pytest.approx(shade * (2.0 + MIDDLE / 100))
    arrival = np.array([0.0, 30.0, 60.0, 110.0])
    moving = lay_road(course(), here, NODES, arrival)
    assert moving.headwind == pytest.approx(
        shade * (2.0 + MIDDLE / 100 - np.array([15.0, 45.0, 85.0]) / 50))
    assert moving.crosswind == pytest.approx(0.0)


def test_air_is_that_of_the_middle_of_a_step():
    distance = course().distance
    here = Conditions(wind_time=[0.0, 3600.0], wind_north=np.zeros((2, 1)),
                      wind_east=np.zeros((2, 1)), temperature_change=[[0.0], [6.0]])
    arrival = np.array([0.0, 600.0, 1800.0, 3600.0])
    laid = lay_road(course(elevation=500.0 + 0.1 * distance), here, NODES, arrival)
    assert laid.grade == pytest.approx(0.1)
    expected = air_density_along(here, 500.0 + 0.1 * MIDDLE, MIDDLE,
                                 np.array([300.0, 1200.0, 2700.0]))
    assert laid.air_density == pytest.approx(expected, rel=1e-9)


def test_what_a_step_has_is_the_mean_over_the_road_in_it():
    rough = np.ones(20)
    rough[4] = 2.0  # from 120 m to 150 m, in the second step of 200 m
    heading = np.radians(np.where(np.arange(20) % 2, 350.0, 10.0))
    shelter = np.where(np.arange(20) < 10, 0.4, 1.0)
    laid = lay_road(course(rolling_factor=rough, heading=heading, shelter=shelter),
                    Conditions(wind_north=[[-4.0]]), np.array([0.0, 100.0, 300.0, 600.0]))
    assert laid.rolling_factor == pytest.approx([1.0, 1.15, 1.0])
    assert np.abs(np.degrees(laid.heading)).max() < 3.5  # north, not south
    assert laid.headwind == pytest.approx(
        4.0 * height_factor(0.03) * np.array([0.4, 0.4, 1.0]) * np.cos(laid.heading))
    assert laid.step == pytest.approx([100.0, 200.0, 300.0])


@pytest.mark.parametrize(("place", "node"), [(0.0, 0), (30.0, 0), (60.0, 1), (180.0, 1),
                                             (210.0, 2), (420.0, 2), (480.0, 3), (600.0, 3)])
def test_a_limit_binds_at_the_node_beside_it(place, node):
    limit = np.full(21, np.inf)
    limit[round(place / 30)] = 7.0
    laid = lay_road(course(speed_limit=limit), Conditions(), NODES)
    assert np.flatnonzero(laid.speed_limit < 100.0).tolist() == [node]
    assert laid.speed_limit[node] == 7.0


def test_a_limit_along_the_road_is_met_between_its_own_nodes():
    laid = lay_road(course(speed_limit=np.linspace(10.0, 16.0, 21)), Conditions(),
                    np.array([0.0, 292.0, 300.0, 308.0, 600.0]))
    # Its square is linear between the course's own nodes, as while braking evenly.
    between = [np.sqrt(12.7**2 + 22 / 30 * (13.0**2 - 12.7**2)),
               np.sqrt(13.0**2 + 8 / 30 * (13.3**2 - 13.0**2))]
    assert laid.speed_limit == pytest.approx([10.0, between[0], 13.0, between[1], 16.0])


def test_braking_that_begins_within_a_step_is_no_slower_on_a_coarse_grid():
    """A parabola of even braking, nodes on the corner: the limit at a node is what it is there."""
    left = np.abs(600.0 - np.linspace(0.0, 600.0, 21))
    limit = np.sqrt(6.0**2 + 2 * 3.0 * left)
    nodes = np.array([0.0, 250.0, 470.0, 600.0])
    laid = lay_road(course(speed_limit=limit), Conditions(), nodes)
    assert laid.speed_limit == pytest.approx(np.sqrt(36.0 + 6.0 * (600.0 - nodes)))


def test_members_of_an_ensemble_are_laid_on_the_road_too():
    """Each member's road is the forecast's and its departure."""
    rng = np.random.default_rng(4)
    weather = with_members(
        Conditions(wind_time=np.array([0.0, 3600.0]), wind_distance=np.array([0.0, 500.0])),
        east=rng.standard_normal((5, 2, 2)), north=rng.standard_normal((5, 2, 2)))
    arrival = np.linspace(0.0, 900.0, 4)
    turning = course(heading=np.linspace(0.0, 3.0, 20))
    road = lay_road(turning, weather, NODES, arrival)
    for k, one in enumerate(np.eye(5)):
        alone = lay_road(turning, member(weather, one), NODES, arrival)
        assert road.headwind + road.departures.headwind[k] == pytest.approx(alone.headwind)
        assert road.crosswind + road.departures.crosswind[k] == pytest.approx(alone.crosswind)
        assert alone.departures is None
