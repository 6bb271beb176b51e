"""The whole job on recorded tracks that nobody here made."""

from __future__ import annotations

import json

import numpy as np
import pytest

from optimizer.job import run
from optimizer.report import write_report
from optimizer.report.result_json import write_json
from optimizer.scenario import read_scenario
from optimizer.scenario.starter import write_starter
from tests.tracks import recorded_ride, track

# Kilometres that are ridden: of tracks in several pieces the longest piece, without the loops of
# a recorder at rest. Whole lengths were computed by the WGS84 inverse (see the tests of courses).
LENGTHS = {
    "ExampleTrack.gpx": 18.9, "ExampleTrack_NoTime.gpx": 23.8, "route-1.1.gpx": 21.5,
    "korita-zbevnica.gpx": 8.6, "cerknicko-jezero.gpx": 2.8, "Mojstrovka.gpx": 2.7,
    "around-visnjan-with-car.gpx": 2.7,
}
# A hike over rocks: grades to 80 %, where waiting for the reserve pays and the bound is weak.
NO_ROAD = {"Mojstrovka.gpx"}


def job(folder, gpx):
    write_starter(folder)
    (folder / "track.toml").write_text(
        f'name = "Recorded"\nrider = "rider.toml"\nbudget = 400\n[course]\ngpx = "{gpx}"\n'
        "[conditions]\nwind = { speed_kmh = 12, from_deg = 250 }\n"
        '[kit]\ncatalogue = "kit.csv"\nevidence = "evidence.csv"\n[options]\ndraws = 100\n')
    return read_scenario(folder / "track.toml")


def check(result, tmp_path, slowest=3.0):
    plan = result.plan
    assert np.isfinite(plan.time).all()
    assert np.all(np.diff(plan.time) > 0)
    assert slowest < plan.distance[-1] / plan.finish_time < 20.0
    assert plan.lowest_reserve > -1.0
    assert result.choice.best.spend <= 400
    assert plan.finish_time <= result.baseline_plan.finish_time + 0.01
    assert result.spread[0] < result.spread[2]
    assert write_report(result, tmp_path / "report.html").stat().st_size > 100_000
    document = json.loads(write_json(result, tmp_path / "plan.json").read_text())
    assert document["plan"]["finish_time_s"] == pytest.approx(plan.finish_time)


# The long ones take half a minute to minutes each.
LONG = {"ExampleTrack_NoTime.gpx", "route-1.1.gpx", "korita-zbevnica.gpx", "Mojstrovka.gpx"}
MARKS = {**dict.fromkeys(("ExampleTrack.gpx", "around-visnjan-with-car.gpx"), pytest.mark.ci),
         **dict.fromkeys(LONG, pytest.mark.long)}


@pytest.mark.parametrize("name", [
    pytest.param(name, marks=MARKS.get(name, ())) for name in LENGTHS])
def test_a_track_from_a_package_is_planned(name, tmp_path):
    result = run(job(tmp_path / "race", track(name)))
    assert result.job.course.length / 1000 == pytest.approx(LENGTHS[name], abs=0.15)
    check(result, tmp_path, slowest=1.5 if name in NO_ROAD else 3.0)
    if name not in NO_ROAD:
        assert result.plan.lossless
        assert result.plan.gap < 0.1


@pytest.mark.ci
def test_one_recorded_ride_is_planned(tmp_path):
    # One recorded ride, test data of python-fitparse (MIT): 40,226.7 m, 279.7 W on average in
    # 4543 s. Rider and bike are unknown; the starter's rider has 236 W and is to be slower than
    # a fast group ride, yet no slower than half of it.
    result = run(job(tmp_path / "race", recorded_ride()))
    assert result.job.course.length == pytest.approx(40_226.7, rel=0.005)
    check(result, tmp_path)
    assert result.plan.gap < 0.1
    assert 0.7 < result.plan.finish_time / 4543 < 1.5
