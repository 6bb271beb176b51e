"""The ride that is the plan, recorded without positions: the debrief has to find the plan again.

The recording is made from the planned profile alone; the truth of CdA, Crr and wind is the plan's.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from optimizer.conditions import Conditions
from optimizer.job.plans import day_of, ride_in_blocks
from optimizer.pacing import plan_ride, simulate
from optimizer.ride.debrief import Intended, debrief
from optimizer.ride.field_test import Runs, field_test
from optimizer.ride.ride import Ride
from optimizer.ride.stretches import BRAKING, DRAFT
from optimizer.scenario import read_scenario
from optimizer.scenario.starter import write_starter

DEMOS = Path(__file__).parents[2] / "courses"


def planned(scenario):
    """The plan of a scenario with its bike as it stands."""
    job = read_scenario(scenario)
    day = day_of(job)
    plan = plan_ride(day, job.baseline)
    few = ride_in_blocks(day, plan, job.options)
    return Intended(day.course, day.conditions, day.rider, job.baseline, plan.problem,
                    plan.distance, few.power, few.time, few.reserve)


def recorded(intended, seed=5):
    """Sample the planned ride each second: noise of 0.2 % in speed, 3 % in power; no positions."""
    rng = np.random.default_rng(seed)
    ride = simulate(intended.problem, intended.power)
    at = np.arange(0.0, ride.time[-1])
    place = np.interp(at, ride.time, intended.nodes)
    nowhere = np.full(len(at), np.nan)
    return Ride(
        "as planned", at, place,
        np.interp(place, intended.nodes, ride.speed) * rng.normal(1.0, 0.002, len(at)),
        np.interp(place, intended.nodes[1:], intended.power) * rng.normal(1.0, 0.03, len(at)),
        np.interp(place, intended.course.distance, intended.course.elevation), nowhere, nowhere)


@pytest.fixture(scope="module")
def started(tmp_path_factory):
    """The course that a newcomer starts with, in its wind of 12 km/h."""
    where = tmp_path_factory.mktemp("new") / "my-race"
    write_starter(where)
    return planned(where / "scenario.toml")


def as_planned(intended, found):
    """Bounds on CdA, drag and rest; what is left out are start, brakes and little more."""
    assert abs(found.drag_area - found.planned_drag_area) < max(2.0 * found.drag_area_sd, 0.004)
    assert found.drag_area_sd < 0.03
    assert abs(found.parts["drag and tyres"]) < 5.0
    assert abs(found.parts["rest"]) < 5.0
    out = sum(part.seconds for part in found.test.left_out if part.reason != BRAKING)
    assert out < 0.05 * intended.time[-1]
    assert not any(part.reason == DRAFT for part in found.test.left_out)


def test_the_plan_of_a_new_folder_is_found_again(started):
    as_planned(started, debrief(recorded(started), started))


@pytest.mark.parametrize("demo", ["petrel-flats", "quern-pass"])
def test_the_plan_of_a_demo_is_found_again(demo):
    intended = planned(DEMOS / demo / "scenario.toml")
    as_planned(intended, debrief(recorded(intended), intended))


def test_a_wind_without_heading_is_no_lee(started):
    """Without heading the wind is unknown: half of a loop has less drag, and all of it counts."""
    so = started
    runs = Runs((recorded(so),), ("bike",), (Conditions(),), so.setup, so.rider.mass)
    test = field_test(runs)
    assert test.common_lee > 0.15
    assert not any(part.reason == DRAFT for part in test.left_out)
    assert test.drag_area_low[0] < so.rider.positions[0].drag_area < test.drag_area_high[0]
    told = debrief(recorded(so), so)
    assert test.drag_area_sd[0] > 2.0 * told.drag_area_sd
