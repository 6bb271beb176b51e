"""Critical power on the way: the height of the place, the heat of the hour of passing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.conditions import Conditions
from optimizer.conditions.air import LAPSE
from optimizer.course import Course
from optimizer.pacing import plan_ride, prepared_day
from optimizer.physics import Setup
from optimizer.rider import Position, Rider

RIDER = Rider("x", 70.0, 240.0, 18e3, 480.0, (Position("aero", 0.25),), endurance_loss=0.06)
BIKE = Setup("bike", 9.0, 0.004)
HOT = 303.15  # K


def course(height, length=60e3):
    n = 300
    distance = np.linspace(0.0, length, n + 1)
    return Course("made up", distance, np.zeros(n + 1), np.zeros(n + 1), height(distance),
                  np.zeros(n), np.ones(n), np.full(n + 1, np.inf), np.full(n, 0.03), np.ones(n))


FLAT = course(np.zeros_like)


def warming(by_hour):
    """From 20 °C on, linear in time."""
    hours = np.arange(5) * 3600.0
    still = np.zeros((5, 1))
    return Conditions(temperature=293.15, wind_time=hours, wind_east=still, wind_north=still,
                      temperature_change=by_hour * hours[:, None] / 3600.0, gust=still)


def planned(road, air, rider):
    day, near = prepared_day(road, air, rider, BIKE, step=300.0)
    return day, plan_ride(day, BIKE, warm=near)


def test_the_heat_is_that_of_the_hour_of_passing():
    # 6.5 % of power between 23 and 32 °C: Tatterson, Hahn, Martin and Febbraio 2000,
    # J. Sci. Med. Sport 3:186 (from memory), 0.72 % a kelvin from 20 °C on.
    day, plan = planned(FLAT, warming(6.0), replace(RIDER, heat_response="unacclimatised"))
    middle = 0.5 * (plan.time[:-1] + plan.time[1:])
    expected = 240.0 * (1.0 - 0.065 / 9.0 * 6.0 * middle / 3600.0)
    np.testing.assert_allclose(plan.problem.critical_power, expected, rtol=1e-3)
    assert plan.problem.critical_power[-1] < 0.94 * plan.problem.critical_power[0]
    # What the rider of the day has is the mean over the course, whatever the hour.
    assert day.rider.critical_power == pytest.approx(
        np.average(plan.problem.critical_power, weights=plan.problem.step), rel=1e-3)
    # The morning is ridden harder than the noon.
    third = plan.problem.steps // 3
    assert plan.power[third // 3:third].mean() > 1.02 * plan.power[-third:].mean()
    cool = planned(FLAT, warming(6.0), RIDER)[1]
    np.testing.assert_allclose(cool.problem.critical_power, 240.0, rtol=1e-14)
    assert plan.finish_time > cool.finish_time + 30.0


def test_a_constant_forecast_is_a_rider_with_less_power():
    hot = Conditions(temperature=HOT)
    day, plan = planned(FLAT, hot, replace(RIDER, heat_response="unacclimatised"))
    less = planned(FLAT, hot, replace(RIDER, critical_power=240.0 * (1.0 - 0.0072 * 10.0)))[1]
    assert plan.finish_time == pytest.approx(less.finish_time, rel=1e-12)
    assert day.left == pytest.approx(0.928, rel=1e-12)


def test_height_counts_where_it_is_and_cools():
    # Bassett, Kyle, Passfield, Broker and Burke 1999, Med. Sci. Sports Exerc. 31:1665.
    road = course(lambda distance: 2000.0 * np.sin(np.pi * distance / 60e3) ** 2)
    air = Conditions(temperature=HOT)
    _, plan = planned(road, air, replace(RIDER, altitude_response="acclimatised",
                                         heat_response="unacclimatised"))
    nodes = np.interp(plan.distance, road.distance, road.elevation)
    km = 0.5 * (nodes[:-1] + nodes[1:]) / 1000.0
    warmth = np.maximum(HOT - LAPSE * 1000.0 * km - 293.15, 0.0)
    expected = 240.0 * (99.9 - 1.90 * km - 1.12 * km**2) / 99.9 * (1.0 - 0.0072 * warmth)
    np.testing.assert_allclose(plan.problem.critical_power, expected, rtol=1e-6)
