"""Altitude and heat: plausibility against published figures, all coefficients from memory."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.rider.environment import altitude_share, heat_share


@pytest.mark.parametrize(("response", "low", "high"), [
    ("acclimatised", 0.88, 0.92), ("unacclimatised", 0.83, 0.88), ("linear", 0.85, 0.90)])
def test_at_2250_metres(response, low, high):
    """From memory: Bassett et al. 1999 estimate 7 to 15 % less aerobic power at 2250 m."""
    assert low <= float(altitude_share(2250.0, response)) <= high


def test_acclimatised_riders_lose_less_everywhere():
    height = np.linspace(100.0, 4000.0, 40)
    assert np.all(altitude_share(height, "acclimatised") > altitude_share(height, "unacclimatised"))
    for response in ("acclimatised", "unacclimatised", "linear"):
        assert np.all(np.diff(altitude_share(height, response)) <= 0.0)
        assert altitude_share(0.0, response) == pytest.approx(1.0)


def test_half_an_hour_at_32_degrees():
    """From memory: Tatterson et al. 2000, 6.5 % less power at 32 °C than at 23 °C."""
    ratio = heat_share(305.15, "unacclimatised") / heat_share(296.15, "unacclimatised")
    assert 0.92 <= float(ratio) <= 0.95


def test_acclimatised_riders_feel_less_of_the_heat():
    hot = 308.15
    assert heat_share(hot, "unacclimatised") < heat_share(hot, "acclimatised") < 1.0
    assert heat_share(285.0, "unacclimatised") == 1.0
