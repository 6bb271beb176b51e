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
    # Tyres front and rear are twins: either search may have looked at one of them only.
    within, asked = (sorted((rival for rival in some if rival.kit.spend <= job.budget + 1e-9),
                            key=lambda rival: (rival.kit.spend, rival.kit.finish_time))
                     for some in (result.rivals, decision.rivals))
    assert len(within) == len(asked)
    for same, rival in zip(within, asked, strict=True):
        assert same.kit.spend == rival.kit.spend
        assert same.kit.finish_time == pytest.approx(rival.kit.finish_time, abs=0.02)
        if same.kit.items == rival.kit.items:  # twins have draws of their own
            assert same.clear == rival.clear
            assert same.behind == pytest.approx(rival.behind, abs=0.02)
    assert sum(same.kit.items != rival.kit.items
               for same, rival in zip(within, asked, strict=True)) <= 0.05 * len(asked)
    told = kit_lead(job, decision)
    for sentence in money_doubts(result):
        assert sentence in told
    assert len(clearly_different(result)) == len(result.choice.frontier)
