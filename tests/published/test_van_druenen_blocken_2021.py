"""Van Druenen and Blocken 2021, Sports Eng. 24:10: power on a climb, alone and behind others."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.physics import DragArea, road_load
from optimizer.physics.road_load import aerodynamic_force, road_force

# Inputs of table 1: Fw, density, Crr, mass, grade, efficiency; CdA alone and behind others.
WHEELS, DENSITY, CRR, MASS = 0.0044, 1.225, 0.0032, 72.0
GRADE, EFFICIENCY, GRAVITY = 0.075, 0.98, 9.81
ALONE, SECOND_OF_TWO, BEST_OF_EIGHT = 0.473, 0.261, 0.164


def power(area, speed):
    load = road_load(np.array(speed), GRADE, 0.0, 0.0, DENSITY,
                     drag=DragArea.constant(area + WHEELS), mass=MASS, rolling_resistance=CRR,
                     bearing=(0.091, 0.0087), gravity=GRAVITY)
    return float(load) * speed / EFFICIENCY


def test_savings_as_in_the_abstract():
    # "over 7 %" at 6 m/s and "can exceed 16 %" at 8 m/s; which riders these are is our reading.
    assert 1 - power(SECOND_OF_TWO, 6.0) / power(ALONE, 6.0) > 0.07
    assert 1 - power(BEST_OF_EIGHT, 6.0) / power(ALONE, 6.0) > 0.07
    assert 1 - power(BEST_OF_EIGHT, 8.0) / power(ALONE, 8.0) > 0.16


def test_components_alone_at_six_metres_a_second():
    # Regression on the published inputs.
    air = aerodynamic_force(np.array(6.0), 0.0, 0.0, DENSITY, DragArea.constant(ALONE + WHEELS))[0]
    assert air * 6 == pytest.approx(63.16, abs=0.02)
    assert road_force(0.0, MASS, CRR, GRAVITY) / np.sqrt(1 + GRADE**2) * 6 == pytest.approx(
        13.52, abs=0.02)
    assert road_force(GRADE, MASS, 0.0, GRAVITY) * 6 == pytest.approx(316.95, abs=0.02)
    assert power(ALONE, 6.0) == pytest.approx(402.55, abs=0.05)
    assert power(ALONE, 8.0) == pytest.approx(603.71, abs=0.05)
