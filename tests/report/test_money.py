"""What the best kit without an item loses, beside the best kit at every price."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.kit import Choice, KitSet
from optimizer.kit.choice import Alternative
from optimizer.physics import Setup
from optimizer.report.money import money_parts, slower_without


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
