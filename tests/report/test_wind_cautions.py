"""Cautions of wind: strong wind, and the limit of kit that some days pass."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.kit import Catalogue
from optimizer.report.card import card_rules
from optimizer.report.plan_page import plan_page
from optimizer.report.result_json import result_document
from optimizer.report.wind_cautions import bike_cautions, card_cautions, wind_cautions
from tests.report.made_up import made_up_result


@pytest.fixture(scope="module")
def result():
    return made_up_result()


def blown(result, speed, limit=float("inf"), sd=0.25):
    """The result with a wind from the west, and a limit on the first item of its kit."""
    air = replace(result.job.conditions, wind_time=np.zeros(1), wind_distance=np.zeros(1),
                  wind_east=np.array([[speed]]), wind_north=np.zeros((1, 1)),
                  gust=np.zeros((1, 1)), speed_sd=sd)
    first = result.choice.best.items[0]
    kit = Catalogue(tuple(replace(item, crosswind_limit=limit if item.name == first else
                                  float("inf")) for item in result.job.catalogue.items))
    return replace(result, job=replace(result.job, conditions=air, catalogue=kit),
                   day=replace(result.day, conditions=air))


@pytest.mark.parametrize(("speed", "warned"), [(4.0, False), (13.5, False), (14.2, True)])
def test_a_near_gale_is_a_caution(result, speed, warned):
    """Beaufort 7 begins at 13.9 m/s (WMO Beaufort scale; from memory)."""
    said = " ".join(wind_cautions(blown(result, speed)))
    assert ("Strong wind" in said) is warned


def test_a_limit_just_above_the_expected_wind_is_passed_on_some_days(result):
    name = result.choice.best.items[0]
    windy = blown(result, 8.0, limit=6.0)
    (item, limit, chance), = windy.limits_passed
    assert (item, limit) == (name, 6.0)
    assert 0.01 < chance < 0.99
    said, = wind_cautions(windy)
    assert said.startswith(f"On {round(100 * chance)} days in 100 the cross wind passes the limit "
                           f"of {name}, 22 km/h: ")
    assert result_document(windy)["kit"]["crosswind_limits"] == [
        {"item": name, "limit_mps": 6.0, "chance": chance}]


def test_a_limit_that_no_day_passes_is_not_mentioned(result):
    assert wind_cautions(blown(result, 4.0, limit=30.0)) == []


@pytest.mark.parametrize(("name", "place", "owned", "words"), [
    ("Own 50 mm wheel", "front wheel", True, "have another wheel ready"),
    ("Deep wheels", "wheels", False, "have the wheel that it replaces ready"),
    ("Long mudguard", "frame", True, "have another part ready"),
    ("Wing", "frame", False, "have the part that it replaces ready")])
def test_who_owns_a_part_has_nothing_that_it_replaces(result, name, place, owned, words):
    first = result.choice.best.items[0]
    windy = blown(result, 8.0, limit=6.0)
    kit = Catalogue(tuple(replace(item, name=name, place=place, owned=owned)
                          if item.name == first else item for item in windy.job.catalogue.items))
    best = replace(windy.choice.best, items=(name, *windy.choice.best.items[1:]))
    windy = replace(windy, job=replace(windy.job, catalogue=kit),
                    choice=replace(windy.choice, best=best))
    (caution,) = wind_cautions(windy)
    assert words in caution


def test_the_limit_of_the_bike_itself_counts(result):
    windy = blown(result, 8.0)
    bike = replace(windy.job.baseline, crosswind_limit=4.0)
    windy = replace(windy, job=replace(windy.job, baseline=bike))
    first, *chances = wind_cautions(windy)
    passed = f"{3.6 * windy.bike_passed:.0f} km/h"
    assert windy.bike_passed > 4.0
    assert first.startswith(f"Up to {passed} of cross wind at the rider are forecast, above the "
                            "limit of the bike as it stands, 14 km/h. Do not ride its wheels")
    assert "passes the limit of the bike as it stands, 14 km/h: have other wheels" in chances[0]
    stop = f"Do not ride these wheels: cross wind up to {passed} is forecast"
    assert card_rules(windy)[0].startswith(stop)
    assert card_cautions(windy)[1:] == ["Cross wind over 14 km/h at the rider: change wheels."]
    assert result_document(windy)["kit"]["crosswind_above_bike_limit_mps"] == windy.bike_passed
    assert plan_page(windy).index("Do not ride its wheels") < plan_page(windy).index("How fast</")
    said = bike_cautions(windy.job, [("Bare", ()), ("Mine", windy.choice.best.items)])
    assert said == [f"Caution: {first[:1].lower()}{first[1:]} This concerns Bare and Mine."]


def test_other_wheels_lift_the_limit_of_the_bike(result):
    windy = blown(result, 8.0)
    first = windy.choice.best.items[0]
    kit = Catalogue(tuple(replace(item, place="wheels") if item.name == first else item
                          for item in windy.job.catalogue.items))
    windy = replace(windy, job=replace(windy.job, catalogue=kit, baseline=replace(
        windy.job.baseline, crosswind_limit=4.0)))
    assert windy.bike_passed == 0.0
    assert wind_cautions(windy) == card_cautions(windy) == []
    assert bike_cautions(windy.job, [("", windy.choice.best.items)]) == []
    assert result_document(windy)["kit"]["crosswind_above_bike_limit_mps"] is None


def test_the_card_says_from_which_cross_wind_to_change_the_wheel(result):
    """Also on a day that is expected to be calm: the wind may change until the start."""
    name = result.choice.best.items[0]
    calm = blown(result, 4.0, limit=40 / 3.6)
    rule = f"Cross wind over 40 km/h at the rider: change {name}."
    assert rule in card_rules(calm)
    assert not any("Cross wind" in rule for rule in card_rules(blown(result, 4.0)))
    assert "Wind up to 51 km/h: hands near the brakes." in card_rules(blown(result, 14.2))
