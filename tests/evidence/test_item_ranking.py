"""What an item is worth to one rider."""

from __future__ import annotations

import pytest

from optimizer.evidence import Datum, Reference
from optimizer.evidence.figures import read_figure
from optimizer.evidence.item_ranking import rank
from optimizer.evidence.pool import pool_items

HERE = Reference.of(drag_area=0.25, mass=78.0, rolling_resistance=0.0038, efficiency=0.976,
                    air_density=1.18, speed=12.5)
SPEEDS = (11.0, 12.5, 14.0)


def worths(*figures, reference=HERE, sellers=()):
    data = [Datum(f"item {k}", read_figure(text), "tunnel with rider",
                  measured_by="seller" if k in sellers else "independent",
                  air_density=1.18, uncertainty=None, source="a")
            for k, text in enumerate(figures)]
    return rank(pool_items(data, reference), reference, SPEEDS)


def test_watts_are_what_the_figure_says_at_its_speed():
    [worth] = worths("saves 8 W @ 45 km/h")
    assert worth.watts[1] == pytest.approx(8.0)
    assert worth.watts[0] == pytest.approx(8.0 * (11 / 12.5) ** 3)
    assert worth.seconds > 0
    assert 0.5 < worth.chance < 1.0


def test_rolling_watts_grow_with_the_speed_only():
    [worth] = worths("saves 4 W rolling @ 45 km/h")
    assert worth.watts[2] / worth.watts[1] == pytest.approx(14 / 12.5)
    assert worth.drag_area == 0.0


def test_most_seconds_come_first_and_costs_last():
    found = worths("saves 2 W @ 45 km/h", "costs 3 W @ 45 km/h", "saves 9 W @ 45 km/h")
    assert [worth.effect.item for worth in found] == ["item 2", "item 0", "item 1"]
    assert found[-1].seconds < 0
    assert found[-1].chance < 0.5


def test_what_only_its_seller_says_is_no_clear_gain_and_does_not_lead():
    first, second = worths("saves 40 W @ 45 km/h", "saves 12 W @ 45 km/h", sellers=(0,))
    assert (first.effect.item, second.effect.item) == ("item 1", "item 0")
    assert first.clear
    assert not second.clear
    assert second.seconds > first.seconds


def test_a_change_of_everything_adds_up():
    data = [Datum("all", read_figure(text), "field", measured_by="independent", source="a",
                  air_density=1.18)
            for text in ("saves 8 W @ 45 km/h", "Crr -0.0002", "efficiency +0.5 %",
                         "saves 0.5 kg mass")]
    [worth] = rank(pool_items(data, HERE), HERE, SPEEDS)
    singles = [rank(pool_items([datum], HERE), HERE, SPEEDS)[0] for datum in data]
    assert worth.watts[1] == pytest.approx(sum(single.watts[1] for single in singles))
    # Seconds overlap by the shape of the road load only.
    assert worth.seconds == pytest.approx(sum(single.seconds for single in singles), rel=0.03)
    assert worth.seconds_sd == pytest.approx(
        sum(single.seconds_sd**2 for single in singles) ** 0.5, rel=0.03)


def test_mass_costs_little_on_the_flat():
    # One to three seconds a kilogram over 40 km, as computed from the published parameters.
    [worth] = worths("+1 kg mass")
    assert -3.0 < worth.seconds < 0.0
