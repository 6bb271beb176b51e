"""The energy balance of field tests, as published."""

from __future__ import annotations

import math

import numpy as np
import pytest

from optimizer.conditions import Conditions
from optimizer.physics import Setup
from optimizer.ride import Ride
from optimizer.ride.balance import Assumptions
from optimizer.ride.field_test import Runs, field_test
from optimizer.ride.places import nodes_by_place
from optimizer.ride.segments import cut, drag_energy
from tests.ride import synthetic
from tests.ride.trials import BIKE, CONDITIONS, truth

KNOWN = Assumptions(power_scale_sd=1e-4, speed_scale_sd=1e-4, mass_sd=1e-4, density_sd=0.0,
                    power_noise=1e-4)


def _ride(speed, power, grade=0.0, seconds=400, heading=0.0, name="steady", start=0.0):
    """A recorded ride at given speeds (n,) and powers on an even slope."""
    speed = np.broadcast_to(np.asarray(speed, float), (seconds,))
    along = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]))])
    return Ride(name, np.arange(seconds) * 1.0, along, speed,
                np.broadcast_to(np.asarray(power, float), (seconds,)),
                grade / math.sqrt(1 + grade**2) * along,
                47.0 + start + along * math.cos(heading) / 111_177.0,
                8.0 + along * math.sin(heading) / 76_057.0)


def _air(density):
    """Dry conditions of about a given density; the residual factor is returned beside them."""
    from optimizer.conditions.air import air_density

    temperature = 293.15
    pressure = 101_325.0 * density / float(air_density(temperature, 101_325.0, 0.0))
    return Conditions(temperature=temperature, pressure=pressure, humidity=0.0,
                      reference_elevation=0.0)


def test_the_worked_example_of_martin_1998_inverted():
    """Inputs from a public transcription of Martin et al. 1998, J. Appl. Biomech. 14:276; its
    total, 213.3 W, is from memory, so CdA may only be near what it used (0.257 m²)."""
    vi, vf, seconds, length = 8.27, 8.45, 56.42, 471.8
    time = np.linspace(0.0, seconds, 58)
    speed = vi + (vf - vi) * time / seconds
    along = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * np.diff(time))])
    heading, wind_from, wind = math.radians(340.0), math.radians(310.0), 2.94
    ride = Ride("example", time, along * length / along[-1], speed, np.full(58, 213.3),
                0.003 * along, 47.0 + along * math.cos(heading) / 111_177.0,
                8.0 + along * math.sin(heading) / 76_057.0)
    bike = Setup("bike", 10.0, 0.0032, drivetrain_efficiency=0.976)
    segments = cut([ride], [_air(1.2234)], bike, 80.0, nodes_by_place([ride], length / 8))
    air, _ = drag_energy(segments, -wind * math.sin(wind_from), -wind * math.cos(wind_from))
    lost = segments.work - segments.kinetic - segments.bearing
    climbed = 90.0 * 9.81 * np.diff(segments.node_height)
    rolled = 0.0032 * 90.0 * 9.81 * segments.length
    area = float(np.sum(lost - climbed - rolled) / np.sum(air))
    # There the wheels' drag, 0.0044 m², comes on top, and drag goes with the square of the
    # air speed along the road alone: with v_a q in its place CdA is smaller by cos 7.7 degrees.
    assert area == pytest.approx((0.257 + 0.0044) * math.cos(math.radians(7.7)), abs=0.004)


def test_uphill_powers_of_van_druenen_and_blocken_2021_inverted():
    """Sports Eng. 24:10, table 1: CdA 0.473 solo and 0.261 behind a rider, Crr 0.0032, 72 kg,
    7.5 %, efficiency 98 %, wheels 0.0044 m², 1.225 kg/m³, at 6 and 8 m/s. Powers by the
    paper's model, Martin et al. 1998, written out here; the field test finds both CdA again."""
    def power(cda, v):
        theta = math.atan(0.075)
        force = (0.5 * 1.225 * (cda + 0.0044) * v**2 + 72 * 9.80665 * (
            math.sin(theta) + 0.0032 * math.cos(theta)) + 0.091 + 0.0087 * v)
        return force * v / 0.98

    bike = Setup("bike", 8.0, 0.0032, drivetrain_efficiency=0.98)
    for cda in (0.473, 0.261):
        rides = tuple(_ride(v, power(cda, v), 0.075, int(2400 / v)) for v in (6.0, 8.0))
        # Up there the air is thinner; the paper's is the same throughout.
        weather = Conditions(**{**vars(_air(1.225)), "reference_elevation": 90.0})
        test = field_test(Runs(rides, ("x", "x"), (weather,) * 2, bike, 64.0, Assumptions(
            **{**vars(KNOWN), "wind_sd": 0.01, "rolling_resistance_sd": 1e-5})))
        assert test.drag_area[0] == pytest.approx(cda + 0.0044, abs=0.006)
    assert 1 - power(0.261, 6.0) / power(0.473, 6.0) > 0.07  # "over 7 %", the abstract


def test_against_ordinary_least_squares_with_robust_errors():
    """OLS with HAC errors (Newey and West 1987) of statsmodels on the same balance, where heights
    and a calm are known: same CdA and Crr within the errors, errors of the same size."""
    api = pytest.importorskip("statsmodels.api")
    rng = np.random.default_rng(11)
    so = truth(rng, gust_sd=0.15, slow_sd=0.0, wind=(0.0, 0.0), gust_time=3.0)
    exact = synthetic.Sensors(0.015, 0.0, 0.003, 0.0, 0.02, 0.0, 0.0, 0.5)
    ride = synthetic.ride(synthetic.loop(rng), so, exact, rng)
    loose = Assumptions(**{**vars(KNOWN), "wind_sd": 0.01, "rolling_resistance_sd": 1.0,
                           "drag_area_sd": 10.0, "power_noise": 0.015})
    test = field_test(Runs((ride,), ("bike",), (CONDITIONS,), BIKE, so.mass - BIKE.mass, loose))
    segments = test.segments
    kept = np.isfinite(test.posterior.score)
    weight = segments.mass * 9.80665
    y = (segments.work - segments.kinetic - segments.bearing
         - weight * (segments.node_height[segments.first + 1]
                     - segments.node_height[segments.first]))[kept]
    design = np.column_stack([drag_energy(segments, 0.0, 0.0)[0], weight * segments.length])[kept]
    theirs = api.OLS(y, design).fit(cov_type="HAC", cov_kwds={"maxlags": 8})
    assert abs(theirs.params[0] - test.drag_area[0]) < 2.5 * theirs.bse[0]
    assert abs(theirs.params[1] - test.rolling_resistance) < 2.5 * theirs.bse[1]
    assert 0.3 < test.drag_area_sd[0] / theirs.bse[0] < 1.5
