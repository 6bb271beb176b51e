"""Recovery of the reserve, against published time constants and worked values."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.rider.reserve import reserve_balance, skiba_2012_time, track_time

BELOW = np.array([25.0, 50.0, 100.0, 150.0, 200.0])


def test_track_riders_time_constant():
    """Bartram et al. 2018: τ = 2287.2 D^-0.688 s; the values follow by arithmetic."""
    np.testing.assert_allclose(track_time(BELOW), [249.8, 155.0, 96.2, 72.8, 59.7], atol=0.05)


def test_integral_time_constant():
    """Skiba et al. 2012, constants from memory: τ = 546 exp(-0.01 D) + 316 s."""
    np.testing.assert_allclose(skiba_2012_time(BELOW), [741.2, 647.2, 516.9, 437.8, 389.9],
                               atol=0.05)


def test_the_two_time_constants_are_not_exchangeable():
    """Bartram's was fitted inside the differential form: five times apart at 100 W."""
    assert skiba_2012_time(100.0) / track_time(100.0) == pytest.approx(5.4, abs=0.1)


def test_differential_form_worked():
    """Skiba et al. 2015 (form from memory): 300 W for 200 s, then 150 W for 200 s.

    CP 250 W, W' 20 kJ: 10 kJ are left, then τ = W'/(CP - P) = 200 s leaves 10 kJ/e missing.
    """
    reserve = reserve_balance(np.array([200.0, 200.0]), np.array([300.0, 150.0]), 250.0, 20e3,
                              "slowing")
    np.testing.assert_allclose(reserve[1:], [10_000.0, 20_000.0 - 10_000.0 / np.e], atol=0.1)


@pytest.mark.parametrize(("rest", "percent"), [
    (15, 27.3), (30, 41.8), (60, 54.6), (120, 63.6), (180, 69.0), (240, 73.4), (360, 80.5)])
def test_two_speed_recovery(rest, percent):
    """Chorley et al. 2022: 50.67 % with τ = 21.5 s, 49.33 % with τ = 388 s; values by arithmetic.

    From exhaustion, recovered part after `rest` seconds.
    """
    reserve = reserve_balance(np.array([100.0, rest]), np.array([450.0, 50.0]), 250.0, 20e3,
                              "two-speed")
    assert reserve[1] == pytest.approx(0.0, abs=1e-6)
    assert 100 * reserve[2] / 20e3 == pytest.approx(percent, abs=0.05)
