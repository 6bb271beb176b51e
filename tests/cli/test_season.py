"""Four races in a row, each debriefed into the plan of the next."""

from __future__ import annotations

import json
import re
import tomllib

import numpy as np
import pytest

from optimizer.course import read_course
from optimizer.errors import InputError
from optimizer.scenario.rider_file import read_rider, read_season
from tests.cli.test_rides import kitpace, write

pytestmark = pytest.mark.long

TRUE_AREA = 0.02  # m², by which the rider really has more drag than the first plan supposes


def _race(folder, course, plan, seed):
    """Ride the plan's powers with more drag than planned, and a drag of the day."""
    from dataclasses import replace

    from optimizer.pacing import simulate
    from optimizer.physics import DragArea

    rng = np.random.default_rng(seed)
    problem, power = plan
    area = TRUE_AREA + 0.004 * rng.standard_normal()
    there = replace(problem, drag=DragArea(problem.drag.yaw, problem.drag.area + area))
    time = simulate(there, power).time
    nodes = np.concatenate([[0.0], np.cumsum(problem.step)])
    at = np.arange(0.0, time[-1] + 1.0)
    place = np.interp(at, time, nodes)
    watts = np.interp(place, 0.5 * (nodes[1:] + nodes[:-1]), power)
    return write(folder / f"race{seed}.csv", {
        "elapsed_s": at, "distance_m": place, "speed_mps": np.gradient(place),
        "power_w": watts * (1.0 + 0.01 * rng.standard_normal(len(at))),
        "elevation_m": np.interp(place, course.distance, course.elevation)
        + 0.2 * rng.standard_normal(len(at)),
        "latitude_deg": np.interp(place, course.distance, course.latitude),
        "longitude_deg": np.interp(place, course.distance, course.longitude)})


@pytest.fixture(scope="module")
def season(tmp_path_factory):
    from optimizer.job import day_of
    from optimizer.pacing import plan_ride
    from optimizer.scenario import read_scenario

    folder = tmp_path_factory.mktemp("season") / "race"
    assert kitpace("new", folder).exit_code == 0
    scenario, said = folder / "scenario.toml", []
    job = read_scenario(str(scenario), budget=0)
    plan = plan_ride(day_of(job), job.baseline)
    truth = (plan.problem, plan.power)
    course = read_course(folder / "course.gpx")
    scenarios = [scenario]
    for k in range(3):
        ride = _race(folder, course, truth, k)
        target = folder / f"next{k}.toml"
        done = kitpace("debrief", scenario, ride, "--budget", 0, "--out", folder / f"{k}.html",
                       "--update", target)
        assert done.exit_code == 0, done.exception
        said.append(done.output)
        scenario = target
        scenarios.append(target)
    return scenarios, said


def _rider(scenario):
    name = tomllib.loads(scenario.read_text(encoding="utf-8"))["rider"]
    return scenario.parent / name


def test_the_fourth_plan_is_surer_than_the_first_and_nearer_the_truth(season):
    scenarios, _ = season
    riders = [read_rider(_rider(path)) for path in scenarios]
    sds = [rider.drag_area_sd for rider in riders]
    assert sds[3] < sds[1]
    assert sds[3] < sds[0]
    off = [rider.positions[0].drag_area - riders[0].positions[0].drag_area - TRUE_AREA
           for rider in riders]
    assert abs(off[3]) < abs(off[0])
    assert abs(off[3]) < 2.5 * sds[3]


def test_the_rides_and_what_was_known_before_each_are_kept(season):
    scenarios, said = season
    kept = read_season(_rider(scenarios[3]))
    assert [ride.ride for ride in kept.rides] == ["race0", "race1", "race2"]
    first = read_rider(_rider(scenarios[0]))
    assert kept.before.power == pytest.approx(first.critical_power, abs=0.01)
    table = tomllib.loads(_rider(scenarios[3]).read_text(encoding="utf-8"))["season"]
    assert len({ride["planned_drag_area_sd_m2"] for ride in table["rides"]}) == 3
    assert "From 3 rides of the season" in said[2]
    assert re.search(r"exponent \d", said[2])


def test_the_change_of_each_plan_is_that_of_the_season_not_of_the_last_ride(season):
    """What the figures carry by now is what the season says, added once."""
    scenarios, _ = season
    first = read_rider(_rider(scenarios[0])).positions[0].drag_area
    for path in scenarios[1:]:
        kept = read_season(_rider(path))
        assert read_rider(_rider(path)).positions[0].drag_area - first == pytest.approx(
            kept.drag_area_change, abs=2e-4)


def test_the_new_scenario_plans(season):
    scenarios, _ = season
    target = scenarios[3].with_name("plan.json")
    done = kitpace("plan", scenarios[3], "--budget", 0, "--out", scenarios[3].with_name("p.html"),
                   "--json", target)
    assert done.exit_code == 0, done.exception
    assert json.loads(target.read_text(encoding="utf-8"))["profile"]


def test_a_season_that_makes_no_sense_is_refused_with_its_line(season, tmp_path):
    scenarios, _ = season
    text = _rider(scenarios[1]).read_text(encoding="utf-8")
    bad = tmp_path / "rider.toml"
    bad.write_text(re.sub(r"critical_power_by_effort_w = \[[^\]]*\]",
                          "critical_power_by_effort_w = [250.0]", text), encoding="utf-8")
    with pytest.raises(InputError, match="critical_power_by_effort_w"):
        read_season(bad)
