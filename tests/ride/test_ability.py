"""Critical power that a ride shows, on rides whose truth is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.ride.ability import ability_of
from optimizer.rider import Position, Rider
from optimizer.rider.recovery import BY_SHARE
from tests.pacing.random_problems import random_problem


def _rider(cp, sd, w_prime=18e3):
    return Rider("A", 72.0, cp, w_prime, 900.0, (Position("aero", 0.26),), critical_power_sd=sd,
                 w_prime_sd=2e3)


def _problem(cp, w_prime=18e3, steps=200):
    problem = random_problem(1, steps=steps, length=20e3)
    return replace(problem, critical_power=np.full(steps, cp), w_prime=w_prime,
                   recovery=np.ones(steps), recovery_law=BY_SHARE)


def _ride(need, planned, w_prime=18e3, steps=200, seconds=2000.0):
    """Powers and paces that need just this CP: hard first, then a little under it."""
    problem = _problem(planned, w_prime, steps)
    taken = np.full(steps, seconds / steps)
    power = np.full(steps, need - 5.0)
    power[:100] = need + w_prime / (100 * taken[0])
    return problem, power, taken / problem.step


@pytest.mark.parametrize("sd", [1.0, 6.0, 15.0, 40.0])
def test_a_ride_shows_what_it_needed_however_sure_one_was(sd):
    """A prior of 261 W, and a ride that needs 306 W."""
    problem, power, pace = _ride(306.0, 261.0)
    found = ability_of(problem, power, pace, _rider(261.0, sd), all_out=True)
    assert found.shown == pytest.approx(306.0, abs=0.1)
    assert 0.0 < found.shown_sd < 25.0
    assert found.contradicts == (sd < 18.0)


def test_an_easy_ride_says_nothing():
    problem, power, pace = _ride(306.0, 300.0)
    found = ability_of(problem, 0.2 * power, pace, _rider(300.0, 10.0))
    assert (found.shown, found.shown_sd) == (0.0, 0.0)
