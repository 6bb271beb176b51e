"""What counts as the current kit, in words."""

from __future__ import annotations

from dataclasses import replace

from optimizer.evidence import Effect
from optimizer.kit import Catalogue, Choice, Item, KitSet
from optimizer.physics import Setup
from optimizer.report.current import (
    apart_by_test,
    current_kit,
    faster_words,
    free_words,
    grounds_in,
    not_clear_words,
    not_in_sets,
    nothing_bought,
    rests_on_words,
)

CATALOGUE = Catalogue((Item("wheel", "wheels", 0.0, owned=True), Item("low bar", "position", 0.0),
                       Item("bare hands", "gloves", 0.0), Item("suit", "clothing", 100.0)))


def kit(*items, time=0.0):
    return KitSet(items, 0.0, Setup("bike", mass=8.0, rolling_resistance=0.004), time, time)


def choice(*items, saved=0.0):
    """A choice whose current kit has some items, and free changes that save some seconds."""
    current = kit(*items)
    return Choice(0.0, "EUR", current, current, (current,), 0.0,
                  without_changes=kit("wheel", time=saved))


def test_free_changes_are_advised_and_said_to_be_counted():
    current = kit("wheel", "low bar", "bare hands")
    assert current_kit(CATALOGUE, current) == "your current kit with free changes"
    assert free_words(CATALOGUE, choice(*current.items), current) == (
        "Change for free: low bar and bare hands. The time with your current kit counts with "
        "these already.")


def test_what_free_changes_save_is_a_figure_of_its_own():
    said = free_words(CATALOGUE, choice("wheel", "low bar", saved=31.2), kit("suit", "low bar"))
    assert said.endswith("counts with that already, 31 s faster than without.")


def test_a_free_change_that_the_best_kit_leaves_out_is_not_advised():
    assert free_words(CATALOGUE, choice("wheel", "low bar", "bare hands"), kit("suit", "low bar"),
                      ) == ("Change for free: low bar. The time with your current kit counts "
                            "with low bar and bare hands already.")


def test_what_is_owned_is_no_change():
    assert current_kit(CATALOGUE, kit("wheel")) == "your current kit"
    assert not free_words(CATALOGUE, choice("wheel"), kit("wheel", "suit"))


def test_a_gain_names_the_two_times_that_it_comes_from():
    """Their difference, as a reader finds it: exactly it would be 211.7 s."""
    before, after = kit("wheel", time=3615.4), kit("wheel", "suit", time=3403.7)
    said = faster_words(Choice(500.0, "EUR", before, after, (before, after), 0.0), after,
                        "your current kit")
    assert said == ("3 min 31 s faster than your current kit (ideal rides: 56:44 instead of "
                    "1:00:15)")


def test_named_sets_say_which_free_changes_they_lack():
    assert not_in_sets(CATALOGUE, [("suit", "low bar", "bare hands"), ("low bar",)]).endswith(
        "not in every set: bare hands.")
    assert not not_in_sets(CATALOGUE, [("low bar", "bare hands")])
    assert not_in_sets(CATALOGUE, [("suit",), ("low bar", "suit")]).endswith(
        "Free changes that are in no set: bare hands. Free changes that are not in every set: "
        "low bar.")


def test_nothing_is_bought_for_a_reason_that_is_true():
    owned = kit("wheel", time=1000.0)
    faster = replace(kit("wheel", "suit", time=999.8), spend=100.0)
    best = Choice(500.0, "EUR", owned, owned, (owned, faster), 0.0)
    assert nothing_bought(replace(best, frontier=(owned,)), owned, "your current kit") == (
        "Buy nothing: no kit for 500 EUR is faster than your current kit.")
    assert nothing_bought(replace(best, least_gain=0.5), owned, "your current kit") == (
        "Buy nothing: the fastest kit for 500 EUR saves 0.2 s, and up to 0.5 s are given up for a "
        "cheaper one.")
    assert nothing_bought(replace(best, budget=0.0), owned, "your current kit").startswith(
        "No money for kit")


SOLD = Catalogue((Item("coating", "frame", 300.0), Item("light wheels", "wheels", 850.0, mass=-0.4),
                  Item("helmet", "helmet", 200.0), Item("paint", "fork", 0.0, mass=-0.1)))
SAID = (Effect("coating", data=1, grounds="seller"), Effect("helmet", data=2))


def test_money_for_what_nobody_but_its_seller_tested_is_said():
    everything = ("coating", "light wheels", "helmet", "paint")
    assert rests_on_words(SOLD, SAID, everything, "EUR") == (
        "300 EUR of it, for coating, pays for what only the seller says: ask for a test, or test "
        "it yourself, before you pay. 850 EUR of it, for light wheels, pays for mass only: what "
        "else it does, nobody tested.")
    assert rests_on_words(SOLD, SAID, ("helmet", "paint"), "EUR") == ""


def test_kits_that_only_a_leaflet_sets_apart_are_not_clearly_different():
    grounds = grounds_in(SOLD, SAID)
    assert not apart_by_test(grounds, ("coating", "helmet"), ("helmet", "paint"))
    assert apart_by_test(grounds, ("coating", "helmet"), ("coating",))


def test_what_is_bought_without_being_a_clear_gain_is_named_with_the_reason():
    shop = Catalogue((*SOLD.items, Item("socks", "socks", 40.0), Item("belt", "belt", 30.0),
                      Item("plugs", "bars", 20.0), Item("caps", "valves", 10.0)))
    said = (*SAID, Effect("socks", data=2, disagreement=0.8), Effect("belt", data=1),
            Effect("plugs", data=1), Effect("caps", data=1))
    gains = {"coating": (-1.0, 9.0), "helmet": (-3.4, 13.0), "socks": (-4.0, 7.0),
             "belt": (-1.0, 2.0), "plugs": (-1.0, 1.5), "caps": (0.1, 0.4)}
    assert not_clear_words(shop, said, ("coating", "socks", "caps", "paint"), gains, "EUR") == (
        "No clear gain on its own: socks (40 EUR, −4 to 7 s, sources disagree).")
    assert not_clear_words(shop, said, tuple(gains), gains, "EUR") == (
        "No clear gain on their own: helmet (200 EUR, −3 to 13 s), socks (40 EUR, −4 to 7 s, "
        "sources disagree), belt (30 EUR, −1 to 2 s) and 1 other (20 EUR).")
    assert not_clear_words(shop, said, ("socks", "paint"), gains, "EUR", why=False) == (
        "No clear gain on its own: socks (40 EUR).")
    assert not_clear_words(shop, said, ("caps", "light wheels"), gains, "EUR") == ""
