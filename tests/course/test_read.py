from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from optimizer.course import (
    MENDING,
    Cleaning,
    Features,
    Handling,
    Limit,
    Mark,
    Shape,
    Stretch,
    read_course,
)
from optimizer.errors import InputError
from tests.course.drawn import arc_road, on_ellipsoid, straight, write_road


def hilly(east):
    return 150.0 + 20 * np.sin(np.arange(len(east)) / 60.0)


@pytest.fixture
def bend(tmp_path):
    east, north = arc_road(20.0, 90.0, lead=600.0)
    place = on_ellipsoid(east[[150]], north[[150]])
    return write_road(tmp_path / "bend.gpx", east, north, hilly(east), name="Bend",
                      places=[("The corner", place[0][0], place[1][0]),
                              ("Far away", 47.0, 8.0), ("", 46.0, 7.0)])


def test_what_a_course_holds(bend):
    course = read_course(bend)
    n = len(course.distance) - 1
    assert course.name == "Bend"
    assert course.distance[0] == 0.0
    assert np.ptp(np.diff(course.distance)) < 1e-6
    for name in ("heading", "rolling_factor", "roughness", "shelter", "grade"):
        assert getattr(course, name).shape == (n,)
        assert np.isfinite(getattr(course, name)).all()
    for name in ("latitude", "longitude", "elevation", "speed_limit"):
        assert getattr(course, name).shape == (n + 1,)
    assert (course.rolling_factor == 1.0).all()
    assert (course.roughness == 0.03).all()


def test_waypoints_become_marks_and_name_corners(bend):
    course = read_course(bend)
    assert [mark.name for mark in course.marks] == ["The corner"]
    assert course.marks[0].distance == pytest.approx(600.0, abs=10.0)
    assert [corner.name for corner in course.corners] == ["The corner"]
    assert any("Far away" in warning for warning in course.warnings)


def test_a_waypoint_is_met_at_every_passing(tmp_path):
    east = np.concatenate([np.arange(0, 1001.0, 10), np.arange(990.0, -1, -10)])
    place = on_ellipsoid(np.array([400.0]), np.array([0.0]))
    path = write_road(tmp_path / "back.gpx", east, np.zeros(len(east)), hilly(east),
                      places=[("Oak", place[0][0], place[1][0])])
    marks = read_course(path).marks
    assert [mark.name for mark in marks] == ["Oak", "Oak (2)"]
    assert [mark.distance for mark in marks] == pytest.approx([400.0, 1600.0], abs=15.0)


def test_the_limit_includes_braking_and_the_cap(bend):
    course = read_course(bend, handling=Handling(descent_cap=16.0))
    assert all(corner.speed < 16.0 for corner in course.corners)  # the others limit nothing
    corner = course.corners[0]
    assert course.speed_limit.max() == 16.0
    k = int(np.argmin(course.speed_limit))
    assert course.speed_limit[k] == pytest.approx(corner.speed, rel=1e-6)
    assert abs(course.distance[k] - corner.distance) < 25.0
    before = course.speed_limit[:k + 1]
    assert (np.diff(before) <= 1e-9).all()
    slowing = -np.diff(before**2) / (2 * np.diff(course.distance[:k + 1]))
    assert slowing.max() < 3.5 + 9.81 * np.abs(course.grade).max()


def test_features_lie_where_they_were_put(bend):
    course = read_course(bend, features=Features(
        stretches=(Stretch(100, 300, "surface", 3.5), Stretch(200, 400, "surface", 1.2),
                   Stretch(0, 500, "terrain", 0.25), Stretch(300, 600, "shelter", 0.4),
                   Stretch(900, 1000, "speed", 8.0)),
        limits=(Limit("The corner", None, 4.0), Limit("Mud", 1000.0, 3.0)),
        marks=(Mark("Half", 610.0), Mark("Beyond", 99_999.0))))
    at = 0.5 * (course.distance[1:] + course.distance[:-1])

    def value(name, where):
        return float(np.interp(where, at, getattr(course, name)))

    assert [value("rolling_factor", s) for s in (50, 150, 250, 350, 450)] == [1, 3.5, 1.2, 1.2, 1]
    assert value("roughness", 250) == 0.25
    assert value("roughness", 800) == 0.03
    assert value("shelter", 450) == 0.4
    assert course.speed_limit[np.abs(course.distance - 950) < 40].max() == 8.0
    assert course.speed_limit.min() == 3.0
    assert {"The corner", "Mud"} <= {corner.name for corner in course.corners}
    assert min(c.speed for c in course.corners if c.name == "The corner") == 4.0
    assert [mark.name for mark in course.marks] == ["The corner", "Half"]
    assert any("beyond the end" in warning for warning in course.warnings)


def test_a_limit_at_an_unknown_place_is_refused(bend):
    with pytest.raises(InputError, match="Nowhere"):
        read_course(bend, features=Features(limits=(Limit("Nowhere", None, 4.0),)))


def test_files_that_follow_on_each_other_are_one_course(tmp_path):
    east, north = straight(3000.0)
    up = 100 + 0.01 * np.arange(len(east))
    a = write_road(tmp_path / "a.gpx", east[:151], north[:151], up[:151], name="A")
    b = write_road(tmp_path / "b.gpx", east[151:], north[151:], up[151:], name="B")
    both = read_course([a, b])
    assert both.name == "A"
    assert both.length == pytest.approx(3000.0, abs=0.5)
    with pytest.raises(InputError, match=r"b.gpx: begins 1\.5 km"):
        read_course([b, b, a])
    with pytest.raises(InputError, match="no file"):
        read_course([])


def test_a_course_backwards_has_the_same_length_and_the_other_ascent(tmp_path):
    east, north = straight(4000.0)
    up = 100 + 0.03 * np.hypot(east, north)
    path = write_road(tmp_path / "a.gpx", east, north, up)
    there, back = read_course(path), read_course(path, shape=Shape(reverse=True))
    assert back.length == pytest.approx(there.length)
    assert there.ascent == pytest.approx(120.0, abs=0.5)
    assert back.ascent == pytest.approx(0.0, abs=0.5)
    assert np.diff(there.heading[[10]] - back.heading[[10]]).size == 0
    assert abs(abs(there.heading[10] - back.heading[10]) - np.pi) < 1e-3


def test_everything_is_reversible(tmp_path):
    """With every correction off the course is the file: same length, same heights."""
    rng = np.random.default_rng(0)
    east, north = straight(3000.0)
    up = hilly(east) + rng.standard_normal(len(east))
    path = write_road(tmp_path / "a.gpx", east, north, up)
    raw = read_course(path, cleaning=Cleaning(skip=frozenset(MENDING)))
    assert raw.corrections == ()
    # To what laying noise on another grid's nodes changes.
    off = raw.elevation - np.interp(raw.distance, np.linspace(0, raw.length, len(up)), up)
    assert np.std(off) < 0.2
    ours = read_course(path)
    assert {c.option for c in ours.corrections} == {"heights"}
    assert ours.ascent < 0.5 * raw.ascent


def test_heights_without_noise_are_no_error(tmp_path):
    """A smooth road, written to 0.1 m: nothing was wrong with its heights."""
    east, north = straight(3000.0)
    course = read_course(write_road(tmp_path / "a.gpx", east, north, np.round(hilly(east), 1)))
    assert course.corrections == ()


@pytest.mark.parametrize("step", [2.0, 10.0, 50.0])
def test_the_step_of_the_grid(bend, step):
    course = read_course(bend, cleaning=Cleaning(step=step))
    assert np.diff(course.distance).max() <= step + 1e-9
    assert course.speed_limit.min() == pytest.approx(course.corners[0].speed, rel=0.01)


@given(st.data())
@settings(max_examples=25, deadline=None,
          suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_track_is_a_sound_course_or_refused(tmp_path, data):
    """Whatever the points: finite, increasing, positive limits; or a clear refusal."""
    n = data.draw(st.integers(2, 60))
    rng = np.random.default_rng(data.draw(st.integers(0, 10**9)))
    scale = 10.0 ** data.draw(st.floats(-6, -1.5))
    latitude = data.draw(st.sampled_from([0.0, 46.0, -89.99, 89.999])) + scale * np.cumsum(
        rng.standard_normal(n))
    longitude = data.draw(st.sampled_from([0.0, 7.0, 179.999, -180.0])) + scale * np.cumsum(
        rng.standard_normal(n))
    latitude, longitude = np.clip(latitude, -90, 90), (longitude + 180) % 360 - 180
    repeat = rng.integers(0, n, n) if data.draw(st.booleans()) else np.arange(n)
    height = rng.choice([np.nan, 0.0, 50.0, 300.0, 1e5], n, p=[0.2, 0.1, 0.5, 0.15, 0.05])
    rows = "".join(f'<trkpt lat="{latitude[k]!r}" lon="{longitude[k]!r}">'
                   + ("" if np.isnan(height[k]) else f"<ele>{height[k]}</ele>") + "</trkpt>"
                   for k in repeat).replace("np.float64(", "").replace(')"', '"')
    path = tmp_path / "any.gpx"
    path.write_text(f"<gpx><trk><trkseg>{rows}</trkseg></trk></gpx>")
    try:
        course = read_course(path)
    except InputError:
        return
    assert (np.diff(course.distance) > 0).all()
    for name in ("latitude", "longitude", "elevation", "heading", "grade"):
        assert np.isfinite(getattr(course, name)).all()
    assert (course.speed_limit > 0).all()
    assert all(np.isfinite(corner.speed) and corner.speed > 0 for corner in course.corners)


def test_marks_at_one_place_are_one_with_all_names(tmp_path):
    from optimizer.course import Features, Mark

    path = tmp_path / "course.gpx"
    path.write_text(
        '<gpx><wpt lat="47.009" lon="8"><name>Well</name></wpt>'
        '<wpt lat="47.009" lon="8"><name>Well</name></wpt>'
        '<wpt lat="47.009" lon="8"><name>Bridge</name></wpt><trk><trkseg>'
        + "".join(f'<trkpt lat="{47 + k * 0.0005}" lon="8"><ele>5</ele></trkpt>'
                  for k in range(60)) + "</trkseg></trk></gpx>")
    course = read_course(path, features=Features(marks=(
        Mark("A", 500.0), Mark("B", 500.0), Mark("C", 500.7), Mark("D", 502.0))))
    assert [mark.name for mark in course.marks] == ["A, B, C", "D", "Well, Bridge"]


@pytest.mark.parametrize(("width", "limits", "said"), [
    (10.0, (), True), (5.0, (), False), (10.0, (Limit("Hairpin", 600.0, 7.0),), False)])
def test_a_wide_u_turn_is_said_unless_the_rider_gives_its_speed(tmp_path, width, limits, said):
    east, north = arc_road(width / 2, 180.0, lead=600.0)
    path = write_road(tmp_path / "back.gpx", east, north, hilly(east), name="Back")
    course = read_course(path, features=Features(limits=limits))
    (corner,) = course.corners
    assert corner.speed == (7.0 if limits else Handling().u_turn_speed)
    assert any("as a U-turn, 11 km/h" in words for words in course.warnings) is said
