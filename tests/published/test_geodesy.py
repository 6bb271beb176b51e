"""Lengths and directions on WGS84 against published geodesics and reference libraries."""

from __future__ import annotations

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.course.geodesy import east_north, local_metres, move, step_lengths, tangent_plane


def pair(a, b):
    return np.array([a[0], b[0]]), np.array([a[1], b[1]])


@pytest.mark.parametrize(("a", "b", "metres"), [
    ((0.0, 0.0), (0.0, 1.0), 111319.4908), ((45.0, 0.0), (45.0, 1.0), 78846.3347),
    ((0.0, 0.0), (1.0, 0.0), 110574.3886), ((45.0, 0.0), (46.0, 0.0), 111141.5485)])
def test_a_degree(a, b, metres):
    """Regression values of one degree on WGS84; held to 1e-6, the steps of courses being short."""
    assert step_lengths(*pair(a, b))[0] == pytest.approx(metres, rel=1e-6)


def test_flinders_peak_to_buninyong():
    """Worked example of the GDA technical manual, 54,972.271 m, 306°52'05.37"; from memory."""
    a = (-(37 + 57 / 60 + 3.72030 / 3600), 144 + 25 / 60 + 29.52440 / 3600)
    b = (-(37 + 39 / 60 + 10.15610 / 3600), 143 + 55 / 60 + 35.38390 / 3600)
    assert step_lengths(*pair(a, b))[0] == pytest.approx(54_972.271, abs=0.02)
    east, north = east_north(*pair(a, b))[:, 0]
    middle = np.degrees(np.arctan2(east, north)) % 360  # of the chord, at its middle
    ends = 306 + 52 / 60 + 5.37 / 3600, 127 + 10 / 60 + 25.07 / 3600 + 180
    assert middle == pytest.approx(np.mean(ends), abs=0.01)


@given(st.floats(-89.9, 89.9), st.floats(-180, 180), st.floats(0, 360), st.floats(0.01, 5000))
@settings(max_examples=300, deadline=None)
def test_steps_of_tracks_against_geographiclib(latitude, longitude, azimuth, metres):
    """Karney 2013, J. Geodesy 87:43, as implemented in geographiclib, everywhere on earth."""
    end = Geodesic.WGS84.Direct(latitude, longitude, azimuth, metres)
    there = pair((latitude, longitude), (end["lat2"], end["lon2"]))
    assert step_lengths(*there)[0] == pytest.approx(metres, rel=2e-7, abs=2e-6)
    if abs(latitude) < 85.0 and metres > 1.0:
        east, north = east_north(*there)[:, 0]
        turned = (np.degrees(np.arctan2(east, north)) - 0.5 * (azimuth + (
            azimuth + (end["azi2"] - azimuth + 180) % 360 - 180)) + 180) % 360 - 180
        assert abs(turned) < 0.01
        assert np.hypot(east, north) == pytest.approx(metres, rel=1e-6, abs=1e-5)


@given(st.floats(-80, 80), st.floats(-180, 179.9), st.floats(-50, 50), st.floats(-50, 50))
def test_a_shift_is_as_long_as_it_says(latitude, longitude, east, north):
    there = move(np.array([latitude]), np.array([longitude]), np.array([east]), np.array([north]))
    moved = Geodesic.WGS84.Inverse(latitude, longitude, float(there[0][0]), float(there[1][0]))
    assert moved["s12"] == pytest.approx(np.hypot(east, north), abs=2e-3)


def test_length_of_a_track_against_pyproj():
    from pyproj import Geod

    rng = np.random.default_rng(0)
    latitude = 46 + np.cumsum(rng.normal(0, 1e-4, 3000))
    longitude = 7 + np.cumsum(rng.normal(0, 1e-4, 3000))
    theirs = Geod(ellps="WGS84").line_length(longitude, latitude)
    assert step_lengths(latitude, longitude).sum() == pytest.approx(theirs, abs=0.01)


@pytest.mark.parametrize("latitude", [-67.0, -23.0, 0.0, 45.0, 61.0])
def test_metres_about_a_place_against_geographiclib(latitude):
    """Karney 2013 as in geographiclib: distance and azimuth to points within 15 km."""
    east, north = np.array([3000.0, -9000.0, 12_000.0]), np.array([-8000.0, 500.0, 9000.0])
    there = move(np.full(3, latitude), np.full(3, 179.95), east, north)
    flat, touching = local_metres(*there, (latitude, 179.95)), tangent_plane(
        *there, (latitude, 179.95))
    for k in range(3):
        found = Geodesic.WGS84.Inverse(latitude, 179.95, there[0][k], there[1][k])
        true = found["s12"] * np.array([np.sin(np.radians(found["azi1"])),
                                        np.cos(np.radians(found["azi1"]))])
        assert [line[k] for line in touching] == pytest.approx(true, abs=0.05)
        assert [line[k] for line in flat] == pytest.approx(true, abs=0.004 * found["s12"])
