"""The ride that is the plan, recorded: the debrief has to find the plan again.

The recording is made from the planned profile alone; the truth of CdA, Crr and wind is the plan's.
"""

from __future__ import annotations

from dataclasses import replace
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
from tests.later import later

DEMOS = Path(__file__).parents[2] / "courses"


def planned(scenario):
    """The plan of a scenario with its bike as it stands."""
    job = read_scenario(scenario)
    day = day_of(job)
    plan = plan_ride(day, job.baseline)
    few = ride_in_blocks(day, plan, job.options)
    return Intended(day.course, day.conditions, day.rider, job.baseline, plan.problem,
                    plan.distance, few.power, few.time, few.reserve)


def recorded(intended, seed=5, *, positions=False, noise=1.0):
    """Sample the planned ride each second; the meter gives the mean of the second about its stamp.

    Noise of 0.2 % in speed and 3 % in power a sample, times `noise`.
    """
    rng = np.random.default_rng(seed)
    road, ride = intended.course, simulate(intended.problem, intended.power)
    at = np.arange(0.0, ride.time[-1])
    place = np.interp(at, ride.time, intended.nodes)
    work = np.append(0.0, np.cumsum(intended.power * np.diff(ride.time)))
    power = np.interp(at + 0.5, ride.time, work) - np.interp(at - 0.5, ride.time, work)
    nowhere = np.full(len(at), np.nan)
    latitude, longitude = (np.interp(place, road.distance, line) if positions else nowhere
                           for line in (road.latitude, road.longitude))
    return Ride(
        "as planned", at, place,
        np.interp(place, intended.nodes, ride.speed) * rng.normal(1.0, 0.002 * noise, len(at)),
        power * rng.normal(1.0, 0.03 * noise, len(at)),
        np.interp(place, road.distance, road.elevation), latitude, longitude)


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


@pytest.mark.parametrize("demo", ["petrel-flats", *later("quern-pass")])
def test_the_plan_of_a_demo_is_found_again(demo):
    intended = planned(DEMOS / demo / "scenario.toml")
    as_planned(intended, debrief(recorded(intended), intended))


@pytest.mark.parametrize("positions", [*later(False), True])
def test_two_and_a_half_hours_that_grow_warmer_are_found_again(positions):
    """From eight to eleven the air warms by 6 K and gets thinner by 2 % (Charles's law)."""
    intended = planned(DEMOS / "tarn-loop" / "scenario.toml")
    found = debrief(recorded(intended, positions=positions, noise=0.0), intended)
    as_planned(intended, found)
    assert all(abs(seconds) < 2.0 for seconds in found.parts.values())


@pytest.mark.ci
def test_a_field_test_in_warming_air_knows_its_density(started):
    """Air that warms by 8 K is thinner (Charles's law), so the same ride had more CdA."""
    so = started
    ride = recorded(so, noise=0.0)
    hour = np.array([0.0, float(ride.time[-1])])
    still = np.zeros((2, 1))
    steady = Conditions(temperature=290.0, wind_time=hour, wind_east=still, wind_north=still,
                        temperature_change=still)
    warming = replace(steady, temperature_change=np.array([[0.0], [8.0]]))
    cool, warm = (field_test(Runs((ride,), ("bike",), (air,), so.setup, so.rider.mass))
                  for air in (steady, warming))
    assert warm.air_density / cool.air_density == pytest.approx(290.0 / 294.0, abs=0.002)
    assert warm.drag_area[0] > 1.01 * cool.drag_area[0]


@pytest.mark.ci
def test_a_wind_without_heading_is_no_lee(started):
    """Without heading the wind is unknown: half of a loop has less drag, and all of it counts."""
    so = started
    runs = Runs((recorded(so),), ("bike",), (Conditions(),), so.setup, so.rider.mass)
    test = field_test(runs)
    assert test.common_draft > 0.15
    assert not any(part.reason == DRAFT for part in test.left_out)
    assert test.drag_area_low[0] < so.rider.positions[0].drag_area < test.drag_area_high[0]
    # What lee or wind adds to the range is in every row but its own.
    whole = np.sqrt(test.free.moments()[1][0, 0])
    added = np.sqrt(whole**2 - test.shrinks["lee or tail wind"]**2)
    assert added > 0.0
    assert all(added < sd < 1.02 * whole for name, sd in test.shrinks.items()
               if name != "lee or tail wind")
    told = debrief(recorded(so), so)
    assert test.drag_area_sd[0] > 2.0 * told.drag_area_sd
