from __future__ import annotations

import numpy as np
import pytest

from optimizer.course.cleaning import MENDING, Cleaning, Log, clean_points
from optimizer.course.geodesy import step_lengths
from optimizer.course.gpx import Points
from optimizer.errors import InputError
from tests.course.drawn import on_ellipsoid, straight


def track(east, north, elevation=None, time=None, segment=None):
    latitude, longitude = on_ellipsoid(np.asarray(east, float), np.asarray(north, float))
    n = len(latitude)
    return Points("t", latitude, longitude,
                  np.asarray(100 + 0.01 * np.arange(n) if elevation is None else elevation, float),
                  np.full(n, np.nan) if time is None else np.asarray(time, float),
                  np.zeros(n, dtype=int) if segment is None else np.asarray(segment))


def cleaned(points, *skip, **options):
    log = Log("file.gpx", frozenset(skip))
    return clean_points(points, Cleaning(skip=frozenset(skip), **options), log), log


def length(points):
    return step_lengths(points.latitude, points.longitude).sum()


def found(log, option):
    return [c.count for c in log.corrections if c.option == option]


def test_a_clean_track_is_left_alone():
    points = track(*straight(2000.0))
    out, log = cleaned(points)
    assert not log.corrections
    assert not log.warnings
    assert out.latitude.tolist() == points.latitude.tolist()


def test_points_at_one_place_are_merged_and_their_heights_averaged():
    east, north = straight(100.0)
    again = np.repeat(np.arange(len(east)), [1, 1, 3, *[1] * (len(east) - 3)])
    heights = 100.0 + np.arange(len(again))
    out, log = cleaned(track(east[again], north[again], heights))
    assert found(log, "repeats") == [2]
    assert len(out) == len(east)
    assert out.elevation[2] == 103.0


def test_order_is_mended_by_time_only_where_that_shortens_the_way():
    east, north = straight(1000.0)
    time = np.arange(len(east)) * 1.0
    mixed = np.arange(len(east))
    mixed[[20, 40]] = mixed[[40, 20]]
    out, log = cleaned(track(east[mixed], north[mixed], time=time[mixed]))
    assert found(log, "order") == [2]
    assert length(out) == pytest.approx(1000.0, abs=0.1)
    # Two laps whose clock was set back: sorting would shuffle them together.
    back = track(np.concatenate([east, east[::-1]]), np.concatenate([north, north[::-1]]),
                 time=np.concatenate([time, time + 0.5]))
    out, log = cleaned(back)
    assert not found(log, "order")
    assert any("backwards" in warning for warning in log.warnings)
    assert length(out) == pytest.approx(2000.0, abs=0.2)


def test_a_stop_with_wandering_becomes_one_point():
    east, north = straight(1000.0, spacing=8.0)
    rng = np.random.default_rng(0)
    wander = rng.normal(0, 1.0, (2, 120))
    east = np.concatenate([east[:60], east[60] + wander[0], east[61:]])
    north = np.concatenate([north[:60], north[60] + wander[1], north[61:]])
    time = np.arange(len(east)) * 1.0
    points = track(east, north, time=time)
    out, log = cleaned(points)
    assert found(log, "stops") == [1]
    assert length(points) > 1150.0
    assert length(out) == pytest.approx(1000.0, abs=12.0)
    raw, log = cleaned(points, "stops", "tangles")
    assert len(raw) == len(points)
    assert not found(log, "stops")


def test_a_slow_climb_is_no_stop():
    """A walker pushing a bicycle at 4 km/h still moves."""
    east, north = straight(500.0, spacing=1.1)
    _, log = cleaned(track(east, north, time=np.arange(len(east)) * 1.0))
    assert not found(log, "stops")


@pytest.mark.parametrize("timed", [True, False])
def test_single_and_double_jumps_are_dropped(timed):
    east, north = straight(2000.0)
    east, north = east.copy(), north.copy()
    east[50] += 900.0
    north[120:122] -= 2500.0
    time = np.arange(len(east)) * 1.0 if timed else None
    out, log = cleaned(track(east, north, time=time))
    assert found(log, "jumps") == [3]
    assert length(out) == pytest.approx(2000.0, abs=1.0)


def test_a_first_fix_in_another_country_is_dropped():
    east, north = straight(2000.0)
    points = track(east, north)
    lost = Points("t", np.append(0.0, points.latitude), np.append(0.0, points.longitude),
                  np.append(0.0, points.elevation), np.append(np.nan, points.time),
                  np.append(0, points.segment))
    out, log = cleaned(lost)
    assert found(log, "jumps") == [1]
    assert length(out) == pytest.approx(2000.0, abs=0.1)


def test_a_dead_turn_of_a_drawn_course_is_no_jump():
    """Ten kilometres out and back with a point only every 500 m."""
    out_east, out_north = straight(5000.0, spacing=500.0)
    east = np.concatenate([out_east, out_east[-2::-1]])
    north = np.concatenate([out_north, out_north[-2::-1]])
    out, log = cleaned(track(east, north))
    assert not found(log, "jumps")
    assert length(out) == pytest.approx(10_000.0, abs=0.5)


def test_a_long_straight_among_short_steps_is_no_jump():
    east = np.concatenate([np.arange(0, 500, 10.0), np.arange(2500, 3000, 10.0)])
    out, log = cleaned(track(east, np.zeros(len(east))))
    assert not found(log, "jumps")
    assert any("points are 2.0 km apart" in warning for warning in log.warnings)
    assert length(out) == pytest.approx(2990.0, abs=0.1)


def test_near_segments_are_joined_and_said_so():
    east, north = straight(1000.0)
    _, log = cleaned(track(east, north, segment=np.arange(len(east)) // 30))
    assert [c.count for c in log.corrections if "breaks" in c.what] == [3]


def test_of_unconnected_pieces_the_longest_is_taken_or_the_one_asked_for():
    east, north = straight(1000.0)
    two = track(np.concatenate([east[:41], east + 9000.0]), np.concatenate([north[:41], north]),
                segment=np.repeat([0, 1], [41, len(east)]))
    out, log = cleaned(two)
    assert length(out) == pytest.approx(1000.0, abs=2.0)
    assert "piece 2 was taken" in log.warnings[0]
    out, _ = cleaned(two, piece=1)
    assert length(out) == pytest.approx(400.0, abs=1.0)
    with pytest.raises(InputError, match="2 pieces, not 3"):
        cleaned(two, piece=3)


def test_missing_and_absurd_heights_are_drawn_through():
    east, north = straight(1000.0)
    truth = 100.0 + 0.03 * np.arange(len(east)) * 10.0
    heights = truth.copy()
    heights[10:20] = np.nan
    heights[50] = -32768.0
    out, log = cleaned(track(east, north, heights))
    assert out.elevation == pytest.approx(truth, abs=0.01)
    assert [c.count for c in log.corrections] == [1, 11]


def test_heights_missing_for_long_are_a_doubt():
    east, north = straight(5000.0)
    heights = np.full(len(east), np.nan)
    heights[[0, -1]] = 100.0, 150.0
    _, log = cleaned(track(east, north, heights))
    assert any("Heights are missing" in warning for warning in log.warnings)


@pytest.mark.parametrize("heights", [np.nan, 0.0, 99_999.0])
def test_no_heights_are_refused_unless_the_course_is_said_to_be_flat(heights):
    points = track(*straight(1000.0), np.full(101, heights))
    with pytest.raises(InputError, match="no elevation"):
        cleaned(points)
    out, log = cleaned(points, flat=True)
    assert np.ptp(out.elevation) == 0.0
    assert any("flat" in warning for warning in log.warnings)


def test_one_place_only_is_refused():
    with pytest.raises(InputError, match="no length"):
        cleaned(track(np.zeros(5), np.zeros(5)))


def test_nothing_is_mended_when_everything_is_switched_off():
    east, north = straight(1000.0)
    east = east.copy()
    east[50] += 500.0
    points = track(east, north, time=np.r_[np.arange(100), 5.0])
    out, log = cleaned(points, *MENDING)
    assert len(out) == len(points)
    assert not [c for c in log.corrections if c.option]


def test_unknown_corrections_are_refused():
    with pytest.raises(InputError, match="magic"):
        Log("file.gpx", frozenset({"magic"}))
