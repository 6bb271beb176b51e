"""Where no tyre fits the balance: a bounded answer, a word on what cannot be right."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.report.fieldtest_page import drag_rows, sentences
from optimizer.ride.balance import Assumptions
from optimizer.ride.field_test import LEAST_ROLLING, MOST_ROLLING, Runs, field_test
from tests.ride import synthetic
from tests.ride.trials import BIKE, CONDITIONS, covered, truth


def _test(seed, power=1.0, crr=0.005, **assumed):
    """A field test of laps whose power meter reads `power` times what it should."""
    rng = np.random.default_rng(seed)
    so = truth(rng, crr=crr)
    ride = synthetic.ride(synthetic.loop(rng), so, synthetic.Sensors(), rng, scales=(0.0, 0.0))
    ride = replace(ride, power=power * ride.power)
    return so, field_test(Runs((ride,), ("bike",), (CONDITIONS,), BIKE, so.mass - BIKE.mass,
                               Assumptions(**assumed)))


@pytest.fixture(scope="module")
def starved():
    return _test(3, power=0.75)


def test_a_meter_that_reads_too_little_gives_no_impossible_tyre(starved):
    _, test = starved
    assert test.free_rolling_resistance < LEAST_ROLLING
    assert test.contradicts
    low, high = test.rolling_resistance_low, test.rolling_resistance_high
    assert LEAST_ROLLING <= low <= test.rolling_resistance <= high
    assert test.drag_area_low[0] < test.drag_area[0] < test.drag_area_high[0]


def test_it_says_what_cannot_be_right_and_cda_at_the_assumed_crr(starved):
    _, test = starved
    said = " ".join(sentences(test))
    assert "no tyre has" in said
    assert "power meter" in said
    area, sd = test.drag_area_given(BIKE.rolling_resistance)
    stated, half = BIKE.rolling_resistance, 1.645 * test.spec.assumptions.rolling_resistance_sd
    taken = max(stated - half, LEAST_ROLLING), min(stated + half, MOST_ROLLING)
    assert f"If Crr was {stated:.4f} ({taken[0]:.4f} to {taken[1]:.4f}), as stated" in said
    # As wide as Crr is open: the range holds what the ends of Crr's make of CdA.
    head, value, span, _ = drag_rows(test)[0]
    assert head.endswith("in doubt")
    assert value == f"{area:.3f}"
    low, high = map(float, span.split(" to "))
    ends = [test.drag_area_given(crr)[0] for crr in taken]
    assert low <= min(ends) + 5e-4
    assert high >= max(ends) - 5e-4
    assert high - low > 2.0 * 1.645 * sd
    assert drag_rows(test)[-1][2] == f"{taken[0]:.4f} to {taken[1]:.4f}"
    # The truth is a meter that reads 25 % too little.
    share = float(said.split("meter that reads ")[1].split(" %")[0])
    assert 18.0 < share < 32.0


def test_a_sound_meter_says_nothing_of_the_kind():
    so, test = _test(3)
    assert not test.contradicts
    assert "no tyre" not in " ".join(sentences(test))
    assert abs(covered(so, test)[1]) < 3.0


def test_the_bound_is_the_condition_that_sampling_gives():
    """Draws from the unbounded answer, those with an impossible Crr thrown away."""
    _, test = _test(5, crr=0.0022)
    free = test.free
    least = 0.003
    bound = free.with_least_rolling(least)
    rng = np.random.default_rng(0)
    which = rng.choice(len(free.weight), 200_000, p=free.weight)
    root = np.linalg.cholesky(free.covariance + 1e-18 * np.eye(2))
    drawn = free.mean[which] + np.einsum("nij,nj->ni", root[which],
                                         rng.standard_normal((len(which), 2)))
    kept = drawn[drawn[:, 1] >= least]
    assert len(kept) > 2000
    mean, covariance = bound.moments()
    error = 4.0 / np.sqrt(len(kept))
    np.testing.assert_allclose(mean, kept.mean(axis=0), atol=error * kept.std(axis=0).max())
    np.testing.assert_allclose(np.sqrt(np.diag(covariance)), kept.std(axis=0), rtol=0.05)
    np.testing.assert_allclose(bound.quantiles(np.array([1.0, 0.0]), (0.025, 0.975)),
                               np.quantile(kept[:, 0], [0.025, 0.975]), atol=0.0015)
    assert bound.share_below(least) < 0.03


def test_a_bound_far_out_in_the_tail_is_still_met():
    _, test = _test(5)
    bound = test.free.with_least_rolling(test.free_rolling_resistance
                                         + 30.0 * test.free_rolling_resistance_sd)
    mean, covariance = bound.moments()
    assert np.all(np.isfinite(mean))
    assert np.all(np.diag(covariance) > 0.0)


def test_a_mass_stated_too_small_is_named_and_its_crr_is_not_advised():
    """A rider who is 9 kg heavier than stated climbs and falls: it looks like a rough road."""
    rng = np.random.default_rng(8)
    so = truth(rng, crr=0.005, mass=82.0, gust_sd=0.2, slow_sd=0.1)
    path = synthetic.out_and_back(rng, length=6000.0, times=2, relief=30.0)
    ride = synthetic.ride(path, so, synthetic.Sensors(), rng, scales=(0.0, 0.0))
    right = field_test(Runs((ride,), ("bike",), (CONDITIONS,), BIKE, so.mass - BIKE.mass))
    wrong = field_test(Runs((ride,), ("bike",), (CONDITIONS,), BIKE, so.mass - 9.0 - BIKE.mass))
    assert not right.contradicts
    assert wrong.contradicts
    assert wrong.answer.rolling == BIKE.rolling_resistance
    said = " ".join(sentences(wrong))
    assert "more than any paved road has" in said
    assert float(said.split(" kg more")[0].split()[-1]) == pytest.approx(9.0, abs=3.0)
    assert f"{wrong.free_rolling_resistance:.4f}" not in " ".join(
        " ".join(row) for row in drag_rows(wrong))


def test_a_rough_road_that_was_stated_is_believed():
    rng = np.random.default_rng(8)
    so = truth(rng, crr=0.013, gust_sd=0.2, slow_sd=0.1)
    ride = synthetic.ride(synthetic.loop(rng), so, synthetic.Sensors(), rng, scales=(0.0, 0.0))
    for stated, contradicts in ((0.005, True), (0.012, False)):
        test = field_test(Runs((ride,), ("bike",), (CONDITIONS,),
                               replace(BIKE, rolling_resistance=stated), so.mass - BIKE.mass))
        assert test.contradicts is contradicts
    assert abs(covered(so, test)[1]) < 3.0


def test_the_page_draws_what_the_balance_asks_for_and_says_that_it_cannot_be(starved):
    from optimizer.report.fieldtest_page import fieldtest_page

    _, test = starved
    page = fieldtest_page(test).replace("\u00a0", " ")
    assert "What the recording asks for" in page
    assert "it cannot be" in page
    assert "The true pair" not in page
    assert "What would make the answer surer" not in page  # it would be of another answer
    assert "The rides separate the two" not in page
