"""A set of kit has one time and one range, whichever command says it, in an hourly forecast too."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optimizer.job import day_of
from optimizer.job.plans import draws_of
from optimizer.job.run import run
from optimizer.kit import choose_kit
from optimizer.kit.compare import compare_sets
from optimizer.kit.evaluator import pacing_evaluator
from optimizer.scenario import read_scenario

COURSES = Path(__file__).parents[2] / "courses"


@pytest.mark.long
@pytest.mark.parametrize("name", ["petrel-flats", "quern-pass", "tarn-loop"])
def test_plan_kit_and_compare_agree(name):
    job = read_scenario(COURSES / name / "scenario.toml")
    hours = 3600.0 * np.arange(5)
    turn = np.radians(12.0) * np.arange(5)[:, None]
    air = job.conditions
    east, north = float(air.wind_east.flat[0]), float(air.wind_north.flat[0])
    grow = 1.0 + 0.25 * np.arange(5)[:, None]
    job = replace(job, conditions=replace(
        air, wind_time=hours, wind_distance=np.zeros(1), members=None,
        wind_east=grow * (np.cos(turn) * east + np.sin(turn) * north),
        wind_north=grow * (np.cos(turn) * north - np.sin(turn) * east),
        temperature_change=np.zeros((1, 1)), gust=np.zeros((1, 1))))
    result = run(job)
    day = day_of(job)
    choice = choose_kit(day, job.baseline, job.catalogue, job.effects, job.budget, job.currency,
                        rules=job.rules)
    assert choice.best.items == result.choice.best.items
    told = {kit.items: kit.finish_time for kit in result.choice.frontier}
    sets = (("best", choice.best.items), ("owned", choice.owned.items))
    side = compare_sets(day, job.baseline, job.catalogue, job.effects, sets,
                        pacing_evaluator(day, job.baseline), count=draws_of(job, day).count,
                        seed=job.options.seed)
    for run_of, plan, kit, splits in (
            (side.runs[0], result.plan, choice.best, result.splits[0]),
            (side.runs[1], result.baseline_plan, choice.owned, result.splits[1])):
        times = [plan.finish_time, kit.finish_time, told[kit.items], splits.arrival[-1],
                 run_of.plan.finish_time]
        assert np.ptp(times) < 0.01
        assert run_of.low[-1] == pytest.approx(splits.low[-1], abs=0.05)
        assert run_of.high[-1] == pytest.approx(splits.high[-1], abs=0.05)
