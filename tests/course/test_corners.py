from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.course.corners import (
    Handling,
    braking_envelope,
    corner_limit,
    find_corners,
    set_limits,
)
from optimizer.course.course import Corner
from optimizer.course.features import Limit
from tests.course.drawn import straight
from tests.course.test_profile import drawn

GRAVITY = 9.80665


def road(pieces, spacing=4.0, lane_noise=0.0, seed=0):
    """Line of straights and arcs: pieces (straight [m], turn [deg], radius [m])."""
    fine = 0.5
    bend = []
    for length, turn, radius in pieces:
        bend += [np.zeros(round(length / fine)),
                 np.full(round(radius * np.radians(abs(turn)) / fine), np.sign(turn) / radius)]
    heading = 0.4 + np.cumsum(np.concatenate(bend)) * fine
    east = np.concatenate([[0.0], np.cumsum(np.sin(heading) * fine)])[::round(spacing / fine)]
    north = np.concatenate([[0.0], np.cumsum(np.cos(heading) * fine)])[::round(spacing / fine)]
    rng = np.random.default_rng(seed)
    return drawn(east + lane_noise * rng.standard_normal(len(east)),
                 north + lane_noise * rng.standard_normal(len(north)))[0]


@pytest.mark.parametrize("radius", [10.0, 15.0, 25.0, 40.0, 80.0])
@pytest.mark.parametrize("turn", [90.0, -160.0])
@pytest.mark.parametrize("noise", [0.0, 0.3])
def test_radius_turn_and_place_of_an_arc(radius, turn, noise):
    line = road([(400, turn, radius), (400, 0, 100)], lane_noise=noise)
    (corner,) = find_corners(line, Handling())
    true = max(radius, 3 + 3 / (1 - np.cos(np.radians(abs(turn)) / 2)))  # the lane's own line
    assert (0.75 if radius < 60 or not noise else 0.65) * true < corner.radius < 1.2 * true
    assert np.degrees(corner.turn) == pytest.approx(turn, abs=18)
    arc = radius * np.radians(abs(turn))
    assert 400 - 15 < corner.distance < 400 + arc + 15
    assert not corner.u_turn
    assert corner.speed == pytest.approx(np.sqrt(0.6 * 0.8 * GRAVITY * corner.radius))


def test_a_straight_and_a_sweeping_bend_have_no_corners():
    assert find_corners(drawn(*straight(3000.0))[0], Handling()) == ()
    assert find_corners(road([(300, 80, 400), (300, 0, 100)]), Handling()) == ()


def test_noise_makes_no_corners():
    """A straight road with the noise of a receiver, 1.5 m at each point."""
    rng = np.random.default_rng(3)
    east, north = straight(10_000.0, spacing=8.0)
    n = len(east)
    line, _ = drawn(east + 1.5 * rng.standard_normal(n), north + 1.5 * rng.standard_normal(n))
    assert len(find_corners(line, Handling())) == 0


def test_a_sharp_vertex_is_ridden_on_the_line_that_the_lane_allows():
    """Of a course drawn with a pen: 90 degrees at a point."""
    line, _ = drawn(np.array([0.0, 500.0, 500.0]), np.array([0.0, 0.0, 500.0]))
    (corner,) = find_corners(line, Handling())
    assert corner.radius == pytest.approx(3.0 + 3.0 / (1.0 - np.cos(np.pi / 4)), rel=0.15)
    assert corner.distance == pytest.approx(500.0, abs=8.0)


def test_a_chicane_is_two_corners():
    line = road([(300, 60, 20), (5, -60, 20), (300, 0, 100)])
    signs = [np.sign(corner.turn) for corner in find_corners(line, Handling())]
    assert signs == [1.0, -1.0]


@pytest.mark.parametrize("gap", [0.0, 4.0])
def test_a_dead_turn_is_ridden_at_its_own_speed(gap):
    out = np.arange(0.0, 1001.0, 10.0)
    east = np.concatenate([out, out[::-1]])
    north = np.concatenate([np.zeros(len(out)), np.full(len(out), gap)])
    line, _ = drawn(east, north)
    (corner,) = find_corners(line, Handling(u_turn_speed=2.5))
    assert corner.u_turn
    assert corner.speed == 2.5
    assert corner.distance == pytest.approx(1000.0, abs=15.0)


@pytest.mark.parametrize("width", [4.0, 6.0, 8.0, 10.0, 12.0])
@pytest.mark.parametrize("spacing", [1.5, 5.0, 8.0])
@pytest.mark.parametrize("noise", [0.0, 0.3])
def test_a_turn_about_within_the_width_of_a_road_is_a_u_turn(width, spacing, noise):
    """However the points fall: a cone on a wide road is not ridden as a bend of 20 km/h."""
    line = road([(400, 180, width / 2), (400, 0, 100)], spacing, lane_noise=noise, seed=2)
    (corner,) = find_corners(line, Handling())
    assert corner.u_turn
    assert corner.speed == Handling().u_turn_speed
    assert corner.radius == pytest.approx(max(3.0, width / 2 if width >= 10 else 0.0), abs=1.0)


def test_hairpins_of_a_road_keep_their_speed():
    line = road([(400, 180, 8.0), (400, 0, 100)])
    (corner,) = find_corners(line, Handling())
    assert not corner.u_turn


def test_skill_and_wet_roads():
    line = road([(400, 90, 25), (400, 0, 100)])
    speed = {name: find_corners(line, handling)[0].speed for name, handling in {
        "dry": Handling(), "wet": Handling(wet=True), "bold": Handling(skill=0.9)}.items()}
    assert speed["wet"] == pytest.approx(speed["dry"] * np.sqrt(0.5 / 0.8))
    assert speed["bold"] == pytest.approx(speed["dry"] * np.sqrt(0.9 / 0.6))
    assert Handling(wet=True).deceleration == pytest.approx(3.5 * 0.5 / 0.8)
    assert Handling(braking=9.0).deceleration == pytest.approx(0.5 * GRAVITY)


@pytest.mark.parametrize(("friction", "kmh"), [(0.3, 27.62), (0.5, 35.66), (0.8, 45.10)])
def test_speed_of_a_20_m_corner(friction, kmh):
    """v = √(µ g R): regression values computed for g = 9.81, R = 20 m."""
    handling = Handling(skill=1.0, friction_dry=friction)
    assert 3.6 * np.sqrt(handling.lateral * 20.0) == pytest.approx(kmh, abs=0.02)


def test_own_limits_replace_what_a_corner_allows_or_stand_alone():
    corners = (Corner("", 500.0, 20.0, 1.5, 9.0), Corner("", 900.0, 30.0, 1.0, 11.0))
    out = set_limits(corners, (Limit("Gravel", 510.0, 5.0), Limit("Crossing", 2000.0, 7.0),
                               Limit("Beyond", 9000.0, 7.0), Limit("Fast", 890.0, 14.0)), 3000.0)
    assert [(c.name, c.distance, c.speed) for c in out] == [
        ("Gravel", 500.0, 5.0), ("Fast", 900.0, 14.0), ("Crossing", 2000.0, 7.0)]


def test_the_limit_holds_over_the_arc():
    distance = np.arange(0.0, 1001.0, 5.0)
    limit = corner_limit(distance, (Corner("", 500.0, 20.0, np.pi / 2, 9.0),))
    inside = np.isfinite(limit)
    assert distance[inside].min() == pytest.approx(500 - 15.7, abs=5)
    assert distance[inside].max() == pytest.approx(500 + 15.7, abs=5)
    assert (limit[inside] == 9.0).all()


# --- braking ----------------------------------------------------------------------------


def brute(limit, distance, elevation, deceleration):
    out = np.minimum(limit, 1e9).copy()
    for k in range(len(limit) - 2, -1, -1):
        step = distance[k + 1] - distance[k]
        a = max(deceleration + GRAVITY * (elevation[k + 1] - elevation[k]) / step,
                0.1 * deceleration)
        out[k] = min(out[k], np.sqrt(out[k + 1] ** 2 + 2 * a * step))
    return out


@given(st.integers(0, 10**6))
@settings(max_examples=60, deadline=None)
def test_braking_is_that_of_marching_backwards(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(3, 200))
    distance = np.concatenate([[0.0], np.cumsum(rng.uniform(2, 20, n))])
    elevation = np.concatenate([[0.0], np.cumsum(rng.normal(0, 1, n))])
    limit = np.where(rng.random(n + 1) < 0.1, rng.uniform(2, 20, n + 1), np.inf)
    ours = braking_envelope(limit, distance, elevation, 3.0)
    theirs = brute(limit, distance, elevation, 3.0)
    assert np.where(np.isfinite(ours), ours, 1e9) == pytest.approx(np.minimum(theirs, 1e9),
                                                                   rel=1e-6)
    assert (ours <= limit).all()


def test_a_descent_needs_a_longer_way():
    """Riel 2005: the deceleration falls by the slope times g, 0.7 g to 0.6 g at 10 % down."""
    distance = np.arange(0.0, 401.0, 5.0)
    limit = np.full(len(distance), np.inf)
    limit[-1] = 5.0

    def way(slope):
        envelope = braking_envelope(limit, distance, slope * distance, 0.7 * GRAVITY)
        return 400.0 - np.interp(20.0, envelope[::-1], distance[::-1])

    flat, down = way(0.0), way(-0.1)
    assert flat == pytest.approx((20**2 - 5**2) / (2 * 0.7 * GRAVITY), rel=0.01)
    assert down / flat == pytest.approx(0.7 / 0.6, rel=0.01)
