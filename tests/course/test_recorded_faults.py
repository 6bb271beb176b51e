"""Faults of courses made from rides, said as large as they are."""

from __future__ import annotations

import re

import numpy as np
import pytest

from optimizer.course import Cleaning, read_course
from tests.ride import recorders, synthetic


def _course(tmp_path, x, y, h, **kwargs):
    """Read a track of points at local metres x (east), y (north) with heights."""
    lat, lon = 47.0 + np.asarray(y) / 111_200.0, 8.0 + np.asarray(x) / (
        111_320.0 * np.cos(np.radians(47.0)))
    body = "".join(f'<trkpt lat="{a:.7f}" lon="{b:.7f}"><ele>{c:.2f}</ele></trkpt>'
                   for a, b, c in zip(lat, lon, h, strict=True))
    path = tmp_path / "course.gpx"
    path.write_text('<?xml version="1.0"?><gpx version="1.1" creator="made" '
                    f'xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{body}</trkseg></trk>'
                    "</gpx>", encoding="utf-8")
    return read_course(path, **kwargs)


ALONG = np.arange(0.0, 20_000.0, 10.0)
HILLS = 100.0 + 20.0 * np.sin(2 * np.pi * ALONG / 5000.0)


@pytest.mark.parametrize("size", [60.0, 168.0])
def test_a_wall_is_said_as_high_as_it_is(tmp_path, size):
    found = _course(tmp_path, ALONG, 0 * ALONG, HILLS + size * (ALONG >= 10_000.0))
    (said,) = re.findall(r"jump by (\d+) m", " ".join(found.warnings))
    assert float(said) == pytest.approx(size, abs=4.0)


def test_one_ramp_is_no_staircase(tmp_path):
    """Flat, a ramp of 400 m of way, flat: once steps of 8 m and a jump of 2,814 m."""
    height = 100.0 + np.clip((ALONG - 10_000.0) * 0.05, 0.0, 20.0)
    found = _course(tmp_path, ALONG, 0 * ALONG, height)
    assert not any("steps" in c.what for c in found.corrections)
    assert found.warnings == ()
    rise = found.elevation.max() - found.elevation.min()
    assert rise == pytest.approx(20.0, abs=1.0)


def test_a_steep_ramp_is_said_no_higher_than_it_is(tmp_path):
    height = 100.0 + np.clip((ALONG - 10_000.0) * 0.8, 0.0, 152.0)
    found = _course(tmp_path, ALONG, 0 * ALONG, height)
    (said,) = re.findall(r"jump by (\d+) m", " ".join(found.warnings))
    assert float(said) == pytest.approx(152.0, abs=4.0)
    assert not any("come in steps" in warning for warning in found.warnings)


def _tangled():
    """Two turns of 10 m round the place of a stop on a straight road of 6 km."""
    turn = np.linspace(0.0, 4.0 * np.pi, 60)
    x = np.concatenate([np.arange(0.0, 3000.0, 8.0), 3000.0 + 10.0 * np.sin(turn),
                        np.arange(3008.0, 6000.0, 8.0)])
    y = np.concatenate([np.zeros(375), 10.0 - 10.0 * np.cos(turn), np.zeros(len(x) - 435)])
    return x, y, 100.0 + np.sin(x / 300.0) * 10.0


def test_a_tangle_at_a_stop_is_cut_out_and_the_road_is_as_long_as_it_is(tmp_path):
    found = _course(tmp_path, *_tangled())
    assert found.length == pytest.approx(6000.0, abs=15.0)
    assert not found.corners
    assert found.warnings == ()
    assert any("full circles" in c.what and c.count == 2 for c in found.corrections)


def test_a_tangle_that_is_kept_is_no_corner(tmp_path):
    found = _course(tmp_path, *_tangled(), cleaning=Cleaning(skip=frozenset({"tangles"})))
    assert found.length > 6080.0
    assert all(abs(np.degrees(corner.turn)) < 400.0 for corner in found.corners)
    assert any("winds around itself" in warning and "km 3." in warning
               for warning in found.warnings)


def test_one_gap_is_one_gap(tmp_path):
    keep = (ALONG < 8000.0) | (ALONG > 9500.0)
    found = _course(tmp_path, ALONG[keep], 0 * ALONG[keep], HILLS[keep])
    (said,) = [warning for warning in found.warnings if "not known" in warning]
    assert "pairs" not in said
    assert "At km 8.0 two points are 1.5 km apart" in said


@pytest.mark.parametrize(("radius", "rise", "cut"), [(10.0, 0.0, True), (10.0, 5.0, False),
                                                     (40.0, 0.0, False)])
def test_only_small_level_circles_are_cut_out(tmp_path, radius, rise, cut):
    """A ramp that winds over itself and a loop of road stay."""
    turn = np.linspace(0.0, 2.0 * np.pi, 40)[1:-1]
    x = np.concatenate([np.arange(0.0, 3001.0, 8.0), 3000.0 + radius * np.sin(turn),
                        np.arange(3000.0, 6000.0, 8.0)])
    y = np.concatenate([np.zeros(376), radius * (1.0 - np.cos(turn)), np.zeros(375)])
    h = 100.0 + rise * np.concatenate([np.zeros(376), turn / (2.0 * np.pi), np.ones(375)])
    found = _course(tmp_path, x, y, h)
    assert found.length == pytest.approx(5992.0 + (0.0 if cut else 2.0 * np.pi * radius),
                                         abs=0.15 * radius + 10.0)


@pytest.mark.parametrize("depth", [20.0, 60.0])
def test_a_dip_of_an_altimeter_is_levelled_or_said_as_deep_as_it_is(tmp_path, depth):
    dip = (ALONG >= 10_000.0) & (ALONG < 10_200.0)
    found = _course(tmp_path, ALONG, 0 * ALONG, HILLS - depth * dip)
    said = [float(size) for size in re.findall(r"jump by (\d+) m", " ".join(found.warnings))]
    near = np.abs(found.distance - 10_100.0) < 90.0
    level = np.interp(found.distance[near], ALONG, HILLS)
    levelled = np.abs(found.elevation[near] - level).max() < 3.0
    assert levelled or said == [pytest.approx(depth, abs=4.0)]


@pytest.mark.parametrize("seed", [0, 3])
def test_a_course_from_a_ride_with_stops_is_the_road_that_was_ridden(tmp_path, seed):
    """Out and back on a known road, fixes and heights off by some metres, three stops."""
    rng = np.random.default_rng(seed)
    path = synthetic.out_and_back(rng, length=6000.0, times=1, relief=12.0)
    stops = ((1500.0, 40.0), (3300.0, 200.0), (8200.0, 90.0))
    ride = synthetic.ride(path, synthetic.Truth(), synthetic.Sensors(), rng, stops=stops)
    found = read_course(recorders.write_gpx(tmp_path / "ride.gpx", ride))
    true = float(np.hypot(np.diff(path.x), np.diff(path.y)).sum())
    assert found.length == pytest.approx(true, rel=0.005)
    height = np.interp(found.distance / found.length, path.s / path.s[-1], path.h)
    assert (found.elevation - height).std() < 1.0
    assert [(corner.u_turn, round(corner.distance / 1000.0)) for corner in found.corners] == [
        (True, 6)]
    assert found.warnings == ()
