"""Coast-down: the closed laws of the literature, and what a field test makes of such rides.

With a resistance a + b v² on a level road m dv/dt = -(a + b v²), so that
v(t) = √(a/b) tan(atan(v0 √(b/a)) - t √(ab)/m) and
s = m/(2b) ln((a + b v0²)/(a + b v²)) (White and Korst 1972, SAE 720099; for bicycles Candau et
al. 1999, Med. Sci. Sports Exerc. 31:1441; forms from memory, checked here by differentiation).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from optimizer.conditions import Conditions
from optimizer.conditions.air import air_density
from optimizer.physics import Setup
from optimizer.ride import Ride
from optimizer.ride.balance import Assumptions
from optimizer.ride.field_test import Runs, field_test
from optimizer.ride.stretches import braking_samples

MASS, WHEELS = 82.0, 0.14 / 0.311**2
DENSITY = float(air_density(293.15, 101_325.0, 0.5))
NO_BEARINGS = Setup("bike", 9.0, 0.005, bearing=(0.0, 0.0))


def _speed(t, a, b, v0, m):
    return math.sqrt(a / b) * np.tan(math.atan(v0 * math.sqrt(b / a)) - t * math.sqrt(a * b) / m)


def _way(v, a, b, v0, m):
    return m / (2 * b) * np.log((a + b * v0**2) / (a + b * v**2))


def test_the_two_laws_agree_with_each_other():
    a, b, m = 3.6, 0.16, 83.5
    t = np.linspace(0.0, 60.0, 6001)
    v = _speed(t, a, b, 12.0, m)
    assert np.gradient(v, t)[100:-100] == pytest.approx(-(a + b * v**2)[100:-100] / m, rel=1e-4)
    way = np.concatenate([[0.0], np.cumsum(0.5 * (v[1:] + v[:-1]) * np.diff(t))])
    assert way[-1] == pytest.approx(float(_way(v[-1], a, b, 12.0, m)), abs=1e-3)


def _coasts(cda, crr, starts=(13.0, 12.0, 11.0, 10.0, 9.0, 8.0)):
    """Coast-downs to 4 m/s on one level road, as rides."""
    a, b, m = MASS * 9.80665 * crr, 0.5 * DENSITY * cda, MASS + WHEELS
    rides = []
    for v0 in starts:
        t = np.arange(0.0, 400.0)
        v = _speed(t, a, b, v0, m)
        keep = (v > 4.0) & (np.arange(len(t)) < np.argmax(np.append(v < 4.0, True)))
        t, v = t[keep], v[keep]
        s = _way(v, a, b, v0, m)
        rides.append(Ride("coast", t, s, v, np.zeros(len(t)), np.zeros(len(t)),
                          47.0 + s / 111_177.0, np.full(len(t), 8.0)))
    return tuple(rides)


@pytest.mark.parametrize(("cda", "crr"), [(0.25, 0.004), (0.35, 0.006)])
def test_a_field_test_of_coast_downs_finds_what_they_were_made_of(cda, crr):
    rides = _coasts(cda, crr)
    assert not any(braking_samples(ride, NO_BEARINGS, MASS).any() for ride in rides)
    known = Assumptions(power_scale_sd=1e-4, speed_scale_sd=1e-4, mass_sd=1e-4, density_sd=0.0,
                        wind_sd=0.01)
    test = field_test(Runs(rides, ("x",) * len(rides), (Conditions(),) * len(rides), NO_BEARINGS,
                           MASS - NO_BEARINGS.mass, known))
    assert not test.left_out
    assert test.drag_area[0] == pytest.approx(cda, abs=0.004)
    assert test.rolling_resistance == pytest.approx(crr, abs=0.0002)


def test_the_resistance_of_di_prampero_1979_is_plausible():
    """R = 3.2 + 0.19 v² N (di Prampero et al. 1979, J. Appl. Physiol. 47:201; from memory, so only
    a wide band): as CdA and Crr of a rider who sits up."""
    assert 0.25 < 2 * 0.19 / DENSITY < 0.40
    assert 0.003 < 3.2 / (80 * 9.80665) < 0.006
