"""The yaw table's spline against scipy's."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import CubicSpline

from optimizer.physics import DragArea


@given(st.lists(st.floats(0.5, 15.0), min_size=1, max_size=8),
       st.integers(0, 2**32 - 1), st.integers(1, 3))
def test_it_is_the_clamped_cubic_spline(widths, seed, positions):
    yaw = np.radians(np.concatenate([[0.0], np.cumsum(widths)]))
    if yaw[-1] >= np.pi / 2:
        yaw = yaw / yaw[-1] * 1.5
    area = np.random.default_rng(seed).uniform(0.1, 0.4, (positions, len(yaw)))
    spline = CubicSpline(yaw, area, axis=1, bc_type="clamped")
    degrees = np.radians(np.arange(91.0))
    drag = DragArea(yaw, area)
    for row in range(positions):
        expected = spline(np.minimum(degrees, yaw[-1]))[row]
        assert np.allclose(drag.at(degrees, row), expected, atol=1e-12 * np.ptp(expected) + 1e-12)


def test_between_whole_degrees_and_its_slope():
    """On the cells of one degree the table is the spline itself, where knots lie on their edges."""
    yaw = np.radians([0.0, 4.0, 9.0, 15.0, 20.0])
    area = np.array([[0.250, 0.246, 0.231, 0.240, 0.236], [0.31, 0.33, 0.30, 0.32, 0.35]])
    spline = CubicSpline(yaw, area, axis=1, bc_type="clamped")
    at = np.radians(np.linspace(0.0, 20.0, 801)[:-1])
    for row in (0, 1):
        value, slope, curvature = DragArea(yaw, area).with_slopes(at, row)
        assert np.allclose(value, spline(at)[row], rtol=0, atol=1e-12)
        assert np.allclose(slope, spline(at, 1)[row], rtol=0, atol=1e-10)
        assert np.allclose(curvature, spline(at, 2)[row], rtol=0, atol=1e-7)
