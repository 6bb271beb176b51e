"""Pauses, gaps and late fixes: what was ridden, what was stood, and the same from every file."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from optimizer.course import Course
from optimizer.ride.align import pass_nodes
from optimizer.ride.field_test import Runs, field_test
from optimizer.ride.ride import Ride
from optimizer.ride.spans import spans_of
from optimizer.scenario.ride_file import read_ride
from tests.ride import recorders, synthetic
from tests.ride.trials import BIKE, CONDITIONS

START = datetime(2024, 5, 1, 9, 0, tzinfo=UTC)
EXACT = synthetic.Sensors(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
STOPS = ((2500.0, 60.0), (4200.0, 25.0), (6100.0, 300.0), (9000.0, 12.0))
STOOD = sum(seconds for _, seconds in STOPS)


def ridden(seed=1, sensors=EXACT, stops=STOPS):
    """A ride along a road with stops, by the synthetic rider, and the road as a course."""
    rng = np.random.default_rng(seed)
    path = synthetic.out_and_back(rng, length=6000.0, times=1)
    so = synthetic.Truth(gust_sd=0.2, slow_sd=0.1)
    return path, synthetic.ride(path, so, sensors, rng, stops=stops, scales=(0.0, 0.0), speed0=0.5)


def course_of(path):
    n = len(path.s) - 1
    way = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(path.x), np.diff(path.y)))])
    return Course("road", way, 47.0 + path.y / 111_200.0,
                  8.0 + path.x / (111_320.0 * np.cos(np.radians(47.0))), 100.0 + path.h,
                  np.arctan2(np.diff(path.x), np.diff(path.y)), np.ones(n), np.full(n + 1, np.inf),
                  np.full(n, 0.03), np.ones(n))


def stood(ride):
    return ride.duration - float(spans_of(ride).riding.sum())


def mean_power(ride):
    spans = spans_of(ride)
    return float(spans.work.sum() / spans.known.sum())


def test_stops_of_a_recorder_that_never_pauses():
    _, ride = ridden()
    assert stood(ride) == pytest.approx(STOOD, abs=5.0)


def test_a_recorder_that_pauses_stood_as_long_and_rode_as_hard():
    _, ride = ridden()
    paused = recorders.pausing(ride)
    assert len(paused.time) < len(ride.time) - 0.8 * STOOD
    assert stood(paused) == pytest.approx(STOOD, abs=5.0)
    assert mean_power(paused) == pytest.approx(mean_power(ride), rel=2e-3)


def test_a_gap_that_begins_and_ends_at_speed_is_still_a_stop():
    """Recorders stop while one rolls out and start when one rolls again: 3 m/s at both ends."""
    time = np.concatenate([np.arange(300.0), 600.0 + np.arange(300.0)])
    speed = np.full(600, 9.0)
    speed[[298, 299, 300, 301]] = [5.0, 3.0, 3.0, 5.0]
    way = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * np.diff(time))])
    way[300:] -= way[300] - way[299] - 9.0  # 9 m from the last sample to the next
    ride = Ride("gap", time, way, speed, np.full(600, 200.0), np.zeros(600), np.full(600, np.nan),
                np.full(600, np.nan))
    # From 3 m/s to a stop and back to 3 m/s: 9 m at a mean of 1.5 m/s, six of the 301 s.
    assert stood(ride) == pytest.approx(295.0, abs=1.0)
    spans = spans_of(ride)
    assert spans.work.sum() == pytest.approx(200.0 * 598.0)


def test_a_recorder_that_stops_on_the_way_to_a_stop_counts_the_braking():
    """From 11 m/s, lost for 200 m, found again at rest: 171 m at 11 m/s in 15.5 s, 30 m of brakes
    at 2 m/s² in 5.5 s, then 20 s of standing."""
    time = np.concatenate([np.arange(200.0), 199.0 + 41.0 + np.arange(100.0)])
    speed = np.concatenate([np.full(200, 11.0), np.minimum(1.0 * np.arange(100.0), 11.0)])
    way = np.concatenate([11.0 * np.arange(200.0), np.full(100, 199.0 * 11.0 + 201.0)])
    way[200:] += np.cumsum(speed[200:])
    ride = Ride("gap", time, way, speed, np.full(300, 200.0), np.zeros(300),
                np.full(300, np.nan), np.full(300, np.nan))
    assert stood(ride) == pytest.approx(20.0, abs=2.0)


def test_a_gap_that_was_ridden_is_no_stop_and_holds_no_power():
    _, ride = ridden()
    moment = float(ride.time[np.searchsorted(ride.distance, 3300.0)])
    gap = recorders.dropping(ride, moment, 60.0)
    assert stood(gap) == pytest.approx(STOOD, abs=5.0)
    whole, part = spans_of(ride), spans_of(gap)
    assert whole.known.sum() - part.known.sum() == pytest.approx(61.0, abs=2.0)
    assert part.work.sum() < whole.work.sum()


def test_a_gap_of_riding_and_standing_is_both():
    path, ride = ridden(stops=((6100.0, 300.0),))
    moment = float(ride.time[np.searchsorted(ride.distance, 5800.0)])
    gap = recorders.dropping(ride, moment, 360.0)
    assert stood(gap) == pytest.approx(300.0, abs=25.0)  # the turn at the end was slow, unseen
    found = pass_nodes(gap, course_of(path), np.arange(0.0, path.s[-1] - 20.0, 50.0))
    assert found.standing.sum() == pytest.approx(300.0, abs=25.0)


@pytest.mark.parametrize("made", [lambda r: r, recorders.pausing,
                                  lambda r: recorders.waiting(r, 600)],
                         ids=["as it was", "pausing", "waiting for a fix"])
def test_one_ride_is_the_same_by_every_file(tmp_path, made):
    """FIT, CSV and GPX; what the GPX leaves out (wheel, speed, no fix) has to be found again."""
    pytest.importorskip("fitdecode", reason="the reader of head units' files is optional")
    path, ride = ridden()
    ride = made(ride)
    road = course_of(path)
    nodes = np.arange(0.0, path.s[-1] - 20.0, 50.0)
    files = [recorders.write_fit(tmp_path / "ride.fit", ride),
             recorders.write_csv(tmp_path / "ride.csv", ride),
             recorders.write_gpx(tmp_path / "ride.gpx", ride)]
    passages, powers = [], []
    for file in files:
        read = read_ride(file)
        passages.append(pass_nodes(read, road, nodes))
        powers.append(mean_power(read))
    for found, power in zip(passages, powers, strict=True):
        assert found.time[-1] == pytest.approx(passages[0].time[-1], rel=1e-3)
        assert found.standing.sum() == pytest.approx(STOOD, abs=5.0)
        assert power == pytest.approx(powers[0], rel=1e-3)


@pytest.mark.ci
def test_one_ride_has_one_drag_by_every_file(tmp_path):
    """FIT and CSV to 0.1 %; a GPX without wheel and speed within its own standard error."""
    pytest.importorskip("fitdecode", reason="the reader of head units' files is optional")
    _, ride = ridden(sensors=replace(EXACT, elevation_white=0.3))
    ride = recorders.pausing(replace(ride, power=np.round(ride.power),  # as a FIT keeps them
                                     elevation=np.round(5.0 * ride.elevation) / 5.0))
    fit, table, track = (
        field_test(Runs((read_ride(file),), ("bike",), (CONDITIONS,), BIKE, 82.0 - BIKE.mass))
        for file in (recorders.write_fit(tmp_path / "ride.fit", ride),
                     recorders.write_csv(tmp_path / "ride.csv", ride),
                     recorders.write_gpx(tmp_path / "ride.gpx", ride)))
    assert fit.answer.area == pytest.approx(table.answer.area, rel=1e-3)
    assert fit.answer.rolling == pytest.approx(table.answer.rolling, rel=1e-3)
    assert abs(track.answer.area - table.answer.area) < 0.7 * table.answer.area_sd
    assert abs(track.answer.rolling - table.answer.rolling) < 0.7 * table.answer.rolling_sd


@pytest.mark.parametrize("wheel", [True, False])
def test_waiting_for_the_first_fix_is_not_riding(tmp_path, wheel):
    path, ride = ridden()
    late = recorders.waiting(ride, 600)
    if not wheel:
        unknown = np.full(len(late.time), np.nan)
        late = replace(late, distance=unknown, speed=unknown)
    read = read_ride(recorders.write_csv(tmp_path / "late.csv", late))
    assert read.duration == pytest.approx(ride.duration, abs=1.0)
    assert read.start == ride.start
    assert any("position" in c.what for c in read.corrections)
    found = pass_nodes(read, course_of(path), np.arange(0.0, path.s[-1] - 20.0, 50.0))
    on_time = pass_nodes(ride, course_of(path), found.distance)
    assert found.time[-1] == pytest.approx(on_time.time[-1], abs=2.0)


@pytest.mark.parametrize("seconds", [90, 290])
def test_what_was_ridden_before_the_first_fix_counts_by_the_wheel(tmp_path, seconds):
    path, ride = ridden()
    late = read_ride(recorders.write_csv(tmp_path / "late.csv", recorders.blind(ride, seconds)))
    assert late.duration == ride.duration
    nodes = np.arange(0.0, path.s[-1] - 20.0, 50.0)
    found, whole = (pass_nodes(r, course_of(path), nodes) for r in (late, ride))
    np.testing.assert_allclose(found.time, whole.time, atol=4.0)


def test_waiting_at_the_line_with_a_fix_is_not_riding():
    path, ride = ridden(sensors=synthetic.Sensors(gps_sd=1.5))
    rng = np.random.default_rng(3)
    wait = recorders.waiting(ride, 400)
    lead = wait.time < 400
    jitter = synthetic._walk(400, 1.0, 60.0, 1.0, rng) / 111_200.0
    latitude, longitude = np.array(wait.latitude), np.array(wait.longitude)
    latitude[lead] = ride.latitude[0] + jitter
    longitude[lead] = ride.longitude[0]
    found = pass_nodes(replace(wait, latitude=latitude, longitude=longitude), course_of(path),
                       np.arange(0.0, path.s[-1] - 20.0, 50.0))
    assert found.begin == pytest.approx(400.0, abs=5.0)


def test_way_ridden_with_the_recorder_off_is_added_by_the_map(tmp_path):
    """The wheel was not counted while the recorder was off; the map knows better."""
    _, ride = ridden(stops=())
    at = int(np.searchsorted(ride.distance, 2000.0))
    gap = recorders.dropping(ride, float(ride.time[at]), 60.0)
    lost = float(gap.distance[at] - gap.distance[at - 1])
    uncounted = replace(gap, distance=np.where(gap.time > ride.time[at], gap.distance - lost,
                                               gap.distance))
    read = read_ride(recorders.write_csv(tmp_path / "off.csv", uncounted))
    assert read.length == pytest.approx(ride.length, abs=0.05 * lost)
    assert stood(read) == pytest.approx(0.0, abs=5.0)


def test_wandering_positions_make_no_way(tmp_path):
    _, ride = ridden(sensors=synthetic.Sensors(gps_sd=2.0))
    read = read_ride(recorders.write_gpx(tmp_path / "ride.gpx", ride))
    assert any("wandering" in c.what for c in read.corrections)
    assert stood(read) == pytest.approx(STOOD, abs=10.0)


def test_a_virtual_ride_is_recognised(tmp_path):
    _, ride = ridden()
    assert read_ride(recorders.write_gpx(tmp_path / "a.gpx", ride, "VirtualRide")).virtual
    assert not read_ride(recorders.write_gpx(tmp_path / "b.gpx", ride, "cycling")).virtual
