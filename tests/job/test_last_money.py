"""`plan` and `kit` say the same of the same scenario and budget: kit, time, what is sure."""

from __future__ import annotations

from pathlib import Path

import pytest

from optimizer import read_scenario
from optimizer.job import day_of, run
from optimizer.kit.decision import decide_kit
from optimizer.report.kit_page import kit_lead
from optimizer.report.money import clearly_different, money_doubts

COURSES = Path(__file__).parents[2] / "courses"


@pytest.mark.parametrize("name", [
    pytest.param("petrel-flats", marks=pytest.mark.ci),
    pytest.param("quern-pass", marks=pytest.mark.long),
    pytest.param("tarn-loop", marks=pytest.mark.long)])
def test_plan_and_kit_say_the_same_of_the_last_money(name):
    job = read_scenario(COURSES / name / "scenario.toml")
    result = run(job)
    decision = decide_kit(
        day_of(job), job.baseline, job.catalogue, job.effects, job.budget, job.currency,
        count=job.options.draws, seed=job.options.seed, least_gain=job.options.least_gain,
        rules=job.rules)
    assert result.choice.best.items == decision.chosen.items
    assert result.choice.best.finish_time == pytest.approx(decision.chosen.finish_time, abs=0.01)
    within = {rival.kit.items: rival for rival in result.rivals
              if rival.kit.spend <= job.budget + 1e-9}
    assert within.keys() == {rival.kit.items for rival in decision.rivals}
    for rival in decision.rivals:
        same = within[rival.kit.items]
        assert same.clear == rival.clear
        assert same.behind == pytest.approx(rival.behind, abs=0.02)
    told = kit_lead(job, decision)
    for sentence in money_doubts(result):
        assert sentence in told
    assert len(clearly_different(result)) == len(result.choice.frontier)
