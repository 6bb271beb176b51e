"""Martin, Milliken, Cobb, McFadden and Coggan 1998, J. Appl. Biomech. 14:276-291: road load."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.physics import DragArea, aerodynamic_force, road_load
from optimizer.physics.road_load import road_force

# Inputs of the worked example as a public transcription gives them (the tyre radius is from
# memory: the transcription's 0.557 m is no road wheel).
WIND, WIND_FROM, TRAVEL = 2.94, np.radians(310), np.radians(340)
SPEED = 471.8 / 56.42
CRR, MASS, GRADE = 0.0032, 90.0, 0.003
DENSITY, WHEELS, EFFICIENCY, GRAVITY = 1.2234, 0.0044, 0.976, 9.81
YAW = np.radians([5.0, 10.0])
AREA = np.array([0.258, 0.257])
HEAD = WIND * np.cos(WIND_FROM - TRAVEL)
CROSS = WIND * np.sin(WIND_FROM - TRAVEL)


def drag() -> DragArea:
    """CdA with the wheels' drag area, in the convention of this project."""
    beta = np.arctan2(abs(CROSS), SPEED + HEAD)
    area = np.interp(beta, YAW, AREA) + WHEELS
    return DragArea(np.array([beta]), np.array([area * np.cos(beta)]))


def test_wind_components_are_those_of_the_worked_example():
    # Computed from the paper's inputs: 2.5461 and 1.4700 m/s, yaw 7.675 degrees, CdA 0.25747 m².
    assert pytest.approx(2.5461, abs=1e-4) == HEAD
    assert abs(CROSS) == pytest.approx(1.4700, abs=1e-4)
    beta = np.arctan2(abs(CROSS), SPEED + HEAD)
    assert np.degrees(beta) == pytest.approx(7.675, abs=1e-3)
    assert np.interp(beta, YAW, AREA) == pytest.approx(0.25747, abs=1e-5)


def test_components_of_the_worked_example():
    # Regression on the paper's inputs; its own component powers were not at hand.
    air = aerodynamic_force(np.array(SPEED), HEAD, CROSS, DENSITY, drag())[0]
    assert air * SPEED == pytest.approx(159.39, abs=0.02)
    assert road_force(0.0, MASS, CRR, GRAVITY) * SPEED == pytest.approx(23.63, abs=0.02)
    assert road_force(GRADE, MASS, 0.0, GRAVITY) * SPEED == pytest.approx(22.15, abs=0.02)
    loads = [road_load(np.array(SPEED), 0.0, 0.0, 0.0, DENSITY, drag=drag(), mass=MASS,
                       rolling_resistance=CRR, bearing=bearing)
             for bearing in ((0.0, 0.0), (0.091, 0.0087))]
    assert (loads[1] - loads[0]) * SPEED == pytest.approx(1.369, abs=0.002)


def test_total_of_the_worked_example_near_the_published_one():
    # Published total 213.3 W (from memory, unverified); the transcribed inputs give 214.11 W,
    # so the band is that of the two together.
    load = road_load(np.array(SPEED), GRADE, HEAD, CROSS, DENSITY, drag=drag(), mass=MASS,
                     rolling_resistance=CRR, bearing=(0.091, 0.0087), gravity=GRAVITY)
    effective = MASS + 0.14 / 0.311**2
    kinetic = 0.5 * effective * (8.45**2 - 8.27**2) / 56.42
    assert kinetic == pytest.approx(2.44, abs=0.01)
    total = (load * SPEED + kinetic) / EFFICIENCY
    assert total == pytest.approx(214.11, abs=0.05)
    assert 212 <= total <= 215


@pytest.mark.parametrize("parameter", ["area", "mass", "crr"])
def test_speed_is_nearly_linear_in_each_parameter(parameter):
    # Abstract: velocity varies linearly with each parameter over the range studied, R² > 0.99.
    change = np.linspace(0.9, 1.1, 9)
    speeds = np.array([_steady_speed(289.0, **{parameter: factor}) for factor in change])
    assert np.corrcoef(change, speeds)[0, 1] ** 2 > 0.99
    assert np.all(np.diff(speeds) < 0)


def _steady_speed(power, area=1.0, mass=1.0, crr=1.0, grade=0.0):
    from scipy.optimize import brentq

    def missing(v):
        force = road_load(np.array(v), grade, 0.0, 0.0, DENSITY,
                          drag=DragArea.constant(0.2609 * area), mass=80.0 * mass,
                          rolling_resistance=CRR * crr, bearing=(0.091, 0.0087))
        return float(force) * v - EFFICIENCY * power

    return brentq(missing, 1.0, 30.0)


def test_constant_grade_in_still_air_solves_the_cubic():
    # Closed form: ½ρ CdA v³ + b v² + (a + m g (sin θ + Crr cos θ)) v = η P, one positive root
    # uphill; numpy's companion-matrix roots are the independent reference.
    for power, grade in ((150.0, 0.0), (289.0, 0.06), (394.0, 0.12), (60.0, -0.01)):
        slope = np.arctan(grade)
        steady = 0.091 + 80.0 * 9.80665 * (np.sin(slope) + CRR * np.cos(slope))
        roots = np.roots([0.5 * DENSITY * 0.2609, 0.0087, steady, -EFFICIENCY * power])
        real = [root.real for root in roots if abs(root.imag) < 1e-9 and root.real > 0]
        assert len(real) == 1
        assert _steady_speed(power, grade=grade) == pytest.approx(real[0], rel=1e-10)


def test_a_tail_wind_faster_than_the_rider_pushes():
    push = aerodynamic_force(np.array(5.0), -9.0, 0.0, 1.2, DragArea.constant(0.25))[0]
    assert push == pytest.approx(-0.5 * 1.2 * 0.25 * 16.0)
