"""The words and tables of a season, on an invented club."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from types import SimpleNamespace

import pytest

from optimizer.evidence import Effect
from optimizer.report.season_page import (
    frontier_table,
    lead,
    lent_table,
    matrix,
    next_table,
    purchase_table,
    rider_sentences,
    season_json,
)
from optimizer.report.workbook import season_sheets
from optimizer.scenario.season_file import _same_name
from optimizer.seasons.values import (
    Bought,
    Entry,
    Money,
    NextPurchase,
    Point,
    Pool,
    Ride,
    Season,
    SeasonKit,
)
from optimizer.uncertainty import MEASURES

HELMET = "Long-tail helmet"


class Shop(SimpleNamespace):
    """A catalogue whose items are all alike."""

    def __getitem__(self, name):
        return self.items[0]


def found(weights=(1.0, 2.0), copies=(1, 1)):
    """Two riders who share a helmet."""
    item = SimpleNamespace(name=HELMET, caution="", kind="helmet", hire_price=None,
                           needs_fitter=False, crosswind_limit=float("inf"))
    job = SimpleNamespace(catalogue=Shop(items=(item,)), assumptions=(), course=None,
                          effects=(Effect(HELMET),),
                          conditions=None,
                          baseline=SimpleNamespace(crosswind_limit=float("inf")))
    entries = tuple(Entry(rider, race, day, day, weight, job) for rider, race, day, weight in zip(
        ("Ann", "Ben"), ("Spring", "Autumn"), (date(2031, 5, 4), date(2031, 9, 7)), weights,
        strict=True))
    season = Season("Two", "EUR", entries, (Pool(HELMET, "", 240.0),), (Money(None, 300.0),))
    rides = tuple(Ride(e, (HELMET,), (), 3600.0, 3600.0 + saved, saved - 50.0, saved + 200.0,
                       copies=((HELMET, copy),))
                  for e, (saved, copy) in enumerate(zip((100.0, 300.0), copies, strict=True)))
    return SeasonKit(
        season, MEASURES["forecast"], 0.9, rides,
        (Bought(0, "Ann", 0, entries[0].first, "Spring", 700.0),),
        240.0, 0.0, 0.0, 0.75,
        (Point(300.0, 285.0, 700.0, (HELMET,), ("Wheel (hired, Ben, Autumn)",), chosen=True),),
        (NextPurchase(0, 240.0, 9.0),), (), (), 1, 1)


def test_a_lent_thing_names_who_rides_it_where():
    (row,) = purchase_table(found()).rows
    assert row[2] == "Ann, Ben"
    assert list(lent_table(found()).rows) == [
        (HELMET, "Spring, 4 May 2031", "Ann"), (HELMET, "Autumn, 7 Sep 2031", "Ben")]
    assert [row[0] for row in lent_table(found(copies=(1, 2))).rows] == [
        f"{HELMET}, no. 1", f"{HELMET}, no. 2"]


def test_copies_have_numbers_only_where_there_are_several():
    assert "(shared)" in str(matrix(found()).rows)
    assert "no. 1" not in str(matrix(found()).rows)
    assert "(shared, no. 2)" in str(matrix(found(copies=(1, 2))).rows)


@pytest.mark.parametrize("table", [purchase_table, next_table])
def test_weighted_seconds_are_called_so(table):
    assert "Saves, weighted" in table(found()).headings
    assert "Saves" in table(found(weights=(1.0, 1.0))).headings


def test_hires_are_in_what_a_budget_buys():
    (row,) = frontier_table(found()).rows
    assert "Wheel (hired, Ben, Autumn)" in row[5]


def test_a_range_is_in_the_unit_of_its_gain():
    text = str(matrix(found()).rows)
    assert "1 min 40 s (50 s to 5 min 00 s)" in text
    assert "5 min 00 s (4 min 10 s to 8 min 20 s)" in text


def test_the_lead_speaks_plainly_and_passes_on_what_is_odd():
    said = lead(replace(found(), season=replace(found().season, notes=("Odd.",))))
    assert said[0].startswith("Two: spend 240 of 300 EUR and save 11 min 40 s over 2 rides (a")
    assert said[1].startswith("In this model no other way to spend the money saves more than 0.8 s")
    assert said[-1] == "Odd."


def test_the_json_has_what_is_odd_about_the_files():
    document = json.loads(season_json(replace(found(), season=replace(found().season,
                                                                      notes=("Odd.",)))))
    assert document["notes"] == ["Odd."]


def test_a_rider_who_lends_hears_to_whom_and_what_it_costs():
    plain = found()
    rides = (replace(plain.rides[0], items=(), before=(HELMET,), time_before=3572.0, low=-40.0,
                     high=-20.0, copies=(), lends=((HELMET, "Ben", 28.0),)), plain.rides[1])
    lending = replace(plain, rides=rides, bought=())
    ann, ben = rider_sentences(lending)
    assert ann == (f"Ann lends {HELMET} to Ben in Spring (costs Ann 28 s there), and loses 28 s "
                   "in one race against what they own.")
    assert ben.startswith(f"Ben shares {HELMET}, and saves ")
    assert "loses 28 s (20 to 40 s)" in str(matrix(lending).rows)
    assert json.loads(season_json(lending))["rides"][0]["lends"] == [
        {"item": HELMET, "to": "Ben", "costs_s": 28.0}]


def of_one_rider(*saved, hired=()):
    """Rides of one rider in a race each, with what each saves and hires."""
    club = found(weights=(1.0,) * 2)
    entries = tuple(replace(club.season.entries[0], race=f"Race {e}") for e in range(len(saved)))
    rides = tuple(replace(club.rides[0], entry=e, time_before=3600.0 + gain, hired=hired,
                          copies=()) for e, gain in enumerate(saved))
    return replace(club, season=replace(club.season, entries=entries), rides=rides, bought=())


def test_a_hire_for_two_races_is_named_once():
    (words,) = rider_sentences(of_one_rider(20.0, 6.0, hired=("Disc wheel",)))
    assert words == ("Ann hires Disc wheel for Race 0 and Race 1, and saves 26 s over 2 races, "
                     "most in Race 0 (20 s).")


def test_what_one_race_saves_alone_is_all_of_it():
    (words,) = rider_sentences(of_one_rider(26.0, 0.0))
    assert words.endswith("saves 26 s over 2 races, all in Race 0.")


@pytest.mark.parametrize(("name", "full", "same"), [
    ("Mara", "Mara Holt", True), ("M. Quill", "Maud Quill", True), ("Mara Holt", "mara", True),
    ("Mara", "Jon Holt", False), ("Ann", "Anna", False), ("Mara Holt", "Mara Quill", False)])
def test_a_first_name_is_the_same_rider(name, full, same):
    assert _same_name(name, full) is same


def test_the_tables_say_where_seconds_are_weighted_and_how_close_each_season_is():
    point = Point(300.0, 240.0, 100.123, (HELMET,), (), chosen=True, gap=0.301)
    season = replace(found(), frontier=(point, replace(point, gap=float("inf"))))
    rides, bought, points = season_sheets(season)
    assert "Saved, s" in rides[1]
    assert bought[1][-1] == "Saves, weighted s"
    assert points[0] == "Best season at each budget"
    assert points[1][2:4] == ("Saved, weighted s", "Gap, weighted s")
    assert [row[2:4] for row in points[2]] == [(100.12, 0.31), (100.12, None)]
    plain = season_sheets(replace(season, season=found(weights=(1.0, 1.0)).season))
    assert plain[2][1][2:4] == ("Saved, s", "Gap, s")
