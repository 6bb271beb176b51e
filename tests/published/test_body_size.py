"""Drag area from the size of the body, against published riders."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.rider import defaults


def test_frontal_area_goes_with_body_surface():
    """Du Bois and Du Bois 1916: 0.007184 M^0.425 H^0.725, H in cm (from memory)."""
    mass, height = np.array([50.0, 63.0, 81.0, 100.0]), np.array([1.58, 1.70, 1.88, 1.95])
    surface = 0.007184 * mass**0.425 * (100 * height) ** 0.725
    slope = (defaults.frontal_area(mass, height) - 0.0604) / surface
    np.testing.assert_allclose(slope, 0.1447, atol=2e-4)


@pytest.mark.parametrize(("mass", "height", "published", "source"), [
    (81.0, 1.88, 0.244, "Padilla et al. 2000, hour record; the height from memory"),
    (70.0, 1.78, 0.269, "Jeukendrup and Martin 2001, aero bars, computed from their times"),
    (70.0, 1.78, 0.240, "Jeukendrup and Martin 2001, optimised, computed from their times"),
])
def test_published_riders_lie_within_the_band(mass, height, published, source):
    area, sd = defaults.drag_area_from_body(mass, height)
    assert abs(published - area) < 2 * sd, source
    assert sd / area >= 0.1  # a guess from body size says no more than that


def test_bigger_riders_have_more_drag_but_less_per_kilogram():
    """Heil 2005: drag grows with a power of body mass below one."""
    small, _ = defaults.drag_area_from_body(55.0, 1.65)
    large, _ = defaults.drag_area_from_body(85.0, 1.90)
    assert small < large
    assert 0.3 < np.log(large / small) / np.log(85.0 / 55.0) < 0.8


def test_positions_are_one_set_for_three_riders():
    """Jeukendrup and Martin 2001: hoods 6:49, 5:36, 4:59 behind aero bars over 40 km.

    Novice, trained and elite (164, 289, 394 W); drops 3:46, 3:06, 2:47 ahead of hoods. With
    the road load of Martin et al. 1998, still air, 80 kg, Crr 0.0032.
    """
    from scipy.optimize import brentq

    from optimizer.physics import DragArea, road_load

    def time(power, area):
        drag = DragArea.constant(area + 0.0044)
        def spare(v):
            return 0.976 * power - v * float(road_load(
                np.array(v), 0.0, 0.0, 0.0, 1.2234, drag=drag, mass=80.0,
                rolling_resistance=0.0032, bearing=(0.091, 0.0087)))
        return 40e3 / brentq(spare, 2.0, 25.0)

    aero = 0.269
    for power, hoods, drops in ((164, 409, 226), (289, 336, 186), (394, 299, 167)):
        upright = time(power, aero * defaults.POSITION_RATIOS["upright"])
        assert upright - time(power, aero) == pytest.approx(hoods, rel=0.03)
        low = time(power, aero * defaults.POSITION_RATIOS["drops"])
        assert upright - low == pytest.approx(drops, rel=0.03)
