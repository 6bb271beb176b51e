"""What was stated before a ride against what the ride says without it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.conditions import Conditions
from optimizer.report.fieldtest_page import sentences
from optimizer.ride.balance import Assumptions, wind_sd_of
from optimizer.ride.field_test import Runs, field_test
from optimizer.ride.stated import rolling_alone, wind_disagrees, wind_stated
from tests.ride import synthetic
from tests.ride.trials import BIKE, CONDITIONS, truth


def _test(seed, rolling_off=0.0, wind=None, sd=0.0004):
    rng = np.random.default_rng(seed)
    path = synthetic.loop(rng)
    so = truth(rng, wind=(2.5, 0.0))
    ride = synthetic.ride(path, so, synthetic.Sensors(), rng)
    air, assumptions = CONDITIONS, Assumptions(rolling_resistance_sd=sd)
    if wind is not None:
        air = Conditions(wind_east=np.array([[wind]]), wind_north=np.zeros((1, 1)),
                         temperature=CONDITIONS.temperature, pressure=CONDITIONS.pressure)
        assumptions = replace(assumptions, wind_sd=wind_sd_of(abs(wind)))
    bike = replace(BIKE, rolling_resistance=so.crr + rolling_off)
    return so, field_test(Runs((ride,), ("bike",), (air,), bike, so.mass - BIKE.mass, assumptions))


@pytest.mark.parametrize("seed", [1, 2, 5])
def test_a_true_crr_and_a_true_wind_do_not_clash(seed):
    so, test = _test(seed)
    alone = rolling_alone(test)
    assert not alone.disagrees
    assert abs(alone.rolling - so.crr) < 3.0 * alone.rolling_sd
    assert not wind_disagrees(test)


def test_a_crr_that_the_ride_cannot_have_is_said_with_the_cda_of_the_other():
    so, test = _test(1, rolling_off=-0.0025, sd=0.0003)
    alone = rolling_alone(test)
    assert alone.disagrees
    assert alone.rolling == pytest.approx(so.crr, abs=3.0 * alone.rolling_sd)
    said = " ".join(sentences(test))
    assert "does not fit" in said


def test_the_rides_alone_do_not_depend_on_what_was_stated():
    one, other = (rolling_alone(_test(5, off, sd=sd)[1]).rolling
                  for off, sd in ((0.0, 0.003), (0.002, 0.001)))
    assert one == pytest.approx(other, abs=4e-4)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_wind_from_the_other_side_is_said(seed):
    _, test = _test(seed, wind=-5.0, sd=0.003)
    assert wind_disagrees(test)
    assert "not the wind that was stated" in " ".join(sentences(test))


def test_a_wind_that_is_vaguely_stated_and_wrong_is_said_beside_what_the_ride_says():
    # 8 m/s with a third of it as its error hides a ride in 2.5 m/s from the other side.
    _, test = _test(1, wind=-8.0, sd=0.003)
    east, north = wind_stated(test)
    assert east < -3.0 < 0.5 < test.wind[0]
    assert north == pytest.approx(0.0, abs=0.1)
    said = " ".join(sentences(test))
    assert f"stated was {-3.6 * east:.0f} km/h from the east" in said
    assert "check where it came from" in said


def test_a_true_wind_is_not_doubted():
    _, test = _test(1, wind=5.0, sd=0.003)
    said = " ".join(sentences(test))
    assert "from the west at the rider's height" in said
    assert "check where it came from" not in said
    assert wind_stated(_test(1)[1]) is None
