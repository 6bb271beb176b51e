"""Atkinson, Peacock and Passfield 2007, J. Sports Sci. 25:1001-1009: what varying power saves.

At 289 W, varied by 10 % without holding its mean: 126 s over 10 km of alternating kilometres at
+10 and -10 %, 51 s over 40 km of alternating 5 km into and with 4.4 m/s. Neither the drag area
nor the rolling resistance is in the abstract; those of Martin et al. 1998 are taken. That the
mean was not held is inferred from the match, so these are checks of the forward model, not of
plans at equal work.
"""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.pacing import simulate
from tests.published.uniform_course import stretches

KIT = {"mass": 80.0, "area": 0.2609, "rolling": 0.0032, "efficiency": 0.976,
       "bearing": (0.091, 0.0087), "gravity": 9.81, "power": 289.0, "inertia": 0.5}


def saving(problem, harder):
    even = simulate(problem, problem.critical_power)
    varied = simulate(problem, problem.critical_power * np.where(harder, 1.1, 0.9))
    return float(even.finish_time), float(even.finish_time - varied.finish_time)


def test_hills():
    problem = stretches([1000.0] * 10, step=1.0, grades=[0.1, -0.1] * 5, start_speed=3.5, **KIT)
    even, saved = saving(problem, problem.grade > 0)
    assert even == pytest.approx(1677.4, abs=4.0)
    assert saved == pytest.approx(126.0, abs=2.0)


def test_wind():
    problem = stretches([5000.0] * 8, step=5.0, winds=[4.4, -4.4] * 4, start_speed=9.0, **KIT)
    even, saved = saving(problem, problem.headwind > 0)
    assert even == pytest.approx(3592.3, abs=1.0)
    assert saved == pytest.approx(51.0, abs=2.0)
