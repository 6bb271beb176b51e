"""What the best kit without an item loses, beside the best kit at every price."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.kit import Catalogue, Choice, Item, KitSet
from optimizer.kit.choice import Alternative
from optimizer.kit.rivals import Rival
from optimizer.physics import Setup
from optimizer.report.money import (
    each_buys,
    frontier,
    last_money_words,
    money_parts,
    slower_without,
)


def kit(spend, time, *items):
    return KitSet(items, spend, Setup("bike", mass=8.0, rolling_resistance=0.004), time, time)


def test_no_loss_is_larger_than_the_best_kit_at_every_price_shows():
    owned, without, best = kit(0, 3700.0), kit(300, 3602.6, "suit"), kit(
        332, 3600.0, "suit", "box")
    dearer = kit(500, 3590.0, "suit", "disc")
    choice = Choice(400.0, "EUR", owned, best, (owned, without, best, dearer), 0.0, alternatives=(
        Alternative("box", kit(310, 3607.1, "suit", "belt"), 7.1),
        Alternative("suit", kit(32, 3680.0, "box"), 80.0),
        Alternative("disc", kit(400, 3604.0, "disc"), 4.0)))
    assert slower_without(choice) == pytest.approx({"box": 2.6, "suit": 80.0})


@pytest.mark.parametrize(("budget", "head"), [
    (1500.0, "The best kit for 1,500 EUR: "), (0.0, "The best kit without spending any money: ")])
def test_no_money_is_no_sum(result, budget, head):
    choice = replace(result.choice, budget=budget,
                     best=replace(result.choice.best, spend=min(result.choice.best.spend, budget)))
    basket = money_parts(replace(result, choice=choice))[0]
    assert basket.caption.replace("\N{NO-BREAK SPACE}", " ").startswith(head)


def test_the_last_money_is_told_item_by_item():
    """A dear item that is bought only because money is left does not hide behind the sum."""
    owned, best = kit(0, 3700.0), kit(460, 3600.0, "suit", "covers", "saddle")
    rival = kit(300, 3608.6, "suit")
    choice = Choice(500.0, "EUR", owned, best, (owned, rival, best), 0.0, alternatives=(
        Alternative("covers", kit(420, 3606.6, "suit", "saddle"), 6.6),
        Alternative("saddle", kit(340, 3602.0, "suit", "covers"), 2.0),
        Alternative("suit", kit(160, 3680.0, "covers", "saddle"), 80.0)))
    shop = Catalogue((Item("suit", "clothing", 300.0), Item("covers", "shoes", 40.0),
                      Item("saddle", "saddle", 120.0)))
    behind = Rival(rival, 0.0, 0.0, 0.0, 0.0, (-2.0, 8.6, 19.0), 0.85)
    assert each_buys(choice, shop, best, behind).replace("\N{NO-BREAK SPACE}", " ") == (
        "Item by item: without saddle (120 EUR) the best kit is 2.0 s slower, without covers "
        "(40 EUR) 6.6 s.")
    one_more = replace(behind, kit=kit(340, 3602.0, "suit", "covers"))
    assert not each_buys(choice, shop, best, one_more)
    assert not each_buys(choice, shop, best, None)
    instead = Catalogue((*shop.items, Item("belt", "clothing", 130.0)))
    other = replace(behind, kit=kit(430, 3609.0, "suit", "belt"))
    assert not each_buys(choice, instead, best, other)


def test_a_sure_and_small_loss_beside_a_large_and_unsure_one_is_explained(result):
    owned, best = result.choice.owned, kit(460, 3600.0, "suit", "saddle")
    far, near = kit(300, 3608.0, "covers"), kit(340, 3602.0, "suit")
    choice = replace(result.choice, budget=500.0, best=best, frontier=(owned, far, near, best))

    def note(sure):
        rivals = tuple(Rival(one, 0.0, 0.0, 0.0, 0.0, (0.0, 5.0, 9.0), chance)
                       for one, chance in ((owned, 1.0), (far, 0.8), (near, sure)))
        return frontier(replace(result, choice=choice, rivals=rivals)).note
    assert "slower by little and surely" in note(0.99)
    assert "slower by little and surely" not in note(0.85)


@pytest.mark.parametrize(("chance", "even", "says"), [
    (0.85, False, "likely save 5.6 s, but not surely: with them you are faster on 85 days in 100"),
    (0.55, True, "buy little that is sure: with them you are faster on 55 days in 100"),
    (0.85, True, "save only 5.6 s: with them you are faster on 85 days in 100")])
def test_what_the_first_and_the_last_money_buys(chance, even, says):
    owned, first, best = kit(0, 1720.0), kit(145, 1693.8, "tyres"), kit(465, 1688.2, "tyres", "b")
    rival = Rival(first, 0.0, 0.0, 0.0, 0.0, (-3.3, 5.6, 14.0), chance)
    told = last_money_words(rival, best, owned, "EUR", even=even)
    assert told == (f"145 EUR save 26 of the 32 s. The last 320 EUR {says} (90 % range of the "
                    "gain: 3.3 s lost to 14 s won)."
                    + (" Test before you spend them." if chance < 0.6 else ""))
    assert last_money_words(rival, best, owned, "EUR", even=even, odds=False) == (
        told.partition(":")[0] + ".")
    free = replace(rival, kit=kit(0, 1693.8))
    assert last_money_words(free, best, owned, "EUR", even=even).startswith("The last 465 EUR")


def test_clearly_slower_and_clearly_faster_kits_are_told_apart(result):
    best, dearer = result.choice.best, kit(1400, result.choice.best.finish_time - 7.0, "wheels")
    cheaper = kit(100, best.finish_time + 20.0, "suit")
    choice = replace(result.choice, frontier=(cheaper, best, dearer))
    rivals = tuple(Rival(one, 0.0, 0.0, 0.0, 0.0, (0.0, 5.0, 9.0), chance)
                   for one, chance in ((cheaper, 1.0), (dearer, 0.02)))
    rows = frontier(replace(result, choice=choice, rivals=rivals)).table.rows
    assert [row[3] for row in rows] == ["clearly slower", "best kit", "clearly faster"]


def test_a_kit_that_is_a_little_slower_says_what_the_fastest_would_save(result):
    best = kit(435, 1171.5, "suit")
    fastest = kit(475, 1171.3, "suit", "coating")
    choice = replace(result.choice, budget=500.0, least_gain=0.5, best=best,
                     frontier=(result.choice.owned, best, fastest))
    assert choice.fastest == fastest
    assert choice.open_to(best) == pytest.approx(0.2 + choice.proven_gap)
    note = frontier(replace(result, choice=choice)).note
    assert "40 EUR more would save 0.2 s: up to 0.5 s are given up for a cheaper kit." in note
