"""Altitude and heat on one rider."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.rider import Position, Rider
from optimizer.rider.environment import critical_power_factor, environment_cautions

RIDER = Rider("x", 70.0, 280.0, 20e3, 500.0, (Position("aero", 0.25),))


def test_off_by_default():
    np.testing.assert_array_equal(critical_power_factor(RIDER, np.array([0.0, 3000.0]), 310.0),
                                  [1.0, 1.0])
    assert environment_cautions(RIDER) == ()


def test_a_rider_tested_there_loses_nothing_there():
    rider = replace(RIDER, altitude_response="unacclimatised", heat_response="acclimatised",
                    tested_elevation=1500.0, tested_temperature=303.15)
    assert critical_power_factor(rider, 1500.0, 303.15) == pytest.approx(1.0)
    assert critical_power_factor(rider, 0.0, 293.15) > 1.0


def test_each_change_comes_with_its_caution():
    rider = replace(RIDER, altitude_response="linear", heat_response="unacclimatised")
    altitude, heat = environment_cautions(rider)
    assert "altitude" in altitude
    assert "doctor" in heat
