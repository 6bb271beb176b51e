"""Recorded tracks that packages carry: gpxo (BSD-3), gpxpy (Apache-2.0), gpx-parse (MIT)."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.course import read_course
from optimizer.course.geodesy import step_lengths
from optimizer.course.gpx import read_gpx
from optimizer.errors import InputError
from tests.tracks import TRACKS, recorded_ride, track

# Points, WGS84 length within segments [m] and raw ascent and descent [m]: regression values,
# computed once with geographiclib from the files.
KNOWN = {
    "ExampleTrack.gpx": (5120, 19353.97, 658.44, 643.38),
    "ExampleTrack_NoTime.gpx": (274, 23918.43, 1082.0, 1084.0),
    "route-1.1.gpx": (7745, 21545.88, 168.0, 168.0),
    "korita-zbevnica.gpx": (871, 14914.28, 901.23, 907.48),
    "cerknicko-jezero.gpx": (296, 4576.91, 252.83, 118.72),
    "Mojstrovka.gpx": (184, 2700.92, 482.59, 453.76),
    "around-visnjan-with-car.gpx": (104, 2736.00, 51.42, 51.90)}


def raw(path):
    points = read_gpx(path)
    inside = np.diff(points.segment) == 0
    rise = np.diff(points.elevation)[inside]
    return (len(points), step_lengths(points.latitude, points.longitude)[inside].sum(),
            rise[rise > 0].sum(), -rise[rise < 0].sum())


@pytest.mark.parametrize("name", KNOWN)
def test_points_length_and_raw_ascent(name):
    points, length, up, down = raw(track(name))
    assert points == KNOWN[name][0]
    assert length == pytest.approx(KNOWN[name][1], abs=0.05)
    assert (up, down) == pytest.approx(KNOWN[name][2:], abs=0.01)


@pytest.mark.parametrize("name", sorted(TRACKS))
def test_the_same_points_as_gpxpy(name):
    """A general GPX library reads the same positions, heights and times."""
    import gpxpy

    path = track(name)
    theirs = gpxpy.parse(path.read_text(encoding="utf-8-sig"))
    points = [p for t in theirs.tracks for s in t.segments for p in s.points]
    points = points or [p for r in theirs.routes for p in r.points]
    if len(points) < 2:
        with pytest.raises(InputError, match="at least two"):
            read_gpx(path)
        return
    ours = read_gpx(path)
    assert ours.latitude.tolist() == [p.latitude for p in points]
    assert ours.longitude.tolist() == [p.longitude for p in points]
    assert ours.elevation == pytest.approx(
        np.array([np.nan if p.elevation is None else p.elevation for p in points]), nan_ok=True)
    when = np.array([np.nan if p.time is None else p.time.timestamp() for p in points])
    known = np.isfinite(when)
    assert ours.time[known] == pytest.approx(when[known], abs=1e-3)
    assert len(ours.places) == len(theirs.waypoints)


@pytest.mark.parametrize("name", ["ExampleTrack.gpx", "ExampleTrack_NoTime.gpx", "route-1.1.gpx"])
def test_one_piece_tracks_become_courses(name):
    """Length near the raw one, less what was standing and noise; ascent well below the raw one.

    gpxpy's own smoothed ascents of these files are 599, 770 and 143 m: another method, so only
    its size is asked for.
    """
    theirs = {"ExampleTrack.gpx": 599, "ExampleTrack_NoTime.gpx": 770, "route-1.1.gpx": 143}[name]
    course = read_course(track(name))
    _, length, up, _ = KNOWN[name]
    assert 0.965 * length < course.length <= 1.001 * length
    assert 0.7 * theirs < course.ascent < min(1.05 * theirs, 0.9 * up)
    assert np.abs(course.grade).max() < 0.26
    assert any(c.option == "heights" for c in course.corrections)


def test_a_walker_who_stands_about_is_seen():
    course = read_course(track("ExampleTrack.gpx"))
    found = {c.option: c.count for c in course.corrections}
    assert found["repeats"] == 1998
    assert found["stops"] > 20


def test_whole_metres_are_seen_as_steps():
    course = read_course(track("route-1.1.gpx"))
    assert "steps" in {c.option for c in course.corrections}


@pytest.mark.parametrize("name", ["korita-zbevnica.gpx", "cerknicko-jezero.gpx"])
def test_pieces_that_do_not_touch_are_said_so(name):
    course = read_course(track(name))
    assert "pieces that do not touch" in course.warnings[0]


@pytest.mark.parametrize("name", ["route.gpx", "cerknicko-jezero-without-elevations.gpx",
                                  "cerknicko-jezero-with-elevations-zero.gpx"])
def test_tracks_without_heights_are_refused(name):
    with pytest.raises(InputError, match="no elevation"):
        read_course(track(name))


def test_two_heights_of_ten_are_a_doubt():
    course = read_course(track("first_and_last_elevation.gpx"))
    assert any("Heights are missing at 7" in warning or "Heights are missing at 8" in warning
               for warning in course.warnings)


# --- one recorded ride, test data of python-fitparse (MIT) ------------------------------


def test_the_ride_is_read_whole():
    path = recorded_ride()
    points, length, up, _ = raw(path)
    assert points == 4544
    assert length == pytest.approx(40_226.7, abs=0.1)
    assert up == pytest.approx(816.6, abs=1.1)
    course = read_course(path)
    # The wheel counted 40,127.6 m; a receiver and a wheel agree to half a percent.
    assert course.length == pytest.approx(40_127.6, rel=0.005)
    assert 400.0 < course.ascent < 700.0
    assert np.abs(course.grade).max() < 0.15
    assert any(c.option == "drift" for c in course.corrections)


def test_the_smoothing_that_the_data_choose_explains_the_power_best():
    """Energy balance of the ride over 100 m: of all penalties, ours is near the best one.

    What the cranks gave, after the drivetrain, goes into height, speed, air and tyres (Martin
    et al. 1998). The share of it that the heights explain is a judge from outside the smoother.
    """
    import csv

    from optimizer.course import Cleaning

    path = recorded_ride()
    with recorded_ride(".csv").open() as file:
        rows = list(csv.DictReader(file))
    s, v, p = (np.array([float(row[k]) for row in rows])
               for k in ("distance_m", "speed_mps", "power_w"))
    edges = np.unique(np.searchsorted(s, np.arange(0.0, s[-1], 100.0)))
    time = np.diff(edges).astype(float)
    work = 0.976 * np.diff(np.concatenate([[0.0], np.cumsum(p)])[edges])
    air = np.diff(np.concatenate([[0.0], np.cumsum(v**3)])[edges])
    kinetic = 0.5 * 86.5 * np.diff(v[edges] ** 2)
    good = (time < 40) & (work / time > 120) & (v[edges][:-1] > 3) & (v[edges][1:] > 3)

    def explained(course):
        z = np.interp(s * course.length / s[-1], course.distance, course.elevation)
        terms = np.stack([85.0 * 9.81 * np.diff(z[edges]) + kinetic, air, np.diff(s[edges])],
                         axis=1) / np.sqrt(time)[:, None]
        y = (work / np.sqrt(time))[good]
        rest = y - terms[good] @ np.linalg.lstsq(terms[good], y, rcond=None)[0]
        return 1.0 - rest.var() / y.var()

    ours = explained(read_course(path))
    fixed = [explained(read_course(path, cleaning=Cleaning(penalty=penalty)))
             for penalty in (1e-2, 1.0, 100.0, 1e4, 1e6)]
    assert ours > max(fixed) - 0.02
    assert ours > fixed[0] + 0.01
    assert ours > fixed[-1] + 0.1
