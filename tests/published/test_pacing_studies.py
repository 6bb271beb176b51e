"""What pacing studies found: the direction of the best effort, and what it wins.

Swain 1997, Med. Sci. Sports Exerc. 29:1104-1108 (harder uphill and into the wind). Cangley et
al. 2011, Int. J. Sports Med. (2.9 % on an undulating course); Bach, Alexandersen and Lundgaard
2025, Sports Eng. 28:12 (0.45 to 2.84 % on four courses). Gordon 2005, Sports Eng. 8:81-90:
constant conditions, constant power.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from optimizer.job import day_of
from optimizer.pacing import constant_power, plan_ride, solve
from optimizer.scenario import read_scenario
from tests.later import later
from tests.published.uniform_course import stretches

COURSES = Path(__file__).parents[2] / "courses"

BIKE = {"mass": 82.0, "area": 0.26, "rolling": 0.004, "efficiency": 0.976, "power": 280.0,
        "inertia": 83.5, "w_prime": 18e3}


def test_constant_conditions_constant_power():
    plan = solve(stretches([20000.0], step=50.0, start_speed=11.0, **BIKE))
    power = plan.power[40:-40]  # away from getting up to speed and from the finish
    assert np.ptp(power) < 0.5
    assert power.mean() == pytest.approx(280.0 + 18e3 / plan.finish_time, abs=1.0)


def test_harder_uphill():
    plan = solve(stretches([2500.0] * 8, step=25.0, grades=[0.05, -0.05] * 4, start_speed=6.0,
                           **BIKE))
    time = np.diff(plan.time)
    up = plan.problem.grade > 0
    assert (np.average(plan.power[up], weights=time[up])
            > 1.1 * np.average(plan.power[~up], weights=time[~up]))


def test_harder_into_the_wind():
    plan = solve(stretches([2500.0] * 8, step=25.0, winds=[4.4, -4.4] * 4, start_speed=9.0,
                           **BIKE))
    time = np.diff(plan.time)
    into = plan.problem.headwind > 0
    assert (np.average(plan.power[into], weights=time[into])
            > 1.05 * np.average(plan.power[~into], weights=time[~into]))


@pytest.mark.parametrize("name", ["quern-pass", *later("tarn-loop")])
def test_gain_over_constant_power_on_hills(name):
    """On the hilly demo courses: between the smallest and largest that the studies found."""
    job = read_scenario(COURSES / name / "scenario.toml")
    even = constant_power(plan_ride(day_of(job), job.baseline))
    assert 0.003 < even.price / even.finish_time < 0.03
