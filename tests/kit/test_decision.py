"""Advice under uncertainty: what to buy, in which order, what to test, how to share."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from optimizer.day import RaceDay
from optimizer.evidence import Effect
from optimizer.kit import Catalogue, Item, choose_kit, setup_of
from optimizer.kit.decision import _chances, decide_kit, unit_loss
from optimizer.kit.evaluator import pacing_evaluator
from optimizer.uncertainty import MEASURES
from tests.kit.invented import BASELINE, RIDER, catalogue, every_set, road, wind
from tests.later import later


@pytest.fixture(scope="module")
def decision():
    rng = np.random.default_rng(6)
    wanted, effects = catalogue(rng, (2, 2, 2, 2, 1))
    day = RaceDay(road(rng, length=10_000.0), wind(3.0, 1.0), RIDER, step=400.0)
    return wanted, decide_kit(day, BASELINE, wanted, effects, 700.0, "EUR", count=120,
                              stages=(300.0, 700.0))


def test_the_forecast_day_decides_unless_another_criterion_is_asked_for(decision):
    _, found = decision
    assert found.measure.name == "forecast"
    assert found.chosen == found.choice.best
    assert found.chosen.spend <= 700.0
    assert found.spread[0] < found.score < found.spread[1]
    assert found.rivals
    means = [rival.mean for rival in found.rivals]
    assert means == sorted(means)
    for rival in found.rivals:
        assert rival.low < rival.middle < rival.high
        assert (rival.chance > 0.5) == (rival.behind[1] > 0) or rival.behind[1] == 0


def check_one_set(wanted, found):
    """Every table is about the chosen set: each item is in it or left out, and has one figure."""
    left_out = [name for name, _ in found.left_out]
    assert sorted([*found.chosen.items, *left_out]) == sorted(item.name for item in wanted.items)
    decided = {other.item: other for other in found.alternatives}
    assert set(found.chosen.items) <= set(decided)
    for name, other in decided.items():
        if other.kit is not None:
            assert (name in other.kit.items) != (name in found.chosen.items)
            assert other.kit.spend <= found.choice.budget + 1e-9
            assert other.loss >= -0.011


@pytest.mark.parametrize("by", MEASURES)
def test_all_tables_are_about_the_chosen_set_whatever_the_measure(by):
    wanted, effects = catalogue(np.random.default_rng(6), (2, 2, 2, 1))
    day = RaceDay(road(np.random.default_rng(6), length=10_000.0), wind(3.0, 1.0), RIDER,
                  step=400.0)
    found = decide_kit(day, BASELINE, wanted, effects, 500.0, "EUR", count=80, by=by, target=1049.0,
                       least_gain=0.3)
    check_one_set(wanted, found)


def two_wheels(cheap: float, error: float):
    """A choice between a dear and a cheap thing of one place; the standard error of both."""
    things = (Item("dear", "wheels", 900.0), Item("cheap", "wheels", 90.0))
    effects = tuple(Effect(name, drag_area=np.array([-gain]), drag_area_sd=error)
                    for name, gain in (("dear", 0.010), ("cheap", cheap)))
    day = RaceDay(road(np.random.default_rng(6), length=10_000.0), wind(3.0, 1.0), RIDER,
                  step=400.0)
    return day, Catalogue(things), effects


@pytest.mark.parametrize(("cheap", "error", "told"), [
    (0.0098, 0.003, False), (0.0060, 0.0001, True)])
def test_a_cheaper_set_is_named_where_it_cannot_be_told_apart_and_only_there(cheap, error, told):
    day, wanted, effects = two_wheels(cheap, error)
    found = decide_kit(day, BASELINE, wanted, effects, 1000.0, "EUR", count=200)
    assert found.chosen.items == ("dear",)
    rival = next(rival for rival in found.rivals if rival.kit.items == ("cheap",))
    if told:
        assert found.equal is None
        assert found.likely is None
        assert rival.chance >= 0.9
    else:
        assert found.equal.kit.items == ("cheap",)
        assert 0.5 < found.equal.chance < 0.6


def test_a_likely_gain_is_not_called_none():
    """Slower on four days in five: neither as good nor clearly worse."""
    day, wanted, effects = two_wheels(0.0070, 0.0025)
    found = decide_kit(day, BASELINE, wanted, effects, 1000.0, "EUR", count=400)
    assert found.chosen.items == ("dear",)
    assert found.equal is None
    assert found.likely.kit.items == ("cheap",)
    assert 0.7 < found.likely.chance < 0.9


def hired_wheels():
    """A wheel that is dear to buy and cheap to hire, and one thing of each other place to buy."""
    things = (Item("disc", "wheels", 900.0, hire_price=80.0), Item("suit", "clothing", 150.0),
              Item("helmet", "helmet", 120.0))
    effects = tuple(Effect(name, drag_area=np.array([-gain])) for name, gain in (
        ("disc", 0.010), ("suit", 0.008), ("helmet", 0.004)))
    day = RaceDay(road(np.random.default_rng(6), length=10_000.0), wind(3.0, 1.0), RIDER,
                  step=400.0)
    return day, Catalogue(things), effects


def test_money_in_steps_keeps_hiring_and_says_what_is_dropped():
    """100: hire the disc; 160: the suit is worth less than the disc, so still the disc alone;
    240: suit and disc; all by hand from gains and prices.
    """
    day, wanted, effects = hired_wheels()
    found = decide_kit(day, BASELINE, wanted, effects, 240.0, "EUR", count=50,
                      stages=(100.0, 240.0, 360.0))
    first, second, third = found.stages
    assert (first.bought, first.hired, first.spend) == ((), ("disc",), 80.0)
    assert (second.bought, second.hired, second.spend) == (("suit",), ("disc",), 230.0)
    assert (third.bought, third.hired, third.spend) == (("helmet",), ("disc",), 350.0)
    assert all(stage.regret < 0.01 for stage in found.stages)
    before: set[str] = set()
    for stage in found.stages:
        assert set(stage.dropped) == before - set(stage.kit.items)
        before = set(stage.kit.items)


@pytest.mark.parametrize("least_gain", [0.0, 0.5, 4.0, 30.0])
@pytest.mark.parametrize("seed", [6, *later(7, 8, 9)])
def test_more_money_saves_what_it_has_to(seed, least_gain):
    """Brute force: the cheapest set at most that much behind the fastest, within the budget."""
    rng = np.random.default_rng(seed)
    wanted, effects = catalogue(rng, (2, 2, 2, 1))
    day = RaceDay(road(rng, length=10_000.0), wind(3.0, 1.0), RIDER, step=400.0)
    evaluator = pacing_evaluator(day, BASELINE)
    budget = 0.6 * sum(item.cost for item in wanted.items)
    choice = choose_kit(day, BASELINE, wanted, effects, budget, "EUR", evaluator=evaluator,
                        least_gain=least_gain)
    time = {names: evaluator.plan(setup_of(BASELINE, wanted, effects, names)).finish_time
            for names in every_set(wanted)
            if sum(wanted[name].cost for name in names) <= budget + 1e-9}
    fastest, mine = min(time.values()), time[choice.best.items]
    assert choice.best.spend <= budget
    assert mine <= fastest + least_gain + 0.02
    for names, seconds in time.items():
        spend = sum(wanted[name].cost for name in names)
        if spend < choice.best.spend - 1e-6:
            assert seconds > fastest + least_gain - 0.02
        elif spend < choice.best.spend + 1e-6:
            assert seconds > mine - 0.02
    assert mine <= fastest + choice.open_to(choice.best) + 0.02
    for other in choice.alternatives:  # what a thing is good for: nothing as cheap does without
        if other.kit is not None and other.item in choice.best.items:
            assert other.kit.spend <= choice.best.spend + 1e-6
            assert other.seconds >= -0.02


def test_purchases_are_single_and_ranked(decision):
    wanted, found = decision
    prices = [purchase.price_per_second for purchase in found.purchases]
    assert prices == sorted(prices)
    assert found.purchases
    for purchase in found.purchases:
        assert purchase.seconds > 0
        assert purchase.low < purchase.high
        assert purchase.spend == pytest.approx(sum(wanted[name].cost for name in purchase.items))


def test_stages_buy_nothing_twice_and_keep_to_the_money(decision):
    wanted, found = decision
    bought: list[str] = []
    for stage in found.stages:
        assert not set(bought) & set(stage.bought)
        bought += stage.bought
        assert sum(wanted[name].price for name in bought) <= stage.money + 1e-9
        assert stage.regret >= 0.0
        had = {name for name in stage.kit.items if wanted[name].cost > 0}
        assert had <= set(bought)
    assert found.stages[1].kit.finish_time <= found.stages[0].kit.finish_time + 1e-6
    for stage in found.stages:
        assert stage.spend == pytest.approx(sum(wanted[name].price for name in bought[:len(
            stage.bought)]) if stage is found.stages[0] else sum(wanted[n].price for n in bought))


def test_a_test_is_worth_more_the_less_is_known(decision):
    _, found = decision
    for test in found.tests:
        assert 0.0 <= test.halved <= test.perfect <= 0.3990 * test.uncertainty
    order = [test.halved for test in found.tests]
    assert order == sorted(order, reverse=True)
    wanted = {item.name: item for item in decision[0].items}
    assert all(wanted[test.item].cost > 0 for test in found.tests)
    assert all(round(test.money) > 0 for test in found.tests)


def test_what_a_test_is_worth_is_the_mean_of_what_it_saves(decision):
    """By quadrature: with perfect knowledge the better of two sets is ridden, whichever it is.

    The difference d of the two is normal about what is known now; who does not test rides the one
    that is better on average, who knows d the better one: E max(0, -d) (Raiffa and Schlaifer
    1961, chapter 5).
    """
    _, found = decision
    assert found.tests
    others = {other.item: other.kit for other in found.alternatives}
    behind = {test.item: max(others[test.item].finish_time - found.chosen.finish_time, 0.0)
              for test in found.tests}
    assert max(behind.values()) > 0.5
    for test in found.tests:
        for worth, sd in ((test.perfect, test.uncertainty),
                          (test.halved, test.uncertainty * 0.75**0.5)):
            mean = behind[test.item]
            expected = quad(lambda x, m=mean, s=sd: -x * norm.pdf(x, m, s), mean - 12 * sd, 0.0)[0]
            assert worth == pytest.approx(expected, rel=1e-6, abs=1e-9)


@pytest.mark.parametrize(("fewer", "says"), [
    (0.04, "beats the target on 4 days in 100 fewer"),
    (0.0101, "beats the target on 1 day in 100 fewer"),
    (-0.12, "beats the target on only 12 days in 100 more: not worth its price"),
    (0.003, "beats the target on as many days"), (-0.003, "beats the target on as many days")])
def test_chances_in_words(fewer, says):
    assert _chances(fewer) == says


def test_the_range_of_a_rival_leaves_one_day_in_twenty_on_either_side():
    """Differences of two sets by the gains of items are normal: 1.645 standard errors each way."""
    day, wanted, effects = two_wheels(0.0098, 0.003)
    found = decide_kit(day, BASELINE, wanted, effects, 1000.0, "EUR", count=400)
    (rival,) = (rival for rival in found.rivals if rival.kit.items == ("cheap",))
    _, _, known = two_wheels(0.0068, 0.003)
    evaluator = pacing_evaluator(day, BASELINE)
    slope = (evaluator.plan(setup_of(BASELINE, wanted, known, ("cheap",))).finish_time
             - evaluator.plan(setup_of(BASELINE, wanted, effects, ("cheap",))).finish_time) / 0.003
    low, _, high = rival.behind
    assert (high - low) / 2 == pytest.approx(1.6449 * slope * 0.003 * 2**0.5, rel=0.03)


@pytest.mark.parametrize(("least_gain", "trifle", "bought"), [
    (0.5, 0.0001, 1), (100.0, 0.0001, 0),
    (0.05, 0.00004, 1)])  # saves its seconds, but wins less than half a day in a hundred
def test_a_purchase_has_to_save_its_seconds_for_a_target_too(least_gain, trifle, bought):
    """A wheel that saves some 17 s and a trifle of 0.2 s, with a target that both may beat."""
    things = (Item("wheel", "wheels", 100.0), Item("trifle", "cables", 35.0))
    effects = (Effect("wheel", drag_area=np.array([-0.010]), drag_area_sd=0.003),
               Effect("trifle", drag_area=np.array([-trifle])))
    day, _, _ = two_wheels(0.005, 0.003)
    kwargs = {"by": "target", "count": 200, "least_gain": least_gain}
    wanted = Catalogue(things)
    middle = decide_kit(day, BASELINE, wanted, effects, 300.0, "EUR", count=200).score
    found = decide_kit(day, BASELINE, wanted, effects, 300.0, "EUR", target=middle, **kwargs)
    assert found.chosen.items == ("wheel",)[:bought]
    losses = {other.item: other.loss for other in found.alternatives}
    assert losses["trifle"] < 0.05  # in days


def test_what_is_lost_is_in_plain_seconds():
    wanted, effects = catalogue(np.random.default_rng(6), (2, 2, 2, 1))
    day = RaceDay(road(np.random.default_rng(6), length=10_000.0), wind(3.0, 1.0), RIDER,
                  step=400.0)
    found = decide_kit(day, BASELINE, wanted, effects, 500.0, "EUR", count=60, least_gain=0.3)
    for other in found.alternatives:
        if other.kit is not None:
            assert other.loss == pytest.approx(
                other.kit.finish_time - found.chosen.finish_time, abs=0.05)


@pytest.mark.parametrize("by", ["quantile", "cvar", "target"])
def test_other_criteria_choose_what_scores_best_by_them(by):
    """The dear thing is faster in the mean, the cheap one on bad days: its gain is known better."""
    day, wanted, effects = two_wheels(0.0085, 0.0001)
    effects = (dataclasses.replace(effects[0], drag_area_sd=0.009), effects[1])
    mean = decide_kit(day, BASELINE, wanted, effects, 1000.0, "EUR", count=400, by="mean")
    assert mean.chosen.items == ("dear",)
    dear, cheap = mean, next(r for r in mean.rivals if r.kit.items == ("cheap",))
    assert cheap.high < dear.spread[1]
    target = 0.3 * cheap.high + 0.7 * dear.spread[1]
    found = decide_kit(day, BASELINE, wanted, effects, 1000.0, "EUR", count=400, by=by,
                       level=0.95, target=target)
    assert found.chosen.items == ("cheap",)
    if by == "quantile":
        assert found.score == pytest.approx(found.spread[1], abs=1e-6)
        assert found.score < min(rival.high for rival in found.rivals)
    elif by == "cvar":  # the worst days are worse than the point at which they begin
        assert found.score > found.spread[1]
    else:
        assert 0.95 < found.score <= 1.0


@pytest.mark.parametrize("distance", [0.0, 0.3, 1.0, 2.5])
def test_unit_normal_loss(distance):
    """Raiffa and Schlaifer 1961: the integral itself, by quadrature."""
    expected = quad(lambda x: (x - distance) * norm.pdf(x), distance, 12)[0]
    assert unit_loss(distance) == pytest.approx(expected, abs=1e-8)
