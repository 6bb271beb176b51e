"""Choosing kit: what is allowed, what is said about it, and the order of money and time."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from optimizer.day import RaceDay
from optimizer.errors import Infeasible
from optimizer.evidence import Effect
from optimizer.kit import Catalogue, Item, RuleSet, choose_kit, setup_of
from optimizer.kit.choice import KitSet
from optimizer.kit.choose import _still_faster, compared, search_on
from optimizer.kit.crosswind import OWN_WHEELS, strongest_crosswind
from optimizer.kit.evaluator import pacing_evaluator
from tests.kit.invented import BASELINE, RIDER, catalogue, every_set, road, wind
from tests.later import later

COURSE = road(np.random.default_rng(5), length=10_000.0)
CALM = wind(0.0, 0.0)


def choose(wanted, effects, budget=1000.0, weather=CALM, **options):
    return choose_kit(RaceDay(COURSE, weather, RIDER, step=400.0), BASELINE, wanted, effects,
                      budget, "EUR", **options)


def item(name, place, price, gain, **more):
    return Item(name, place, price, **more), Effect(name, drag_area=np.array([-gain]))


def shop(*pairs):
    return Catalogue(tuple(thing for thing, _ in pairs)), tuple(effect for _, effect in pairs)


@pytest.fixture(scope="module")
def wide():
    wanted, effects = catalogue(np.random.default_rng(2), (2, 2, 2, 2, 2))
    return wanted, effects, choose(wanted, effects, 500.0)


def test_without_a_catalogue_the_bike_stays_as_it_is():
    choice = choose(Catalogue(()), ())
    assert choice.best.items == choice.owned.items == ()
    assert choice.best.finish_time == choice.owned.finish_time
    assert choice.best.spend == 0.0
    assert len(choice.frontier) == 1


def test_without_money_only_what_is_owned_or_free_is_used():
    wanted, effects = shop(item("bought", "wheels", 300.0, 0.010),
                           item("a coin", "gloves", 1.0, 0.003),
                           item("owned", "helmet", 200.0, 0.005, owned=True),
                           item("slow", "clothing", 0.0, -0.004))
    choice = choose(wanted, effects, 0.0)
    assert choice.best.items == ("owned",)
    assert choice.best.finish_time == choice.owned.finish_time


def test_a_budget_below_zero_is_refused():
    with pytest.raises(Infeasible, match="not an amount"):
        choose(Catalogue(()), (), -1.0)
    with pytest.raises(Infeasible, match="not an amount"):
        choose(Catalogue(()), (), float("nan"))


def test_rules_in_force_rule_out():
    wanted, effects = shop(item("disc", "rear wheel", 300.0, 0.010,
                                forbidden_by=("mass start",)),
                           item("cover", "rear wheel", 90.0, 0.006))
    assert choose(wanted, effects).best.items == ("disc",)
    choice = choose(wanted, effects, rules=("mass start",))
    assert choice.best.items == ("cover",)
    assert dict(choice.left_out)["disc"] == "not allowed by mass start"
    own = RuleSet("club", items=(("cover", "no covers"),), places=(("helmet", "none"),))
    marked = own.apply(wanted)
    assert marked["cover"].forbidden_by == ("club",)
    assert choose(marked, effects, rules=("mass start", "club")).best.items == ()


def test_too_much_cross_wind_rules_out():
    wanted, effects = shop(item("deep", "wheels", 100.0, 0.010, crosswind_limit=4.0))
    gale = wind(15.0, 0.3 + np.pi / 2)
    assert strongest_crosswind(COURSE, CALM) == 0.0
    assert strongest_crosswind(COURSE, gale) > 8.0
    gusty = replace(gale, gust=2.0 * gale.wind_speed)
    assert strongest_crosswind(COURSE, gusty) == pytest.approx(
        2.0 * strongest_crosswind(COURSE, gale))
    assert choose(wanted, effects).best.items == ("deep",)
    choice = choose(wanted, effects, weather=gale)
    assert choice.best.items == ()
    assert "cross wind" in dict(choice.left_out)["deep"]


@pytest.mark.parametrize("budget", [0.0, 150.0, 400.0])
def test_wheels_that_are_there_are_ridden_where_those_of_the_bike_may_not_be(budget):
    """The best of all sets that hold them, each planned, although the bike's own are faster."""
    wanted, effects = shop(item("round", "wheels", 0.0, -0.004, owned=True),
                           item("deep", "wheels", 120.0, 0.010, crosswind_limit=4.0),
                           item("shallow", "wheels", 300.0, 0.003, excludes=("suit",)),
                           item("suit", "clothing", 100.0, 0.006),
                           item("helmet", "helmet", 150.0, 0.005))
    day = RaceDay(COURSE, wind(15.0, 0.3 + np.pi / 2), RIDER, step=400.0)
    bike = replace(BASELINE, crosswind_limit=5.0)
    choice = choose_kit(day, bike, wanted, effects, budget, "EUR", twice=True)
    evaluator = pacing_evaluator(day, bike)
    best = min((names for names in every_set(wanted) if {"round", "shallow"} & set(names)
                and "deep" not in names and sum(wanted[name].cost for name in names) <= budget),
               key=lambda names: evaluator.plan(setup_of(bike, wanted, effects, names)).finish_time)
    assert set(choice.best.items) == set(best)
    assert choice.owned.items == ("round",)
    assert all({"round", "shallow"} & set(kit.items) for kit in choice.frontier)
    assert choice.program_gap < 0.05
    assert dict(choice.left_out)[OWN_WHEELS].endswith("above their limit of 18 km/h")
    calm = choose_kit(replace(day, conditions=CALM), bike, wanted, effects, 0.0, "EUR")
    assert calm.best.items == ()
    assert OWN_WHEELS not in dict(calm.left_out)


@pytest.mark.parametrize("budget", [0.0, 100.0, 600.0])
@pytest.mark.parametrize("order", [-1, *later(1)])
def test_wheels_that_are_there_but_need_more_are_found_in_any_order_of_the_rows(budget, order):
    """The free wheels need slower tyres; brute force over all sets that hold some wheels."""
    wanted, effects = shop(*[item("deep", "wheels", 500.0, 0.010),
                             item("helmet", "helmet", 90.0, 0.005),
                             item("round", "wheels", 0.0, -0.004, owned=True, requires=("tyres",)),
                             item("tyres", "tyres", 0.0, -0.006, owned=True)][::order])
    day = RaceDay(COURSE, wind(15.0, 0.3 + np.pi / 2), RIDER, step=400.0)
    bike = replace(BASELINE, crosswind_limit=5.0)
    choice = choose_kit(day, bike, wanted, effects, budget, "EUR", twice=True)
    evaluator = pacing_evaluator(day, bike)

    def best(money):
        return min((names for names in every_set(wanted) if {"round", "deep"} & set(names)
                    and sum(wanted[name].cost for name in names) <= money),
                   key=lambda names: evaluator.plan(
                       setup_of(bike, wanted, effects, names)).finish_time)

    assert set(choice.best.items) == set(best(budget))
    assert set(choice.owned.items) == {"round", "tyres"}
    assert {frozenset(kit.items) for kit in choice.frontier} == {
        frozenset(best(money)) for money in (0.0, 90.0, 500.0, 590.0)}
    assert choice.proven_gap < 0.05
    assert choice.program_gap < 0.05


def test_without_other_wheels_the_bike_is_planned_as_it_stands():
    wanted, effects = shop(item("suit", "clothing", 100.0, 0.006))
    gale = RaceDay(COURSE, wind(15.0, 0.3 + np.pi / 2), RIDER, step=400.0)
    bike = replace(BASELINE, crosswind_limit=5.0)
    assert choose_kit(gale, bike, wanted, effects, 100.0, "EUR").best.items == ("suit",)


def test_requirements_and_exclusions_hold():
    wanted, effects = shop(
        item("hidden cables", "cables", 100.0, 0.004, requires=("cockpit",)),
        item("cockpit", "cockpit", 200.0, 0.001, excludes=("mount",)),
        item("mount", "computer mount", 20.0, 0.002))
    rich = choose(wanted, effects, 1000.0)
    assert set(rich.best.items) == {"hidden cables", "cockpit"}
    assert choose(wanted, effects, 250.0).best.items == ("mount",)


def test_the_seconds_that_a_purchase_has_to_save_are_told():
    wanted, effects = shop(item("owned", "helmet", 0.0, 0.005, owned=True),
                           item("bought", "wheels", 300.0, 0.010))
    assert choose(wanted, effects, least_gain=0.7).least_gain == 0.7
    assert choose(wanted, effects).least_gain == 0.0


def test_hiring_counts_where_it_is_cheaper():
    wanted, effects = shop(item("disc", "rear wheel", 900.0, 0.010, hire_price=90.0))
    choice = choose(wanted, effects, 100.0)
    assert choice.best.items == ("disc",)
    assert choice.best.spend == 90.0


def test_the_frontier_falls_and_holds_the_best(wide):
    _, _, choice = wide
    spends = [kit.spend for kit in choice.frontier]
    times = [kit.finish_time for kit in choice.frontier]
    assert spends == sorted(spends)
    assert all(later < earlier for earlier, later in itertools.pairwise(times))
    assert choice.frontier[0].finish_time == pytest.approx(choice.owned.finish_time, abs=1e-6)
    within = [kit for kit in choice.frontier if kit.spend <= 500.0]
    assert within[-1].finish_time == pytest.approx(choice.best.finish_time, abs=1e-6)
    for kit in choice.frontier:
        assert kit.lower_bound <= kit.finish_time
        assert kit.finish_time - kit.lower_bound <= 0.1


def test_what_is_beaten_in_the_end_leaves_the_frontier_but_for_both_ends():
    def kit(name, spend, time):
        return KitSet((name,), spend, BASELINE, time, time)

    slow, quick = kit("owned", 0.0, 1000.2), kit("free", 0.0, 1000.0)
    beaten, level, best = (kit("beaten", 50.0, 1000.1), kit("level", 60.0, 1000.0),
                           kit("best", 70.0, 999.0))
    found = _still_faster([quick, beaten, level, best], [slow, best])
    assert found == (slow, quick, best)  # of one price the slower first: times fall
    alike = kit("no weight", 70.0, 998.998)
    assert _still_faster([quick, alike, best], [slow, best]) == found  # and no twin of the best
    assert _still_faster([quick, best], [quick, beaten]) == (quick, beaten, best)


@pytest.mark.parametrize(("chosen", "other", "seconds", "says"), [
    ((0,), (1,), 3.21, "is 3.2 s slower"), ((0,), (1,), 0.0, "is 0.0 s slower"),
    ((0,), (1,), 12.4, "is 12 s slower"), ((0,), (1,), 119.4, "is 119 s slower"),
    ((0,), (1,), 185.0, "is 3 min 05 s slower"), ((1,), (0,), -0.3, "is as fast"),
    ((0,), (0, 2), -0.3, "is as fast"),  # what costs nothing is no purchase
    ((0,), (0, 1), -0.05, "is as fast, but costs 200 EUR more"),
    ((0,), (0, 1), -0.31, "is only 0.3 s faster for 200 EUR more: not worth it")])
def test_a_set_is_compared_in_words(chosen, other, seconds, says):
    wanted, effects = shop(item("one", "wheels", 1.0, 0.010), item("dear", "helmet", 200.0, 0.005),
                           item("free", "gloves", 0.0, 0.002))
    day = RaceDay(COURSE, CALM, RIDER, step=400.0)
    search, _ = search_on(day, BASELINE, wanted, effects, (), pacing_evaluator(day, BASELINE))
    assert compared(search.evaluate(chosen), search.evaluate(other), seconds, "EUR") == says


def test_every_item_is_accounted_for(wide):
    wanted, _, choice = wide
    names = {thing.name for thing in wanted.items}
    assert set(choice.best.items) | {name for name, _ in choice.left_out} == names
    assert {other.item for other in choice.alternatives} == names
    for other in choice.alternatives:
        assert other.seconds >= -choice.proven_gap
        if other.kit is not None:
            assert (other.item in other.kit.items) != (other.item in choice.best.items)
            assert other.kit.spend <= choice.budget + 1e-9


def test_the_same_question_has_the_same_answer(wide):
    wanted, effects, choice = wide
    again = choose(wanted, effects, 500.0)
    assert again.best.items == choice.best.items
    assert [kit.items for kit in again.frontier] == [kit.items for kit in choice.frontier]
    assert [kit.finish_time for kit in again.frontier] == [
        kit.finish_time for kit in choice.frontier]


def test_more_money_is_never_slower(wide):
    wanted, effects, choice = wide
    poorer = choose(wanted, effects, 250.0)
    assert choice.best.finish_time <= poorer.best.finish_time + choice.proven_gap
    assert poorer.best.finish_time <= choice.owned.finish_time + 1e-6
