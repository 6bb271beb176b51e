"""Several rides of a season pooled, against regression, sampling and known truth."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.ride.ability import endurance_error, needed_by_effort
from optimizer.ride.season import EXPONENTS, Before, Learned, own_estimate, pool
from optimizer.rider import Position, Rider

BEFORE = Before(0.012, 0.0010, 280.0, 14.0, 4.0, 0.75)


def _ride(rng, drag, tau=(0.006, 0.0004), name="race"):
    """A ride that reads a true pair with the strong correlation of a debrief."""
    sd, rho = np.array([0.013, 0.0009]), -0.9
    covariance = np.outer(sd, sd) * np.array([[1.0, rho], [rho, 1.0]])
    so = drag + np.array(tau) * rng.standard_normal(2)
    return Learned(name, rng.multivariate_normal(so, covariance), covariance, 0.0, 0.0, (), False)


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 10_000))
def test_a_prior_taken_out_and_put_in_again_is_the_posterior(seed):
    rng = np.random.default_rng(seed)
    prior, prior_sd = rng.normal(size=2), np.exp(rng.normal(size=2))
    root = rng.normal(size=(2, 2))
    own_cov = root @ root.T + 0.1 * np.eye(2)
    own = rng.normal(size=2)
    precision = np.linalg.inv(own_cov) + np.diag(prior_sd**-2)
    covariance = np.linalg.inv(precision)
    mean = covariance @ (np.linalg.solve(own_cov, own) + prior / prior_sd**2)
    found, spread = own_estimate(mean, covariance, prior, prior_sd)
    np.testing.assert_allclose(found, own, rtol=1e-6, atol=1e-8)
    np.testing.assert_allclose(spread, own_cov, rtol=1e-6, atol=1e-8)


def test_nothing_ridden_is_what_was_known_before():
    found = pool(BEFORE, [])
    np.testing.assert_allclose(found.drag, 0.0)
    np.testing.assert_allclose(np.sqrt(np.diag(found.covariance)), [0.012, 0.0010])
    assert found.power == pytest.approx(280.0, abs=1.0)
    assert found.exponent == pytest.approx(4.0, abs=0.05)


def test_it_is_the_same_in_any_order():
    rng = np.random.default_rng(3)
    rides = [_ride(rng, np.array([0.01, -0.0003])) for _ in range(4)]
    one, other = pool(BEFORE, rides), pool(BEFORE, rides[::-1])
    np.testing.assert_allclose(one.drag, other.drag)
    np.testing.assert_allclose(one.covariance, other.covariance)


def test_the_fourth_race_is_surer_than_the_first_and_holds_the_truth():
    """200 seasons of four races: the fourth is planned surer, 90 to 98 of 100 intervals hold."""
    rng = np.random.default_rng(7)
    held, surer, miss = [], [], []
    for _ in range(200):
        true = np.array([BEFORE.drag_area_sd, BEFORE.rolling_sd]) * rng.standard_normal(2)
        rides = [_ride(rng, true) for _ in range(4)]
        sds = [pool(BEFORE, rides[:k]).drag_area_sd(8.0) for k in (0, 3)]
        found = pool(BEFORE, rides)
        sd = float(np.sqrt(found.covariance[0, 0]))
        held.append(abs(found.drag[0] - true[0]) < 1.96 * sd)
        miss.append((found.drag[0] - true[0]) / sd)
        surer.append(sds[1] < sds[0])
    assert np.mean(surer) > 0.95
    assert 0.90 < np.mean(held) < 0.98
    assert abs(np.mean(miss)) < 0.2


def test_the_next_race_lies_in_its_own_interval():
    rng = np.random.default_rng(8)
    held = []
    for _ in range(200):
        true = np.array([BEFORE.drag_area_sd, BEFORE.rolling_sd]) * rng.standard_normal(2)
        found = pool(BEFORE, [_ride(rng, true) for _ in range(4)])
        race = true[0] + 0.006 * rng.standard_normal()
        held.append(abs(found.drag[0] - race) < 1.96 * np.sqrt(found.next_covariance[0, 0]))
    assert 0.90 < np.mean(held) < 0.99


def test_races_that_differ_more_leave_the_next_one_less_sure():
    rng = np.random.default_rng(9)
    alike = pool(BEFORE, [_ride(rng, np.zeros(2), (0.0, 0.0)) for _ in range(6)])
    apart = pool(BEFORE, [_ride(rng, np.zeros(2), (0.03, 0.002)) for _ in range(6)])
    assert apart.drag_apart > alike.drag_apart


def _effort(cp, p, all_out=True, share=1.0):
    """A ride that needs `share` of a CP when strain grows with exponent p."""
    needed = tuple(share * cp * (1.0 + 0.02 * (x - p)) for x in EXPONENTS)
    return Learned("race", None, None, 0.0, 0.0, needed, all_out)


def test_rides_to_the_limit_tell_critical_power():
    rng = np.random.default_rng(1)
    held = []
    for _ in range(60):
        true = 280.0 + 14.0 * rng.standard_normal()
        rides = [_effort(true * (1.0 + 0.02 * rng.standard_normal()), 4.0) for _ in range(4)]
        found = pool(BEFORE, rides)
        held.append(abs(found.power - true) < 1.96 * found.power_sd)
        assert found.power_sd < 0.75 * BEFORE.power_sd
    assert np.mean(held) > 0.88


def test_rides_of_other_variability_tell_the_exponent():
    """Steady and uneven rides to the limit agree on one CP at one exponent only."""
    steady = [Learned("even", None, None, 0.0, 0.0, (280.0,) * len(EXPONENTS), True)] * 4
    uneven = [Learned("uneven", None, None, 0.0, 0.0,
                      tuple(280.0 * (1.0 + 0.05 * (x - 3.0)) for x in EXPONENTS), True)] * 4
    found = pool(BEFORE, [*steady, *uneven])
    assert found.exponent_sd < 0.75 * BEFORE.exponent_sd
    assert found.exponent == pytest.approx(3.0, abs=0.6)


def test_easy_rides_say_nothing_of_power_and_hard_ones_no_less_than_they_needed():
    easy = pool(BEFORE, [_effort(280.0, 4.0, all_out=False, share=0.6)])
    assert easy.power == pytest.approx(280.0, abs=1.0)
    shown = Learned("race", None, None, 330.0, 3.0, (), False)
    assert pool(BEFORE, [shown]).power >= 330.0


def test_the_same_hard_ride_again_is_no_new_evidence():
    """ "No lower than" has one law's error, which ten rides share: they say what one says."""
    rides = [_effort(280.0, 4.0, all_out=False)]
    one, ten = pool(BEFORE, rides), pool(BEFORE, 10 * rides)
    assert ten.power == pytest.approx(one.power, abs=0.01)
    assert ten.power_sd == pytest.approx(one.power_sd, abs=0.01)


@pytest.mark.parametrize("minutes", [20, 60, 90])
def test_a_ride_at_critical_power_raises_it_as_far_as_its_length_asks(minutes):
    """Against rejection: of riders drawn as known before, those who can ride it remain.

    An hour at 280 W asks for more than 280 W of critical power, since less of it can be held the
    longer it takes; how much less is uncertain itself, and the longer the ride the more so.
    """
    rider = Rider("A", 70.0, 280.0, 18e3, 700.0, (Position("aero", 0.25),), endurance_loss=0.08,
                  endurance_loss_sd=0.03)
    steps, each = 6 * minutes, 10.0
    power, duration = np.full(steps, 280.0), np.full(steps, each)
    needed = needed_by_effort(power, duration, rider, EXPONENTS)
    law = float(np.hypot(0.03, endurance_error(steps * each, rider)))
    found = pool(BEFORE, [Learned("even", None, None, 0.0, 0.0, needed, False, law)])

    rng, many = np.random.default_rng(2), 400_000
    critical = 280.0 + 14.0 * rng.standard_t(4, many)
    day = 0.02 * 280.0 * np.abs(rng.standard_normal(many)) * rng.standard_normal(many)
    loss = 0.08 + 0.03 * rng.standard_normal(many)
    reach = steps * each
    can = (critical + day) * (1.0 - loss * max(np.log(reach / 1800.0), 0.0)) + 18e3 / reach
    held = critical[can * (1.0 + 0.03 * rng.standard_normal(many)) > 280.0]
    assert found.power == pytest.approx(np.median(held), abs=1.0)
    assert found.power > 280.0
    # Never more than that the ride asked for it, within the law's error.
    assert found.power < max(needed[3], 280.0) + 0.5 * law * 280.0


def test_rides_well_below_critical_power_leave_it_where_it_was():
    none = pool(BEFORE, [_effort(280.0, 4.0, all_out=False, share=0.3)])
    for share in (0.7, 0.8, 0.85):
        easy = pool(BEFORE, 6 * [_effort(280.0, 4.0, all_out=False, share=share)])
        assert easy.power == pytest.approx(none.power, abs=0.5)  # W, of ± 14
    assert none.power == pytest.approx(280.0, abs=0.2)
