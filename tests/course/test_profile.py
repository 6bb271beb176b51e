from __future__ import annotations

import numpy as np
import pytest

from optimizer.course.cleaning import Cleaning, Log, clean_points
from optimizer.course.gpx import Points
from optimizer.course.profile import Line, Shape, draw_line, shape_line
from optimizer.errors import InputError
from tests.course.drawn import arc_road, on_ellipsoid, straight


def drawn(east, north, elevation=None, origin=(46.0, 7.0), skip=()):
    latitude, longitude = on_ellipsoid(east, north, origin)
    n = len(latitude)
    points = Points("t", latitude, longitude, 100.0 + 0.01 * np.arange(n)
                    if elevation is None else np.asarray(elevation, float),
                    np.full(n, np.nan), np.zeros(n, dtype=int))
    log = Log("file.gpx", frozenset(skip))
    cleaning = Cleaning(skip=frozenset(skip))
    return draw_line(clean_points(points, cleaning, log), cleaning, log), log


def ring(radius=500.0, points=300):
    angle = np.linspace(0.0, 2 * np.pi, points)
    return radius * np.sin(angle), radius * (1 - np.cos(angle))


def test_nodes_are_even_and_the_length_is_that_on_the_ellipsoid():
    line, log = drawn(*straight(3456.0))
    assert line.distance[-1] == pytest.approx(3456.0, abs=0.01)
    assert np.ptp(np.diff(line.distance)) < 1e-6
    assert np.degrees(line.heading) == pytest.approx(np.degrees(0.7), abs=0.05)
    assert not [c for c in log.corrections if c.option == "positions"]


def test_a_drawn_course_keeps_its_vertices():
    """Few points and sharp corners: nothing is rounded off, nothing swings out."""
    east = np.array([0.0, 800.0, 800.0, 300.0, 300.0])
    north = np.array([0.0, 0.0, 600.0, 600.0, 1500.0])
    line, _ = drawn(east, north)
    assert line.distance[-1] == pytest.approx(2800.0, abs=8.0)
    heading = np.degrees(line.heading) % 360
    for at, wanted in ((400, 90.0), (1100, 0.0), (1700, 270.0), (2400, 0.0)):
        off = (heading[int(at / 5)] - wanted + 180) % 360 - 180
        assert abs(off) < 0.5


@pytest.mark.parametrize("sd", [0.5, 2.0])
def test_noise_of_positions_does_not_lengthen_the_way(sd):
    rng = np.random.default_rng(0)
    s = np.linspace(0.0, 20_000.0, 2500)
    east, north = s + 0.0, 900.0 * np.sin(s / 1500.0)
    truth = np.hypot(np.diff(east), np.diff(north)).sum()
    noisy = east + sd * rng.standard_normal(2500), north + sd * rng.standard_normal(2500)
    raw = np.hypot(np.diff(noisy[0]), np.diff(noisy[1])).sum()
    line, log = drawn(*noisy)
    left = line.distance[-1] - truth
    assert abs(left) < 0.25 * (raw - truth) or abs(left) < 0.001 * truth
    assert [c for c in log.corrections if c.option == "positions"]
    kept, _ = drawn(*noisy, skip={"positions"})
    assert kept.distance[-1] - truth > 0.6 * (raw - truth)


@pytest.mark.parametrize("origin", [(0.0, 179.99), (-17.5, -179.995), (68.0, 15.0)])
def test_anywhere_on_earth(origin):
    line, _ = drawn(*arc_road(60.0, 90.0), origin=origin)
    assert line.distance[-1] == pytest.approx(400.0 + 60.0 * np.pi / 2, abs=2.5)
    turn = np.diff(np.unwrap(line.heading)).sum()
    assert np.degrees(turn) == pytest.approx(90.0, abs=2.0)


@pytest.mark.parametrize("length", [40.0, 3_100_000.0])
def test_absurd_lengths_are_refused(length):
    east = np.linspace(0.0, length, 200)
    latitude, longitude = np.full(200, 1.0), east / 111_300.0
    points = Points("t", latitude, longitude, np.arange(200.0), np.full(200, np.nan),
                    np.zeros(200, dtype=int))
    with pytest.raises(InputError, match=r"is .* long"):
        draw_line(points, Cleaning(), Log("file.gpx", frozenset()))


# --- shape ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def lap() -> Line:
    return drawn(*ring(), elevation=100 + 10 * np.sin(np.linspace(0, 2 * np.pi, 300)) + np.linspace(
        0, 3, 300))[0]


def test_the_whole_line_once_is_the_line(lap):
    assert shape_line(lap, Shape(), "f") is lap


def test_cutting(lap):
    part = shape_line(lap, Shape(start=500.0, end=1500.0), "f")
    assert part.distance[0] == 0.0
    assert part.distance[-1] == pytest.approx(1000.0)
    assert part.elevation[0] == pytest.approx(np.interp(500.0, lap.distance, lap.elevation))
    assert part.elevation[-1] == pytest.approx(np.interp(1500.0, lap.distance, lap.elevation))


@pytest.mark.parametrize(("start", "end"), [(-1, 100), (500, 400), (0, 9999), (0, 50)])
def test_cuts_that_make_no_sense_are_refused(lap, start, end):
    with pytest.raises(InputError, match="cannot be cut"):
        shape_line(lap, Shape(start=start, end=end), "f")


def test_turning_round(lap):
    back = shape_line(lap, Shape(reverse=True), "f")
    assert back.distance[-1] == lap.distance[-1]
    assert back.elevation.tolist() == lap.elevation[::-1].tolist()
    turned = (back.heading[::-1] - lap.heading) % (2 * np.pi)
    assert turned == pytest.approx(np.pi, abs=1e-6)
    assert shape_line(back, Shape(reverse=True), "f").elevation.tolist() == lap.elevation.tolist()


def test_laps(lap):
    three = shape_line(lap, Shape(laps=3), "f")
    assert three.distance[-1] == pytest.approx(3 * lap.distance[-1], abs=6.0)
    assert np.abs(np.diff(three.elevation)).max() < 1.0
    lengths = lap.distance[-1]
    again = np.interp(np.array([300.0, 900.0]) + lengths, three.distance, three.elevation)
    assert again == pytest.approx(np.interp([300.0, 900.0], three.distance, three.elevation),
                                  abs=0.1)


def test_an_open_course_has_no_laps():
    line, _ = drawn(*straight(2000.0))
    with pytest.raises(InputError, match="is not a lap"):
        shape_line(line, Shape(laps=2), "f")


@pytest.mark.parametrize("laps", [0, -1, 10_000])
def test_numbers_of_laps_that_make_no_sense_are_refused(lap, laps):
    with pytest.raises(InputError, match="times"):
        shape_line(lap, Shape(laps=laps), "f")
