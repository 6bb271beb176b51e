"""Watts at several speeds that are one figure in grams."""

from __future__ import annotations

import pytest
from scipy import constants

from optimizer.evidence import Datum, Reference, pool_effects
from optimizer.evidence.constant_force import at_other_speed, one_figure_each
from optimizer.evidence.figures import read_figure


def data(pairs, **known):
    return [Datum(**{"item": "tidy cables", "figure": read_figure(f"saves {watts} W @ {kmh} km/h"),
                     "test": "rule of thumb", "source": "leaflet", "place": f"e.csv, row {k}",
                     **known})
            for k, (watts, kmh) in enumerate(pairs, 2)]


def test_watts_that_grow_with_speed_are_one_figure_of_grams():
    # 2 W at 30 km/h is 0.24 N, and so are 3 W at 45 and 4 W at 60: force is power over speed.
    [one], [note] = one_figure_each(data([(2, 30), (3, 45), (4, 60)]))
    assert one.figure.quantity == "force"
    assert one.figure.value == pytest.approx(-2 / (30 * constants.kmh))
    assert one.figure.speed is None
    assert "rows 2, 3, 4" in note
    assert "24 g" in note
    assert "counted once" in note


def test_it_counts_once_and_less_surely_than_three_would():
    three = data([(2, 30), (3, 45), (4, 60)])
    [before], [after] = (pool_effects(each, Reference.of())
                         for each in (three, one_figure_each(three)[0]))
    assert after.data == 1
    assert after.drag_area_sd > before.drag_area_sd


@pytest.mark.parametrize("pairs", [
    [(1.7, 30), (4.1, 40), (8.0, 50)],  # the cube of the speed, as drag is
    [(3, 30), (4, 40)],  # two may agree by chance
    [(3, 30), (3, 30), (3, 30)], [(3, 30), (8, 40), (5, 50)]])
def test_figures_that_are_several_stay_so(pairs):
    before = data(pairs)
    assert one_figure_each(before) == (before, [])


def test_figures_of_two_sources_stay_apart():
    mixed = [*data([(3, 30), (4, 40)]), *data([(5, 50)], source="club")]
    assert one_figure_each(mixed) == (mixed, [])


def test_watts_at_another_speed_by_grams_held_constant():
    figure = read_figure("saves 4 W @ 30 mph")
    assert at_other_speed(figure, figure.speed / 2) == pytest.approx(-2.0)
    assert at_other_speed(read_figure("saves 4 W"), 10.0) is None
    assert at_other_speed(read_figure("-0.004 m2"), 10.0) is None
