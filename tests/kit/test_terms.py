"""What items add up to: pairs, regions, masses."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.evidence import Effect
from optimizer.kit import Catalogue, Item, PairFactor, setup_of
from optimizer.kit.catalogue import REGION_FACTOR
from tests.kit.invented import BASELINE


def gain(items, effects, names, **catalogue):
    return -setup_of(BASELINE, Catalogue(items, **catalogue), effects, names).drag_area_change


def things(*gains, region=""):
    items = tuple(Item(f"i{k}", f"other: {k}", 10.0, region=region) for k in range(len(gains)))
    return items, tuple(Effect(f"i{k}", drag_area=np.array([-g])) for k, g in enumerate(gains))


def test_gains_add_up_where_nothing_else_is_said():
    items, effects = things(0.004, 0.006)
    assert gain(items, effects, ["i0", "i1"]) == pytest.approx([0.010])


@pytest.mark.parametrize("factor", [-0.2, 0.3, 1.0])
def test_a_pair_is_as_its_definition_says(factor):
    items, effects = things(0.004, 0.006)
    together = gain(items, effects, ["i0", "i1"], pairs=(PairFactor("i1", "i0", factor),))
    assert together == pytest.approx([0.010 - factor * 0.004])


def test_a_region_shares_by_its_factor_and_a_named_pair_overrules_it():
    items, effects = things(0.004, 0.006, region="front")
    assert gain(items, effects, ["i0", "i1"]) == pytest.approx([0.010 - REGION_FACTOR * 0.004])
    assert gain(items, effects, ["i0", "i1"], region_factors=(("front", 0.5),)) == pytest.approx(
        [0.008])
    assert gain(items, effects, ["i0", "i1"], pairs=(PairFactor("i0", "i1", 0.0),)) == (
        pytest.approx([0.010]))


def test_of_many_that_overlap_each_pays_once():
    items, effects = things(0.002, 0.004, 0.006, 0.008, 0.010, region="front")
    whole = gain(items, effects, [item.name for item in items], region_factors=(("front", 0.5),))
    assert whole == pytest.approx([0.010 + 0.5 * (0.002 + 0.004 + 0.006 + 0.008)])
    more = [gain(items, effects, [f"i{j}" for j in range(k)], region_factors=(("front", 0.5),))[0]
            for k in range(6)]
    assert np.all(np.diff(more) > 0)  # one more gain never takes drag back


def test_of_two_partners_the_one_that_takes_most_counts():
    items, effects = things(0.004, 0.006, 0.008)
    pairs = (PairFactor("i0", "i1", 0.2), PairFactor("i0", "i2", 0.5))
    assert gain(items, effects, ["i0", "i1"], pairs=pairs) == pytest.approx([0.010 - 0.0008])
    assert gain(items, effects, ["i0", "i2"], pairs=pairs) == pytest.approx([0.012 - 0.002])
    assert gain(items, effects, ["i0", "i1", "i2"], pairs=pairs) == pytest.approx([0.018 - 0.002])


def test_a_loss_in_drag_shares_nothing():
    items, effects = things(-0.004, 0.006, region="front")
    assert gain(items, effects, ["i0", "i1"]) == pytest.approx([0.002])


def test_yaw_tables_are_laid_on_one():
    items, _ = things(0.0, 0.0)
    effects = (Effect("i0", yaw=np.radians([0.0, 10.0]), drag_area=np.array([-0.002, -0.006])),
               Effect("i1", drag_area=np.array([-0.001])))
    setup = setup_of(BASELINE, Catalogue(items), effects, ["i0", "i1"])
    assert setup.yaw == pytest.approx(np.radians([0.0, 10.0]))
    assert setup.drag_area_change == pytest.approx([-0.003, -0.007])


def test_gains_that_cross_over_yaw_share_the_smaller_one_at_each_angle():
    items, _ = things(0.0, 0.0)
    yaw = np.radians([0.0, 10.0])
    effects = (Effect("i0", yaw=yaw, drag_area=np.array([-0.002, -0.007])),
               Effect("i1", yaw=yaw, drag_area=np.array([-0.005, -0.006])))
    together = gain(items, effects, ["i0", "i1"], pairs=(PairFactor("i0", "i1", 0.5),))
    assert together == pytest.approx([0.007 - 0.5 * 0.002, 0.013 - 0.5 * 0.006])


@pytest.mark.parametrize("count", [2, 3, 4])
def test_of_equal_gains_all_but_one_pay(count):
    items, effects = things(*[0.004] * count, region="front")
    assert gain(items, effects, [item.name for item in items],
                region_factors=(("front", 0.5),)) == pytest.approx([0.002 * (count + 1)])


def test_everything_else_adds_to_the_baseline():
    items = (Item("a", "wheels", 1.0, mass=-0.2, wheel_inertia=0.01, cornering_factor=0.97,
                  crosswind_limit=12.0),
             Item("b", "tyres", 1.0, mass=0.1, cornering_factor=1.02, crosswind_limit=9.0))
    effects = (Effect("a", efficiency=0.004), Effect("b", rolling_resistance=-0.0005, mass=-0.05))
    setup = setup_of(BASELINE, Catalogue(items), effects, ["b", "a"])
    assert setup.mass == pytest.approx(BASELINE.mass - 0.2 - 0.05)  # evidence over catalogue
    assert setup.rolling_resistance == pytest.approx(BASELINE.rolling_resistance - 0.0005)
    assert setup.drivetrain_efficiency == pytest.approx(BASELINE.drivetrain_efficiency + 0.004)
    assert setup.wheel_inertia == pytest.approx(BASELINE.wheel_inertia + 0.01)
    assert setup.cornering_factor == pytest.approx(0.97 * 1.02)
    assert setup.crosswind_limit == 9.0


def test_an_unknown_item_is_refused():
    with pytest.raises(KeyError):
        setup_of(BASELINE, Catalogue(()), (), ["nothing"])


def test_hire_counts_where_it_is_cheaper():
    assert Item("a", "wheels", 900.0, hire_price=120.0).cost == 120.0
    assert Item("a", "wheels", 90.0, hire_price=120.0).cost == 90.0
    assert Item("a", "wheels", 900.0, owned=True, hire_price=120.0).cost == 0.0


def test_a_catalogue_knows_its_items_by_name():
    items, _ = things(0.1, 0.2)
    assert Catalogue(items)["i1"] is items[1]
    with pytest.raises(KeyError, match="i7"):
        Catalogue(items)["i7"]
