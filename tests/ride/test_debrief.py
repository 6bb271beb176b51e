"""A plan against rides that were made from it, with what went otherwise known."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optimizer.conditions import Conditions
from optimizer.course import Course, read_course
from optimizer.day import RaceDay
from optimizer.errors import InputError
from optimizer.pacing import plan_ride, recognisable_places, rideable, simulate
from optimizer.physics import Setup
from optimizer.ride.debrief import Intended, debrief, learned_from, rolling_worth
from optimizer.ride.field_test import Runs, field_test
from optimizer.ride.ride import Ride
from optimizer.rider import Position, Rider
from optimizer.scenario.ride_file import read_ride

RIDER = Rider("A", 72.0, 270.0, 18e3, 500.0, (Position("aero", 0.26),))
BIKE = Setup("bike", 9.0, 0.0045)
CALM = Conditions()
SHARED = Path(__file__).parents[3] / "shared" / "rides"


def course(length=12_000.0):
    """A loop of gentle hills on a sphere of sorts, heading round once."""
    s = np.arange(0.0, length + 1.0, 10.0)
    n = len(s) - 1
    turn = 2 * np.pi * s / length
    radius = length / (2 * np.pi)
    return Course(
        "loop", s, 0.0 + np.degrees(radius * np.sin(turn) / 6_371_000.0),
        np.degrees(radius * (1 - np.cos(turn)) / 6_371_000.0),
        20.0 + 12.0 * np.sin(3 * turn) + 4 * np.sin(11 * turn),
        0.5 * (turn[1:] + turn[:-1]), np.ones(n), np.full(n + 1, np.inf), np.full(n, 0.03),
        np.ones(n))


def made_plan():
    """The plan of an invented rider for the loop."""
    road = course()
    plan = plan_ride(RaceDay(road, CALM, RIDER, start_speed=8.0), BIKE)
    few = rideable(plan, recognisable_places(road), blocks=6)
    return Intended(road, CALM, RIDER, BIKE, plan.problem, plan.distance, few.power, few.time,
                    few.reserve)


@pytest.fixture(scope="module")
def intended():
    return made_plan()


def ridden(intended, power, stop=0.0):
    """Record the ride of `power` (n,), a sample a second, with a stop half way [s]."""
    problem, road = intended.problem, intended.course
    time = simulate(problem, power).time
    at = np.arange(0.0, time[-1] + 1.0)
    distance = np.interp(at, time, intended.nodes)
    watts = np.interp(distance, 0.5 * (intended.nodes[1:] + intended.nodes[:-1]), power)
    speed = np.gradient(distance)
    if stop:
        k = len(at) // 2
        pause = np.arange(1.0, stop + 1.0)
        at = np.concatenate([at[:k], at[k - 1] + pause, at[k:] + stop])
        distance, watts, speed = (np.insert(x, k, np.full(len(pause), fill)) for x, fill in (
            (distance, distance[k - 1]), (watts, 0.0), (speed, 0.0)))
    return Ride("made", at, distance, speed, watts,
                np.interp(distance, road.distance, road.elevation),
                np.interp(distance, road.distance, road.latitude),
                np.interp(distance, road.distance, road.longitude))


def test_a_ride_as_planned_lost_nothing(intended):
    found = debrief(ridden(intended, intended.power), intended)
    assert sum(found.parts.values()) == pytest.approx(
        found.difference, abs=0.1)
    for cause, seconds in found.parts.items():
        assert abs(seconds) < 8.0, cause


@pytest.mark.parametrize("share", [0.95, 1.05])
def test_power_is_told_from_the_rest(intended, share):
    power = share * intended.power
    found = debrief(ridden(intended, power), intended)
    cost = float(simulate(intended.problem, power).time[-1]
                 - simulate(intended.problem, intended.power).time[-1])
    assert found.parts["power"] == pytest.approx(cost, abs=6.0)
    assert sum(found.parts.values()) == pytest.approx(
        found.difference, abs=0.1)


def test_a_stop_is_a_stop(intended):
    found = debrief(ridden(intended, intended.power, stop=40.0), intended)
    assert 35.0 < found.parts["stops"] < 60.0
    assert sum(found.parts.values()) == pytest.approx(
        found.difference, abs=0.1)


def test_another_place_is_refused(intended):
    ride = ridden(intended, intended.power)
    away = Ride("far", ride.time, ride.distance, ride.speed, ride.power, ride.elevation,
                ride.latitude + 3.0, ride.longitude)
    with pytest.raises(InputError, match=r"is 33\d km away.*another course"):
        debrief(away, intended)


def test_a_pause_that_the_recorder_does_not_record_is_a_stop(intended):
    """The recorder was off for five minutes, at speed on both sides: no riding and no power."""
    ride = ridden(intended, intended.power)
    later = np.array(ride.time)
    later[len(later) // 2:] += 300.0
    before, after = debrief(ride, intended), debrief(replace(ride, time=later), intended)
    assert after.passage.standing.sum() == pytest.approx(300.0, abs=5.0)
    assert after.parts["stops"] - before.parts["stops"] == pytest.approx(300.0, abs=5.0)
    assert after.parts["rest"] == pytest.approx(before.parts["rest"], abs=3.0)
    assert after.reserve.min() >= before.reserve.min() - 100.0


def test_mean_power_is_of_each_ones_own_time(intended):
    from optimizer.report.debrief_page import part_rows

    power = np.where(intended.nodes[:-1] < 6000.0, 0.6, 1.3) * intended.power
    found = debrief(ridden(intended, power, stop=200.0), intended)
    said = next(row[2] for row in part_rows(found) if row[0] == "power")
    plan = simulate(intended.problem, intended.power)
    rode = simulate(intended.problem, power)
    planned = np.average(intended.power, weights=np.diff(plan.time))
    assert f"{planned:.0f} W planned" in said
    assert float(said.split()[0]) == pytest.approx(np.average(power, weights=np.diff(rode.time)),
                                                   rel=0.01)


@pytest.fixture(scope="module")
def recorded():
    """One recorded ride, test data of python-fitparse (MIT), against an invented rider's plan."""
    if not SHARED.is_dir():
        pytest.skip("no shared rides beside the repository")
    road = read_course(SHARED / "road_ride_40km.gpx")
    rider = Rider("A", 76.0, 300.0, 20e3, 600.0, (Position("aero", 0.38),))
    bike = Setup("bike", 9.0, 0.005)
    weather = Conditions(temperature=299.0, pressure=100_000.0, reference_elevation=130.0)
    plan = plan_ride(RaceDay(road, weather, rider, start_speed=8.0), bike)
    few = rideable(plan, recognisable_places(road), blocks=8)
    return read_ride(SHARED / "road_ride_40km.csv"), Intended(
        road, weather, rider, bike, plan.problem, plan.distance, few.power, few.time, few.reserve)


def test_a_debrief_and_a_field_test_of_one_ride_say_the_same(recorded):
    """One recorded ride, test data of python-fitparse (MIT); mass and kit invented.

    The debrief counts by the metres of the course, which are 0.2 % more than those of the wheel.
    """
    ride, intended = recorded
    found = debrief(ride, intended)
    alone = field_test(Runs((ride,), ("as ridden",), (intended.conditions,), intended.setup,
                            intended.rider.mass))
    assert found.test.contradicts == alone.contradicts
    assert found.test.answer.area == pytest.approx(alone.answer.area, abs=0.005)
    assert found.test.answer.area_sd == pytest.approx(alone.answer.area_sd, rel=0.05)
    assert found.test.answer.rolling == pytest.approx(alone.answer.rolling, abs=1e-4)
    assert found.test.free_rolling_resistance == pytest.approx(alone.free_rolling_resistance,
                                                               abs=2e-4)


def test_the_surfaces_of_the_course_are_no_news_to_its_debrief(intended):
    """On asphalt twice as rough as the tyre's figure, planned as such, tyres are as planned."""
    rough = replace(intended.problem, rolling_resistance=2.0 * intended.problem.rolling_resistance)
    known = replace(intended, problem=rough)
    found = debrief(ridden(known, intended.power), known)
    assert found.planned_rolling_resistance == pytest.approx(2.0 * BIKE.rolling_resistance)
    assert abs(found.rolling_resistance - found.planned_rolling_resistance) < (
        2.0 * found.rolling_resistance_sd)
    learned = learned_from(found)
    assert abs(learned.drag[1]) < 2.0 * np.sqrt(learned.covariance[1, 1])
    # What is learned of the tyre, on smooth asphalt, takes twice as much on such a road.
    smooth = rolling_worth(replace(found, intended=intended))
    assert rolling_worth(found) == pytest.approx(2.0 * smooth)


@pytest.mark.ci
def test_a_pause_in_the_recorded_ride_goes_to_stops(recorded):
    ride, intended = recorded
    later = np.array(ride.time)
    later[2000:] += 300.0
    before, after = debrief(ride, intended), debrief(replace(ride, time=later), intended)
    assert after.passage.standing.sum() - before.passage.standing.sum() == pytest.approx(
        300.0, abs=5.0)
    assert after.parts["rest"] == pytest.approx(before.parts["rest"], abs=5.0)
    assert sum(after.parts.values()) == pytest.approx(after.difference, abs=0.1)


def test_what_a_rough_road_taught_of_the_tyres_is_kept_for_smooth_asphalt(intended):
    """A road that doubles Crr shows twice the change of the tyre, and twice its error."""
    found = debrief(ridden(intended, 1.04 * intended.power), intended)
    smooth = learned_from(found)
    rough = learned_from(replace(found, intended=replace(intended, setup=replace(
        BIKE, rolling_resistance=0.5 * BIKE.rolling_resistance))))
    assert rough.drag == pytest.approx(smooth.drag * [1.0, 0.5])
    assert np.sqrt(np.diag(rough.covariance)) == pytest.approx(
        np.sqrt(np.diag(smooth.covariance)) * [1.0, 0.5])
