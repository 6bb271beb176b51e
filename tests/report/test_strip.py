"""What is said below the picture of the ride."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from optimizer.report.strip import strip
from tests.report.made_up import made_up_result


def test_the_lowest_speed_is_that_of_the_road_and_not_of_the_first_metres():
    result = made_up_result()
    speed = np.full(result.plan.problem.steps + 1, 10.0)
    speed[:4] = [0.0, 1.0, 2.0, 4.0]
    speed[20], speed[30] = 3.0, 15.0
    ridden = replace(result, rideable=replace(result.rideable, speed=speed))
    said = strip(ridden).finding
    place = result.plan.distance[20] / 1000.0
    assert said.startswith(f"Once under way, speed lies between 11 (at {place:.1f} km) and 54 km")
