"""The range of the finish time under an ensemble forecast holds the days that it should hold."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.conditions import Conditions, draw_wind, spread_density, spread_wind, with_members
from optimizer.pacing import Variation, simulate, simulate_many
from optimizer.pacing.problem import pacing_problem
from optimizer.physics import Setup, lay_road
from optimizer.rider import Position, Rider
from tests.report.made_up import made_up_course

COURSE, SETUP = made_up_course(), Setup("bike", 9.0, 0.0042)
RIDER = Rider("R", 72.0, 280.0, 20_000.0, 600.0, (Position("aero", 0.26),))
NODES = np.linspace(0.0, COURSE.length, 80)
ARRIVAL = NODES / 11.0
AXES = {"wind_time": np.array([0.0, 1800.0, 3600.0]),
        "wind_distance": np.array([0.0, COURSE.length])}


def weathers(rng, count):
    """Winds (count, 3, 2) that differ from each other by the day, the hour and the place."""
    centre = rng.normal(0.0, 3.0, (2, 1, 1, 1))
    size = rng.uniform(0.5, 2.5)
    return centre + size * (rng.standard_normal((2, count, 1, 1))
                            + 0.5 * rng.standard_normal((2, count, 3, 2)))


@pytest.mark.ci
def test_of_two_hundred_days_the_range_holds_nine_in_ten():
    """86 to 94 % of 200: two standard errors of a proportion of 90 % either side.

    Each day has 20 members, and what comes is one more of the same kind.
    """
    rng = np.random.default_rng(11)
    power = np.full(79, 250.0)
    inside = 0
    for _ in range(200):
        (east, north) = weathers(rng, 21)
        warm = rng.normal(288.0, 2.0, (21, 1, 1)) + np.zeros((21, 3, 2))
        forecast = with_members(Conditions(**AXES), east=east[1:], north=north[1:],
                                temperature=warm[1:])
        came = Conditions(**AXES, wind_east=east[0], wind_north=north[0],
                          temperature=float(warm[0, 0, 0]))
        p, real = (pacing_problem(lay_road(COURSE, weather, NODES, ARRIVAL), RIDER, SETUP)
                   for weather in (forecast, came))
        draws = draw_wind(forecast, rng, 100)
        head, cross = spread_wind(p.headwind, p.crosswind, draws, p.departures)
        ride = simulate_many(p, power[:, None], Variation(
            headwind=head.T, crosswind=cross.T,
            density_factor=spread_density(draws, p.departures)))
        low, high = np.percentile(ride.finish_time, [5.0, 95.0])
        inside += low <= float(simulate(real, power).finish_time) <= high
    assert 0.86 <= inside / 200 <= 0.94
