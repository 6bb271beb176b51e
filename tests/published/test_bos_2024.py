"""Least time for a given time mean of power: constant ground speed in still air.

Bos, Slawinski, Slawinski and Stanoev 2024, arXiv 2403.03363v5: whatever the slope, at a given
time mean of power the time is least at constant ground speed; constant power is slower unless
the slope is constant. The figures are computed from its statement (two stretches of 2 km) and
from its stationarity condition with wind, v² dF/dv the same everywhere. The time mean of power
is the effort limit with exponent 1; a reserve that never runs out leaves it alone.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.pacing import constant_speed, simulate, solve
from optimizer.rider.effort import EffortLimit
from tests.published.uniform_course import stretches

MEAN = {"effort": EffortLimit(1.0, 1.0)}


def hill(step=20.0, start_speed=5.41625, **fields):
    return stretches([2000.0, 2000.0], step=step, grades=[0.04, 0.08], mass=80.0, area=0.30,
                     rolling=0.004, density=1.2, power=300.0, gravity=9.81,
                     start_speed=start_speed, **fields)


def windy(**fields):
    # Eight stretches of 5 km, as in Atkinson et al. 2007.
    return stretches([5000.0] * 8, step=5.0, winds=[4.4, -4.4] * 4, mass=80.0, area=0.2609,
                     rolling=0.0032, power=289.0, efficiency=0.976, bearing=(0.091, 0.0087),
                     gravity=9.81, start_speed=9.98, **fields)


def test_constant_speed_on_two_slopes():
    plan = solve(hill(**MEAN))
    assert plan.finish_time == pytest.approx(738.518, abs=0.02)
    assert plan.mean_power == pytest.approx(300.0, abs=0.01)
    inside = np.r_[5:95, 105:195]
    assert plan.speed[inside] == pytest.approx(5.41625, abs=2e-3)
    assert plan.power[5:95] == pytest.approx(215.48, abs=0.5)
    assert plan.power[105:195] == pytest.approx(384.52, abs=0.5)


def test_the_highest_constant_speed_is_that_of_the_plan():
    assert constant_speed(hill(**MEAN)) == pytest.approx(738.518, abs=0.02)


def test_constant_power_on_two_slopes_is_slower():
    problem = hill(step=1.0, start_speed=6.9463)
    assert float(simulate(problem, problem.critical_power).finish_time) == pytest.approx(
        748.628, abs=0.05)


def test_mean_is_limit_makes_power_constant():
    problem = hill(**MEAN, inertia=20.0)
    plan = solve(replace(problem, power_limit=problem.critical_power * 1.0005))
    assert plan.power[:-10] == pytest.approx(300.0, abs=0.5)  # the finish may be coasted
    even = simulate(problem, problem.critical_power)
    assert plan.finish_time == pytest.approx(float(even.finish_time), rel=5e-4)


def test_stationarity_with_wind():
    plan = solve(windy(**MEAN))
    assert plan.finish_time == pytest.approx(3549.17, abs=0.05)
    into, away = plan.power[100:900], plan.power[1100:1900]
    assert into == pytest.approx(365.03, abs=0.5)
    assert away == pytest.approx(190.42, abs=0.5)
    speed = plan.speed[100:900].mean(), plan.speed[1100:1900].mean()
    assert speed == pytest.approx((9.9809, 12.9421), abs=5e-3)
    curve = [v**2 * (1.2234 * 0.2609 * (v + wind) + 8.7e-3)
             for v, wind in zip(speed, (4.4, -4.4), strict=True)]
    assert curve[0] == pytest.approx(curve[1], rel=2e-3)
