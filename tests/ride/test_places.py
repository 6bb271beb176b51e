"""Nodes that return to the same places."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from optimizer.course.geodesy import local_metres
from optimizer.ride import Ride
from optimizer.ride.places import heading_of, nodes_by_place
from tests.ride import synthetic


def _recorded(course, seed=1, **known):
    rng = np.random.default_rng(seed)
    return synthetic.ride(course(rng, **known), synthetic.Truth(), synthetic.Sensors(), rng)


def test_laps_come_by_the_same_places_each_time():
    ride = _recorded(synthetic.loop, laps=5)
    nodes = nodes_by_place([ride], 80.0)
    visits = np.bincount(nodes.place)
    # The end of the last lap may lie a little before the start: one place of its own.
    assert np.all(visits[:-1] == 5)
    x, y = local_metres(ride.latitude, ride.longitude, (47.0, 8.0))
    east, north = (np.interp(nodes.time, ride.time, line) for line in (x, y))
    for place in range(nodes.places):
        here = nodes.place == place
        # Fixes err by 2 m (one deviation) a component; 8 m hold the nodes of a place.
        assert np.ptp(east[here]) < 12.0
        assert np.ptp(north[here]) < 12.0


def test_out_and_back_meets_its_places_from_both_sides():
    ride = _recorded(synthetic.out_and_back, times=2)
    nodes = nodes_by_place([ride], 80.0)
    assert np.median(np.bincount(nodes.place)) == 4
    heading = np.interp(nodes.time, ride.time, np.unwrap(heading_of(ride)))
    place = np.bincount(nodes.place).argmax()
    turned = np.cos(heading[nodes.place == place] - heading[nodes.place == place][0])
    assert turned.min() < -0.9
    assert turned.max() > 0.9


def test_a_second_ride_shares_the_places_of_the_first():
    first, second = (_recorded(synthetic.loop, seed=4, laps=2) for _ in range(2))
    nodes = nodes_by_place([first, second], 100.0)
    assert set(nodes.place[nodes.ride == 1]) <= set(nodes.place[nodes.ride == 0])


def test_spacing_is_about_what_was_asked_for():
    ride = _recorded(synthetic.loop)
    nodes = nodes_by_place([ride], 100.0)
    step = np.diff(np.interp(nodes.time, ride.time, ride.distance))
    assert step.min() > 45.0
    assert step.max() < 165.0


def test_laps_by_distance_alone():
    n = 400
    unknown = np.full(n, np.nan)
    ride = Ride("track", np.arange(n) * 1.0, 10.0 * np.arange(n), np.full(n, 10.0),
                np.full(n, 200.0), unknown, unknown, unknown)
    nodes = nodes_by_place([ride], 50.0, lap_length=250.0)
    assert nodes.places == 5
    assert np.all(np.bincount(nodes.place) >= 15)


def test_heading_is_that_of_the_path():
    n = 200
    ride = Ride("east", np.arange(n) * 1.0, 10.0 * np.arange(n), np.full(n, 10.0),
                np.full(n, 200.0), np.zeros(n), np.full(n, 45.0), 8 + 1e-4 * np.arange(n))
    assert np.allclose(heading_of(ride), np.pi / 2, atol=1e-6)
    assert np.all(np.isnan(heading_of(replace(ride, latitude=np.full(n, np.nan)))))
