"""Road load: the sum of its forces, and derivatives against differences of the forces."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.physics import GRAVITY, DragArea, aerodynamic_force, road_load
from optimizer.physics.road_load import (
    drag_and_slope,
    drag_by_yaw,
    drag_in_each,
    rides_drag,
    rides_drag_by,
)

YAW = np.radians([0.0, 5.0, 10.0, 15.0, 20.0])
AREA = np.array([[0.250, 0.246, 0.235, 0.231, 0.240], [0.310, 0.312, 0.318, 0.316, 0.330]])
DRAG = DragArea(YAW, AREA)
# Also a tail wind that is faster than the rider, where the sign of the drag turns.
winds = st.floats(-14.0, 14.0)


def force(speed, head, cross, position=1, drag=DRAG):
    return float(aerodynamic_force(np.array(speed), head, cross, 1.17, drag, position)[0])


@given(st.floats(1.0, 25.0), winds, st.floats(-12.0, 12.0), st.integers(0, 1))
def test_the_force_is_along_the_relative_wind(speed, head, cross, position):
    along = speed + head
    whole = math.hypot(along, cross)
    folded = math.atan2(abs(cross), abs(along))
    expected = 0.5 * 1.17 * float(DRAG.at(folded, position)) * along * whole
    assert force(speed, head, cross, position) == pytest.approx(expected, rel=1e-9, abs=1e-9)


def bend_free(speed, head, cross):
    """Tell whether the yaw is clear of the edges of the table's cells and of its end."""
    yaw = math.degrees(math.atan2(abs(cross), abs(speed + head)))
    return abs(yaw - round(yaw)) > 0.05 and yaw < 19.5 and math.hypot(speed + head, cross) > 0.5


@given(st.floats(1.0, 25.0), winds, st.floats(-12.0, 12.0), st.integers(0, 1))
def test_derivatives_are_those_of_the_force(speed, head, cross, position):
    if not bend_free(speed, head, cross):
        return
    _, first, second = aerodynamic_force(np.array(speed), head, cross, 1.17, DRAG, position)
    h = 1e-5 * speed
    up, down = (force(speed + s * h, head, cross, position) for s in (1, -1))
    assert float(first) == pytest.approx((up - down) / (2 * h), rel=1e-5, abs=1e-6)
    higher, lower = (float(aerodynamic_force(np.array(speed + s * h), head, cross, 1.17, DRAG,
                                             position)[1]) for s in (1, -1))
    assert float(second) == pytest.approx((higher - lower) / (2 * h), rel=2e-3, abs=1e-3)


def test_a_still_rider_in_still_air_feels_nothing():
    for drag in (DRAG, DragArea.constant(0.25)):
        parts = aerodynamic_force(np.zeros(3), 0.0, 0.0, 1.2, drag)
        assert all(np.isfinite(part).all() for part in parts)
        assert np.abs(parts[0]).max() < 1e-9


@given(st.floats(0.0, 25.0), winds, st.floats(-12.0, 12.0), st.integers(0, 1))
def test_the_quick_form_gives_the_same(speed, head, cross, position):
    here = [np.array([value]) for value in (speed, head, cross)]
    expected = aerodynamic_force(here[0], here[1], here[2], 1.17, DRAG, position)
    quick = drag_and_slope(*here, 1.17, DRAG, position)
    assert quick[0] == pytest.approx(expected[0], rel=1e-7, abs=1e-7)
    assert quick[1] == pytest.approx(expected[1], rel=1e-6, abs=1e-6)


def test_the_quick_form_without_yaw():
    here = [np.array([8.0, 3.0]), np.array([2.0, -9.0]), np.array([4.0, 1.0])]
    expected = aerodynamic_force(*here, 1.2, DragArea.constant(0.25))
    quick = drag_and_slope(*here, 1.2, DragArea.constant(0.25))
    assert quick[0] == pytest.approx(expected[0])
    assert quick[1] == pytest.approx(expected[1])


def test_the_whole_load_is_the_sum_of_its_forces():
    # By hand: 10 m/s, 3 %, 80 kg, Crr 0.005, 2 m/s into the face, CdA of the second position.
    load = road_load(np.array(10.0), 0.03, 2.0, 0.0, 1.2, drag=DRAG, mass=80.0, position=1,
                     rolling_resistance=0.005, bearing=(0.091, 0.0087), gravity=9.81)
    cosine = 1 / math.sqrt(1 + 0.03**2)
    by_hand = (0.5 * 1.2 * 0.310 * 12.0**2 + 80.0 * 9.81 * cosine * (0.03 + 0.005)
               + 0.091 + 0.0087 * 10.0)
    assert float(load) == pytest.approx(by_hand, rel=1e-12)
    standard = road_load(np.array(10.0), 0.03, 2.0, 0.0, 1.2, drag=DRAG, mass=80.0,
                         rolling_resistance=0.005)
    assert float(standard) == pytest.approx(
        0.5 * 1.2 * 0.250 * 144.0 + 80.0 * GRAVITY * cosine * 0.035, rel=1e-12)


def test_the_table_is_kept_beyond_its_end_and_even_in_yaw():
    degrees = np.radians([20.0, 35.0, 89.0])
    assert DRAG.at(degrees) == pytest.approx(0.240)
    assert DRAG.at(-YAW, 1) == pytest.approx(AREA[1])
    assert DRAG.at(np.pi - YAW, 1) == pytest.approx(AREA[1])  # wind from behind
    _, slope, _ = DRAG.with_slopes(np.radians([0.0, 25.0]), 0)
    assert slope == pytest.approx(0.0, abs=1e-12)


def test_slopes_by_yaw_are_those_of_the_table():
    at = np.radians([2.4, 7.7, 13.3])
    for row in (0, 1):
        value, slope, _ = DRAG.with_slopes(at, row)
        assert value == pytest.approx(DRAG.at(at, row))
        h = 1e-6
        assert slope == pytest.approx(
            (DRAG.at(at + h, row) - DRAG.at(at - h, row)) / (2 * h), rel=1e-4, abs=1e-6)


def test_tables_may_be_lists_of_whole_numbers():
    assert DragArea([0], [[1]]).at(0.3) == pytest.approx(1.0)


@pytest.mark.parametrize("drag", [DRAG, DragArea.constant(0.25)])
def test_drag_of_rides_side_by_side_is_the_drag(drag):
    """Against `aerodynamic_force`, also where a tail wind is faster than the rider."""
    rng = np.random.default_rng(3)
    head, cross = rng.uniform(-12.0, 12.0, (2, 20, 50))
    density, factor = rng.uniform(1.0, 1.3, (20, 1)), rng.uniform(0.9, 1.1, 50)
    position = np.zeros(20, dtype=np.int64)
    at = rides_drag(head, cross, density, drag, position, factor=factor, change=0.01)
    for k in range(20):
        speed = rng.uniform(3.0, 16.0, 50)
        force, slope, along = at(k, speed)
        area = DragArea(drag.yaw, drag.area[:1])
        wanted = aerodynamic_force(speed, head[k], cross[k], density[k], area)
        flat = aerodynamic_force(speed, head[k], cross[k], density[k], DragArea.constant(0.01))
        assert force == pytest.approx(factor * wanted[0] + flat[0], rel=2e-6, abs=1e-6)
        assert slope == pytest.approx(factor * wanted[1] + flat[1], rel=2e-3, abs=2e-3)
        assert along == pytest.approx(speed + head[k])


@pytest.mark.parametrize("drag", [DRAG, DragArea([0.0], [[0.25], [0.3]])])
def test_drag_in_each_position_is_the_drag(drag):
    """Against `aerodynamic_force`, also where a tail wind is faster than the rider."""
    rng = np.random.default_rng(4)
    speed, head, cross = rng.uniform([[3.0], [-22.0], [-12.0]], [[16.0], [12.0], [12.0]], (3, 200))
    rows = [0, 1, rng.integers(0, 2, 200)]
    for row, force in zip(rows, drag_in_each(speed, head, cross, np.full(200, 1.1), drag, rows),
                          strict=True):
        assert force == pytest.approx(
            aerodynamic_force(speed, head, cross, 1.1, drag, row)[0], rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("drag", [DRAG, DragArea.constant(0.25)])
def test_derivatives_of_the_drag_of_rides_side_by_side(drag):
    rng = np.random.default_rng(4)
    head, cross, speed = rng.uniform((-12.0, -12.0, 3.0), (12.0, 12.0, 16.0), (20, 50, 3)).T
    head, cross, speed = head.T, cross.T, speed.T
    density, yaw = rng.uniform(1.0, 1.3, (20, 1)), np.radians([0.0, 8.0, 15.0])
    position = np.arange(20) % len(drag.area)
    slope, by_yaw = rides_drag_by(speed, head, cross, density, drag, position, yaw)
    wanted = aerodynamic_force(speed, head, cross, density, drag, position[:, None])
    assert slope == pytest.approx(wanted[1], rel=2e-3, abs=2e-3)
    for newtons, exact in zip(by_yaw, drag_by_yaw(speed, head, cross, density, yaw), strict=True):
        # Straight lines by the sine are less close beyond 80° of yaw.
        assert newtons == pytest.approx(exact, rel=2e-6, abs=1e-4)
