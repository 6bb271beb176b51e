"""The chance of a cross wind above a limit, against members that are known."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from optimizer.conditions import Conditions, with_members
from optimizer.conditions.wind import height_factor
from optimizer.day import RaceDay
from optimizer.kit import Catalogue, Item
from optimizer.kit.choose import forbidden
from optimizer.kit.crosswind import (
    bike_passed,
    crosswind_draws,
    limit_chances,
    other_wheels,
    own_wheels,
)
from tests.kit.invented import BASELINE, RIDER
from tests.report.made_up import made_up_course

COURSE = replace(made_up_course(), heading=np.zeros(len(made_up_course().distance) - 1))
AT_RIDER = height_factor(0.03)


def westerly(speeds, gusts=None, times=(0.0,)):
    """Members with a wind from the west, straight across a road to the north."""
    shape = (len(speeds), len(times), 1)
    east = np.broadcast_to(np.asarray(speeds, dtype=float)[:, None, None], shape)
    return with_members(
        Conditions(wind_time=np.array(times)), east=east, north=np.zeros(shape),
        gust=None if gusts is None else np.broadcast_to(
            np.asarray(gusts, dtype=float)[:, None, None], shape))


def test_the_chance_is_the_share_of_members():
    """Thirty of forty members blow with 12 m/s, ten with 4."""
    course = replace(COURSE, roughness=np.full(len(COURSE.heading), 0.03),
                     shelter=np.ones(len(COURSE.heading)))
    weather = westerly([4.0] * 10 + [12.0] * 30)
    drawn = crosswind_draws(course, weather)
    assert np.mean(drawn > 8.0 * AT_RIDER) == pytest.approx(0.75, abs=0.03)
    kit = Catalogue((Item("Deep wheel", "wheels", 900.0, crosswind_limit=8.0 * AT_RIDER),
                     Item("Helmet", "helmet", 100.0)))
    (name, chance), = limit_chances(course, weather, kit)
    assert name == "Deep wheel"
    assert chance == pytest.approx(0.75, abs=0.03)
    assert set(forbidden(RaceDay(course, weather, RIDER), BASELINE, kit, ())) == {"Deep wheel"}


@pytest.mark.parametrize(("strong", "out"), [(1, False), (20, True)])
def test_an_item_is_left_out_from_a_chance_of_one_in_ten(strong, out):
    weather = westerly([3.0] * (100 - strong) + [14.0] * strong)
    kit = Catalogue((Item("Deep wheel", "wheels", 900.0, crosswind_limit=5.0),))
    assert bool(forbidden(RaceDay(COURSE, weather, RIDER), BASELINE, kit, ())) is out


def test_gusts_go_with_their_member():
    speeds = [3.0] * 20 + [6.0] * 20
    calm = np.median(crosswind_draws(COURSE, westerly(speeds)))
    gusty = np.median(crosswind_draws(COURSE, westerly(speeds, [2 * v for v in speeds])))
    assert gusty == pytest.approx(2 * calm, rel=0.02)


def test_hours_after_the_ride_do_not_count():
    """The storm comes a day later."""
    weather = westerly([2.0, 3.0, 4.0] * 4, times=(0.0, 3600.0, 86_400.0, 90_000.0))
    storm = replace(weather, wind_east=weather.wind_east + np.array([[0.0], [0], [20], [20]]))
    assert crosswind_draws(COURSE, storm).max() < 10.0


def test_a_single_forecast_passes_a_limit_as_often_as_its_spread_says():
    """At a right angle and without turns: a log-normal factor about one passes 1 in one tail.

    P(factor > x) = 1 - Phi((ln x + w²/2) / w), w² = ln(1 + sd²): mean one, relative deviation sd
    (the log-normal law, as in any handbook of statistics).
    """
    course = replace(COURSE, roughness=np.full(len(COURSE.heading), 0.03),
                     shelter=np.ones(len(COURSE.heading)))
    one = Conditions(wind_east=np.array([[10.0]]), speed_sd=0.25, direction_sd=0.0)
    limit = 12.0 * AT_RIDER
    width = math.sqrt(math.log1p(0.25**2))
    expected = 0.5 * math.erfc((math.log(1.2) + 0.5 * width**2) / width / math.sqrt(2.0))
    kit = Catalogue((Item("Deep wheel", "wheels", 900.0, crosswind_limit=limit),))
    (_, chance), = limit_chances(course, one, kit)
    assert chance == pytest.approx(expected, abs=0.019)  # 4,000 draws: three standard errors
    assert limit_chances(course, Conditions(), kit) == (("Deep wheel", 0.0),)


FRONT, REAR = (Item(place, place, 0.0, owned=True) for place in ("front wheel", "rear wheel"))
BOTH = Item("round", "wheels", 0.0, owned=True)


def test_the_bike_rides_its_own_wheels_until_both_are_replaced():
    assert own_wheels(())
    assert own_wheels((FRONT,))
    assert not own_wheels((FRONT, REAR))
    assert not own_wheels((BOTH,))
    west = westerly([8.0] * 4)
    assert bike_passed(COURSE, west, 5.0, (FRONT,)) > 5.0
    assert bike_passed(COURSE, west, 5.0, (BOTH,)) == 0.0
    assert bike_passed(COURSE, west, 40.0, ()) == bike_passed(COURSE, west, float("inf"), ()) == 0.0


@pytest.mark.parametrize(("items", "out", "places"), [
    ((BOTH,), (), ("wheels",)),
    ((BOTH,), ("round",), ()),
    ((replace(BOTH, owned=False, price=90.0),), (), ()),
    ((replace(BOTH, requires=("tyres",)), Item("tyres", "tyres", 40.0)), (), ()),
    ((FRONT,), (), ()),
    ((FRONT, REAR), (), ("front wheel", "rear wheel")),
    ((FRONT, replace(REAR, excludes=("front wheel",))), (), ())])
def test_only_what_is_there_and_fits_replaces_wheels(items, out, places):
    assert other_wheels(Catalogue(items), out) == places
