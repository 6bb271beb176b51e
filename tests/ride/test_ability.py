"""Critical power from a ride, against quadrature and rides whose truth is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import truncnorm

from optimizer.ride.ability import ability_of, cut_off
from optimizer.rider import Position, Rider
from tests.pacing.random_problems import random_problem


@settings(deadline=None, max_examples=80)
@given(st.floats(200.0, 350.0), st.floats(1.0, 40.0), st.floats(150.0, 450.0))
def test_a_cut_off_prior_is_scipys_truncated_normal(mean, sd, least):
    """scipy.stats.truncnorm as the reference, as far out as it is good."""
    found = cut_off(mean, sd, least)
    edge = (least - mean) / sd
    assert found[0] >= least
    if edge < 25.0:
        other = truncnorm(edge, np.inf, loc=mean, scale=sd)
        assert found[0] == pytest.approx(other.mean(), abs=1e-4 * sd)
        assert found[1] == pytest.approx(other.std(), abs=2e-3 * sd)
    else:
        assert found[0] == pytest.approx(least + sd / edge, abs=0.01 * sd)


def _rider(cp, sd, w_prime=18e3):
    return Rider("A", 72.0, cp, w_prime, 900.0, (Position("aero", 0.26),), critical_power_sd=sd,
                 w_prime_sd=2e3)


def _problem(cp, w_prime=18e3, steps=200):
    problem = random_problem(1, steps=steps, length=20e3)
    return replace(problem, critical_power=np.full(steps, cp), w_prime=w_prime,
                   recovery=np.ones(steps), slowing_recovery=False)


def _ride(need, planned, w_prime=18e3, steps=200, seconds=2000.0):
    """Powers and paces that need just this CP: hard first, then a little under it."""
    problem = _problem(planned, w_prime, steps)
    taken = np.full(steps, seconds / steps)
    power = np.full(steps, need - 5.0)
    power[:100] = need + w_prime / (100 * taken[0])
    return problem, power, taken / problem.step


@pytest.mark.parametrize("all_out", [False, True])
@pytest.mark.parametrize("sd", [1.0, 3.0, 6.0, 8.0, 15.0, 40.0])
def test_no_estimate_is_below_what_was_shown(sd, all_out):
    """A prior of 261 W however sure, and a ride that needs 306 W."""
    problem, power, pace = _ride(306.0, 261.0)
    found = ability_of(problem, power, pace, _rider(261.0, sd), all_out=all_out)
    assert found.shown == pytest.approx(306.0, abs=0.1)
    assert found.shown <= found.estimate < 330.0
    assert 0.0 < found.sd < 25.0
    assert found.contradicts == (sd < 18.0)


def test_a_prior_a_little_surer_changes_little():
    """Continuous where a floor in a tail probability once made 261 of 306."""
    problem, power, pace = _ride(306.0, 261.0)
    found = [ability_of(problem, power, pace, _rider(261.0, sd)).estimate
             for sd in np.linspace(4.0, 10.0, 25)]
    assert np.all(np.abs(np.diff(found)) < 0.3)


def test_an_easy_ride_says_nothing():
    problem, power, pace = _ride(306.0, 300.0)
    found = ability_of(problem, 0.2 * power, pace, _rider(300.0, 10.0))
    assert (found.shown, found.estimate, found.sd) == (0.0, 300.0, 10.0)


def test_all_out_rides_hold_the_truth_19_times_in_20():
    """Riders drawn from their own prior, who ride to the last joule of a W' that is known."""
    rng = np.random.default_rng(4)
    held = []
    for _ in range(200):
        true = 280.0 + 15.0 * rng.normal()
        problem, power, pace = _ride(true * (1.0 - 0.005 * abs(rng.normal())), 280.0)
        found = ability_of(problem, power, pace, _rider(280.0, 15.0), all_out=True)
        held.append(abs(found.estimate - true) < 1.96 * found.sd)
    assert np.mean(held) > 0.93


def test_rides_short_of_the_limit_hold_the_truth_19_times_in_20():
    rng = np.random.default_rng(5)
    held = []
    for _ in range(300):
        true = 280.0 + 15.0 * rng.normal()
        problem, power, pace = _ride(true * rng.uniform(0.85, 1.0), 280.0)
        found = ability_of(problem, power, pace, _rider(280.0, 15.0))
        held.append(abs(found.estimate - true) < 1.96 * found.sd)
    assert 0.92 < np.mean(held) < 0.99
