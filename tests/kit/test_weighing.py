"""Advice under doubt: what to buy, in which order, what to test, how to share."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from optimizer.day import RaceDay
from optimizer.kit import KitSet
from optimizer.kit.weighing import share_budget, unit_loss, weigh_kit
from tests.kit.invented import BASELINE, RIDER, catalogue, road, wind


@pytest.fixture(scope="module")
def weighing():
    rng = np.random.default_rng(6)
    wanted, effects = catalogue(rng, (2, 2, 2, 2, 1))
    return wanted, weigh_kit(RaceDay(road(rng, length=10_000.0), wind(3.0, 1.0), RIDER, step=400.0),
                             BASELINE, wanted, effects, 700.0, "EUR", count=120, stages=(300.0,
                                                                                         700.0))


def test_the_chosen_set_has_the_best_score(weighing):
    _, found = weighing
    assert found.by == "mean"
    assert found.chosen.spend <= 700.0
    # No rival is clearly better in the mean; within its standard error the forecast decides.
    assert found.score <= min(rival.mean for rival in found.rivals) + 3.0
    assert found.spread[0] < found.score < found.spread[1]
    means = [rival.mean for rival in found.rivals]
    assert means == sorted(means)
    for rival in found.rivals:
        assert rival.low < rival.middle < rival.high
        assert 0.0 <= rival.chance <= 1.0
        assert (rival.chance > 0.5) == (rival.behind[1] > 0) or rival.behind[1] == 0


def test_what_cannot_be_told_apart_is_cheaper(weighing):
    _, found = weighing
    if found.equal is not None:
        assert found.equal.kit.spend < found.chosen.spend
        assert found.equal.chance < 0.9
    for rival in found.rivals:
        if rival.kit.spend < found.chosen.spend and rival.chance < 0.9:
            assert found.equal is not None
            assert found.equal.kit.spend <= rival.kit.spend


def test_purchases_are_single_and_ranked(weighing):
    wanted, found = weighing
    prices = [purchase.price_per_second for purchase in found.purchases]
    assert prices == sorted(prices)
    assert found.purchases
    for purchase in found.purchases:
        assert purchase.seconds > 0
        assert purchase.low < purchase.high
        assert purchase.spend == pytest.approx(sum(wanted[name].cost for name in purchase.items))


def test_stages_buy_nothing_twice_and_keep_to_the_money(weighing):
    wanted, found = weighing
    bought: list[str] = []
    for stage in found.stages:
        assert not set(bought) & set(stage.bought)
        bought += stage.bought
        assert sum(wanted[name].price for name in bought) <= stage.money + 1e-9
        assert stage.regret >= 0.0
        had = {name for name in stage.kit.items if wanted[name].cost > 0}
        assert had <= set(bought)
    assert found.stages[1].kit.finish_time <= found.stages[0].kit.finish_time + 1e-6


def test_a_test_is_worth_more_the_less_is_known(weighing):
    _, found = weighing
    for test in found.tests:
        assert 0.0 <= test.halved <= test.perfect <= 0.3990 * test.doubt
    order = [test.halved for test in found.tests]
    assert order == sorted(order, reverse=True)


def test_the_safe_plan_is_within_the_risk(weighing):
    _, found = weighing
    assert found.safe_emptying <= 0.1
    assert found.safe.finish_time >= found.plan.finish_time - 1e-6


@pytest.mark.parametrize("by", ["quantile", "cvar", "target"])
def test_other_criteria(by, weighing):
    wanted, mean = weighing
    rng = np.random.default_rng(6)
    _, effects = catalogue(rng, (2, 2, 2, 2, 1))
    target = mean.score
    found = weigh_kit(RaceDay(road(rng, length=10_000.0), wind(3.0, 1.0), RIDER, step=400.0),
                      BASELINE, wanted, effects, 700.0, "EUR", count=120, by=by, target=target)
    assert found.chosen.spend <= 700.0
    if by == "target":
        assert 0.2 <= found.score <= 1.0
    else:
        assert found.score > mean.score - 1.0


@pytest.mark.parametrize("distance", [0.0, 0.3, 1.0, 2.5])
def test_unit_normal_loss(distance):
    """Raiffa and Schlaifer 1961: the integral itself, by quadrature."""
    expected = quad(lambda x: (x - distance) * norm.pdf(x), distance, 12)[0]
    assert unit_loss(distance) == pytest.approx(expected, abs=1e-8)


@pytest.mark.parametrize("seed", range(5))
def test_a_shared_budget_is_the_best_of_all_splits(seed):
    rng = np.random.default_rng(seed)

    def frontier():
        spend = np.sort(np.concatenate([[0.0], rng.uniform(10, 400, 5).round()]))
        time = 3600 - np.sort(np.concatenate([[0.0], rng.uniform(1, 90, 5)]))
        return [KitSet((f"{s}",), float(s), BASELINE, float(t), float(t))
                for s, t in zip(spend, time, strict=True)]

    riders = [frontier() for _ in range(3)]
    got = share_budget(riders, 500.0)
    best = min(sum(kit.finish_time for kit in picked) for picked in itertools.product(*riders)
               if sum(kit.spend for kit in picked) <= 500.0)
    assert sum(kit.finish_time for kit in got) == pytest.approx(best)
    assert sum(kit.spend for kit in got) <= 500.0
