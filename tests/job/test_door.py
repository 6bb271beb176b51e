"""What Python may not hand to `plan`: the same as files may not say."""

from __future__ import annotations

from dataclasses import replace

import pytest

import optimizer
from optimizer.errors import InputError
from optimizer.job import Options
from optimizer.job.door import BIKE, OPTIONAL, OPTIONS, RIDER, check_values
from optimizer.kit import Catalogue, Item
from optimizer.physics import Setup
from optimizer.rider import Position, Rider
from optimizer.scenario.rider_file import RiderTable
from optimizer.scenario.scenario import BikeTable, OptionsTable

ATHLETE = Rider("x", 70.0, 270.0, 18e3, 480.0, (Position("aero", 0.25),))
OWN = Setup("bike", mass=9.5, rolling_resistance=0.004)
KIT = Catalogue((Item("Suit", "skinsuit", 100.0, forbidden_by=("championship",)),))


def check(rider=ATHLETE, bike=OWN, budget=0.0, rules=(), options=None):
    check_values(rider, bike, KIT, budget, rules, options or Options())


def test_a_sound_plan_passes():
    check(rules=("championship",))


@pytest.mark.parametrize(("wrong", "named"), [
    ({"bike": replace(OWN, mass=float("nan"))}, "bike.mass: nan"),
    ({"bike": replace(OWN, mass=-5.0)}, "bike.mass: -5 is not between 4 and 60"),
    ({"bike": replace(OWN, rolling_resistance=4.0)}, "rolling_resistance: 4"),
    ({"bike": replace(OWN, drivetrain_efficiency=97.0)}, "a share, such as 0.976"),
    ({"rider": replace(ATHLETE, critical_power=0.0)}, "rider.critical_power: 0"),
    ({"options": Options(empty_risk=5)}, "a chance, such as 0.1"),
    ({"options": Options(draws=-1)}, "options.draws: -1"),
    ({"options": Options(step=float("nan"))}, "options.step: nan"),
    ({"options": Options(blocks=0)}, "options.blocks: 0"),
    ({"budget": -1.0}, "budget: -1.0 is not an amount"),
    ({"rules": ["championships"]}, "known: championship"),
    ({"rules": "championship"}, 'give ["championship"]')])
def test_what_no_ride_can_have_is_named(wrong, named):
    with pytest.raises(InputError) as told:
        check(**wrong)
    assert named in str(told.value)


def test_all_is_told_at_once():
    with pytest.raises(InputError) as told:
        check(bike=replace(OWN, mass=-5.0), rules=["x"], budget=-1.0)
    assert all(words in str(told.value) for words in ("bike.mass", "rules", "budget"))


def test_plan_has_the_door():
    road = optimizer.read_course("courses/petrel-flats/course.gpx")
    with pytest.raises(InputError, match="drivetrain_efficiency"):
        optimizer.plan(road, optimizer.weather(), ATHLETE, replace(OWN, drivetrain_efficiency=97.0))


FILES = {"mass": "mass_kg", "wheel_inertia": "wheel_inertia_kgm2", "wheel_radius": "wheel_radius_m",
         "critical_power": "critical_power_w", "w_prime": "w_prime_kj", "max_power": "max_power_w",
         "start_speed": "start_speed_kmh", "least_gain": "least_gain_s", "step": "step_m",
         "empty_risk": "empty_risk_percent", "power_rounding": "power_rounding_w"}
SCALES = {"w_prime": 1000.0, "start_speed": 1 / 3.6, "empty_risk": 0.01}


@pytest.mark.parametrize(("table", "ranges"), [
    (BikeTable, BIKE), (RiderTable, RIDER), (OptionsTable, OPTIONS + OPTIONAL)])
def test_the_ranges_are_those_of_the_files(table, ranges):
    said = table.model_json_schema()["properties"]
    for name, low, high, _ in ranges:
        field = said[FILES.get(name, name)]
        bounds = next(one for one in [field, *field.get("anyOf", [])] if "maximum" in one)
        scale = SCALES.get(name, 1.0)
        assert high == pytest.approx(scale * bounds["maximum"]), name
        least = bounds.get("minimum", bounds.get("exclusiveMinimum"))
        assert low == pytest.approx(scale * least, abs=1e-6), name
