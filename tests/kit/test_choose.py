"""Choosing kit: what is allowed, what is said about it, and the order of money and time."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from optimizer.day import RaceDay
from optimizer.errors import Infeasible
from optimizer.evidence import Effect
from optimizer.kit import Catalogue, Item, RuleSet, choose_kit
from optimizer.kit.crosswind import strongest_crosswind
from tests.kit.invented import BASELINE, RIDER, catalogue, road, wind

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
                           item("owned", "helmet", 200.0, 0.005, owned=True),
                           item("slow", "clothing", 0.0, -0.004))
    choice = choose(wanted, effects, 0.0)
    assert choice.best.items == ("owned",)
    assert choice.best.finish_time == choice.owned.finish_time


def test_a_budget_below_zero_is_refused():
    with pytest.raises(Infeasible, match="no amount"):
        choose(Catalogue(()), (), -1.0)
    with pytest.raises(Infeasible, match="no amount"):
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


def test_requirements_and_exclusions_hold():
    wanted, effects = shop(
        item("hidden cables", "cables", 100.0, 0.004, requires=("cockpit",)),
        item("cockpit", "cockpit", 200.0, 0.001, excludes=("mount",)),
        item("mount", "computer mount", 20.0, 0.002))
    rich = choose(wanted, effects, 1000.0)
    assert set(rich.best.items) == {"hidden cables", "cockpit"}
    assert choose(wanted, effects, 250.0).best.items == ("mount",)


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
