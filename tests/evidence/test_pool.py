"""Pooling, priors, and what is said about them."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from optimizer.errors import InputError
from optimizer.evidence import Datum, Reference, pool_effects
from optimizer.evidence.datum import Figure
from optimizer.evidence.figures import read_figure
from optimizer.evidence.pool import observe, pool, pool_items
from optimizer.evidence.priors import default_priors
from optimizer.evidence.yaw import hat_weights, road_weights

HERE = Reference.of(drag_area=0.26, mass=80.0, rolling_resistance=0.004, efficiency=0.976,
                    air_density=1.2, speed=12.0)


def datum(value, sd=0.001, **other):
    return Datum(**{"item": "helmet", "figure": Figure("drag_area", value, text=f"{value} m2"),
                    "test": "tunnel with rider", "measured_by": "independent",
                    "uncertainty": sd, "source": "a", **other})


def effect(*data):
    return pool_effects(data, HERE)[0]


def test_one_datum_is_itself():
    found = effect(datum(-0.004))
    assert found.drag_area[0] == pytest.approx(-0.004)
    priors = default_priors()
    trust = priors.test["tunnel with rider"]
    assert found.drag_area_sd == pytest.approx(
        math.hypot(0.001, trust.factor_sd * 0.004, priors.between_share * 0.004))
    assert any("one source only" in words for words in found.warnings)


def test_two_that_agree_are_surer_than_one():
    one, two = effect(datum(-0.004)), effect(datum(-0.004), datum(-0.004, source="b"))
    assert two.drag_area_sd < one.drag_area_sd
    assert two.disagreement == 0.0
    assert two.data == 2


def test_disagreement_is_called_by_name():
    found = effect(datum(-0.004, 3e-4), datum(-0.0042, 3e-4, source="b"),
                   datum(0.001, 3e-4, source="the odd one"))
    assert found.disagreement > 0.8
    assert any("disagree" in words and "the odd one" in words for words in found.warnings)
    quiet = effect(datum(-0.004, 3e-4), datum(-0.0042, 3e-4, source="b"))
    assert found.drag_area_sd > 2 * quiet.drag_area_sd


def test_doubt_about_a_kind_of_test_does_not_average_out():
    many = [datum(-0.004, 1e-4, test="tunnel without rider", source=f"s{k}") for k in range(100)]
    trust = default_priors().test["tunnel without rider"]
    assert effect(*many).drag_area_sd == pytest.approx(trust.factor_sd * 0.004, rel=0.02)


def test_data_of_one_source_share_what_sets_it_apart():
    def pooled(sources):
        return effect(*(datum(value, 2e-4, source=source) for value, source in zip(
            (-0.002, -0.002, -0.006, -0.006), sources, strict=True)))

    assert pooled("aabb").drag_area_sd > 1.2 * pooled("abcd").drag_area_sd


def test_seller_and_riderless_figures_shrink_by_their_priors():
    priors = default_priors()
    plain = observe(datum(-0.004), HERE)
    seller = observe(datum(-0.004, measured_by="seller"), HERE)
    bare = observe(datum(-0.004, test="tunnel without rider"), HERE)
    assert plain.value == pytest.approx(-0.004)
    assert seller.value == pytest.approx(-0.004 * priors.measured_by["seller"].factor)
    assert bare.value == pytest.approx(-0.004 * priors.test["tunnel without rider"].factor)
    assert seller.shared_sd > plain.shared_sd
    assert bare.shared_sd > plain.shared_sd


def test_priors_are_an_argument():
    priors = default_priors()
    trusting = replace(priors, measured_by={
        **priors.measured_by, "seller": replace(priors.measured_by["seller"], factor=1.0)})
    found = pool_effects([datum(-0.004, measured_by="seller")], HERE, trusting)[0]
    assert found.drag_area[0] == pytest.approx(-0.004)


def test_a_leading_source_is_named():
    found = effect(datum(-0.004, 1e-4, source="the exact one", test="field"),
                   datum(-0.004, 0.004, source="b", test="velodrome"))
    assert any("the exact one has" in words for words in found.warnings)


def test_yaw_angles_make_a_table_and_a_range_speaks_for_its_mean():
    angles = [(math.radians(a), math.radians(a)) for a in (0, 10)]
    sweep = [datum(-0.002, yaw=angles[0]), datum(-0.006, yaw=angles[1])]
    found = effect(*sweep)
    assert found.yaw == pytest.approx(np.radians([0, 10]))
    assert found.drag_area == pytest.approx([-0.002, -0.006])
    ranged = datum(-0.004, 1e-6, yaw=(0.0, math.radians(10)), source="b")
    assert effect(*sweep, ranged).drag_area.mean() == pytest.approx(-0.004, abs=1e-5)


def test_one_angle_holds_everywhere_and_an_oblique_one_is_said():
    found = effect(datum(-0.002, yaw=(math.radians(10), math.radians(10))))
    assert found.yaw == pytest.approx([0.0])
    assert any("10° of yaw" in words for words in found.warnings)


def test_a_figure_without_yaw_counts_as_the_mean_on_the_road():
    sweep = [datum(-0.002, yaw=(0.0, 0.0)), datum(-0.006, yaw=(math.radians(10),) * 2)]
    found = effect(*sweep, datum(-0.0034, source="b"))
    assert any("without a yaw" in words for words in found.warnings)
    weights = road_weights(found.yaw, default_priors().yaw_90_percent)
    assert float(weights @ found.drag_area) == pytest.approx(-0.0036, abs=3e-4)


def test_properties_are_pooled_apart():
    figures = ["Crr -0.0004", "efficiency +0.5 %", "+120 g mass", "saves 4 W rolling @ 45 km/h"]
    data = [datum(0.0, None, figure=read_figure(text), test="rule of thumb") for text in figures]
    found = effect(*data)
    assert found.rolling_resistance < 0 < found.rolling_resistance_sd
    assert found.efficiency == pytest.approx(0.005)
    assert found.mass == pytest.approx(0.12)
    assert found.drag_area == pytest.approx([0.0])
    assert found.drag_area_sd == 0.0
    assert set(pool_items(data, HERE)[0].pools) == {"rolling_resistance", "efficiency", "mass"}


def test_runs_halve_the_doubt_at_four():
    one = observe(datum(-0.004, None, runs=1), HERE)
    four = observe(datum(-0.004, None, runs=4), HERE)
    assert four.sd == pytest.approx(one.sd / 2)


def test_doubt_in_the_figure_counts_like_doubt_in_its_column():
    inside = observe(datum(0, None, figure=read_figure("-0.004 ± 0.0009 m2")), HERE)
    beside = observe(datum(-0.004, 0.0009), HERE)
    assert inside.sd == pytest.approx(beside.sd)


def test_a_stated_doubt_of_zero_is_not_believed():
    assert observe(datum(-0.004, 0.0), HERE).sd > 0


def test_order_of_items_and_of_data_does_not_matter():
    data = [datum(-0.004), datum(-0.002, source="b"), datum(-0.001, item="socks")]
    forward, backward = pool_effects(data, HERE), pool_effects(data[::-1], HERE)
    assert [e.item for e in forward] == ["helmet", "socks"]
    by_name = {e.item: e for e in backward}
    for e in forward:
        assert by_name[e.item].drag_area == pytest.approx(e.drag_area, rel=1e-12)
        assert by_name[e.item].drag_area_sd == pytest.approx(e.drag_area_sd, rel=1e-12)


def test_pool_of_equal_variances_is_the_mean():
    pooled = pool(np.array([1.0, 2.0, 3.0]), np.array([1.0, 1.0, 1.0]))
    assert pooled.mean[0] == pytest.approx(2.0)
    assert pooled.q == pytest.approx(2.0)
    assert pooled.between == 0.0
    assert pooled.covariance[0, 0] == pytest.approx(1 / 3)


def test_yaw_weights():
    nodes = np.radians([0.0, 5.0, 10.0, 15.0])
    weights = road_weights(nodes, math.radians(16))
    assert weights.sum() == pytest.approx(1.0)
    assert weights[1] > weights[2]  # hats of one width
    assert hat_weights(nodes, 0.0, math.radians(15)) == pytest.approx(
        [1 / 6, 1 / 3, 1 / 3, 1 / 6], abs=0.01)
    assert hat_weights(nodes, nodes[2], nodes[2]) == pytest.approx([0, 0, 1, 0])
    # Nine tenths of the time within 16 degrees at 30 mph: Barry 2018, Proceedings 2:211,
    # quoting Cooper. Mean of an indicator: all weight beyond 16 degrees is the last tenth.
    step = np.radians([0.0, 15.999, 16.001])
    assert road_weights(step, math.radians(16))[2] == pytest.approx(0.1, abs=0.003)


@pytest.mark.parametrize("text", [
    "saves 400 W @ 45 km/h", "-0.2 m2", "Crr -0.004", "efficiency +8 %", "saves 60 kg mass",
    "saves 40:00 / 40 km @ 45 km/h", "costs 0.3 m2"])
def test_refuses_what_no_part_can_do(text):
    with pytest.raises(InputError, match=r"evidence\.csv, row 5, column figure"):
        effect(datum(0.0, None, figure=read_figure(text), place="evidence.csv, row 5"))


@pytest.mark.parametrize(("text", "fine"), [
    ("efficiency +2.3 %", True), ("efficiency +2.5 %", False), ("efficiency -19 %", True),
    ("efficiency -21 %", False), ("-0.12 m2", True), ("-0.14 m2", False),
    ("Crr -0.0019", True), ("Crr -0.0021", False), ("saves 39 kg mass", True)])
def test_half_of_what_there_is_is_the_most_and_all_that_the_drivetrain_loses(text, fine):
    data = datum(0.0, None, figure=read_figure(text))
    if fine:
        assert observe(data, HERE).stated != 0
    else:
        with pytest.raises(InputError, match="more than the"):
            observe(data, HERE)


def test_a_force_over_a_range_of_yaw_is_taken_at_its_middle():
    def stated(yaw):
        return observe(datum(0.0, None, figure=read_figure("saves 30 g @ 45 km/h"), yaw=yaw),
                       HERE).stated

    assert stated((math.radians(5), math.radians(15))) == pytest.approx(
        stated(None) / math.cos(math.radians(10)))


def test_factors_and_their_doubts_multiply():
    priors = default_priors()
    test, seller = priors.test["tunnel without rider"], priors.measured_by["seller"]
    found = observe(datum(-0.004, test="tunnel without rider", measured_by="seller"), HERE)
    assert found.value == pytest.approx(-0.004 * test.factor * seller.factor)
    assert found.shared_sd == pytest.approx(0.004 * math.hypot(
        test.factor_sd * seller.factor, test.factor * seller.factor_sd))
    assert found.sd == pytest.approx(test.factor * seller.factor * 0.001)


def test_what_one_source_says_twice_keeps_its_doubt():
    priors = default_priors()
    values = np.array([-0.002, -0.006])
    found = effect(*(datum(v, 2e-4) for v in values))
    shared = np.abs(values) * math.hypot(priors.test["tunnel with rider"].factor_sd,
                                         priors.measured_by["independent"].factor_sd)
    own = np.full(2, 2e-4**2)
    between = pool(values, own + shared**2).between
    assert between > 0
    influence = pool(values, own + shared**2).influence[0]
    apart = np.sqrt(between + (priors.between_share * values) ** 2)
    assert found.drag_area_sd == pytest.approx(math.sqrt(
        influence**2 @ own + (influence @ shared) ** 2 + (influence @ apart) ** 2))


@pytest.mark.parametrize("odd", [-0.012, 0.004])
def test_the_odd_one_is_found_on_either_side(odd):
    found = effect(datum(-0.004, 3e-4), datum(-0.0042, 3e-4, source="b"),
                   datum(odd, 3e-4, source="the odd one"))
    assert any("farthest out: the odd one" in words for words in found.warnings)


def test_what_it_rests_on_is_counted_by_kind():
    found = effect(datum(-0.004), datum(-0.005, source="b"),
                   datum(-0.004, source="c", test="field", measured_by="seller"))
    assert found.basis == "2 x tunnel with rider, field by a seller"


@pytest.mark.parametrize(("who", "grounds"), [
    (("seller",), "seller"), (("seller", "seller"), "seller"), (("seller", "estimate"), "seller"),
    (("seller", "independent"), "tested"), (("",), "tested"), (("seller", ""), "tested")])
def test_a_gain_rests_on_more_than_its_seller_where_somebody_else_tested_it(who, grounds):
    found = effect(*(datum(-0.004, source=str(k), measured_by=by) for k, by in enumerate(who)))
    assert found.grounds == grounds


def test_who_weighs_an_item_tests_nothing_else_of_it():
    heavy = datum(0.0, figure=read_figure("+120 g mass"), uncertainty=None, source="b")
    assert effect(heavy).grounds == "mass"
    assert effect(heavy, datum(-0.004, measured_by="seller")).grounds == "seller"
    assert effect(heavy, datum(-0.004)).grounds == "tested"


def test_nameless_sources_are_told_apart_by_kind():
    found = effect(datum(-0.004, source=""), datum(-0.0041, source=""))
    assert any(words == "one source only: unnamed tunnel with rider" for words in found.warnings)
    two = effect(datum(-0.004, source=""), datum(-0.0041, source="", measured_by="seller"))
    assert not any("one source" in words for words in two.warnings)


def test_ranges_of_yaw_make_no_table_and_only_a_table_asks_for_angles():
    ranges = effect(datum(-0.004, yaw=(0.0, math.radians(10))),
                    datum(-0.005, yaw=(math.radians(5), math.radians(15)), source="b"))
    assert ranges.yaw == pytest.approx([0.0])
    angles = [(math.radians(a), math.radians(a)) for a in (0, 10)]
    for quiet in (effect(datum(-0.002, yaw=angles[0]), datum(-0.006, yaw=angles[1])),
                  effect(datum(-0.002, yaw=angles[0]), datum(-0.003, source="b"))):
        assert not any("without a yaw" in words for words in quiet.warnings)
