"""An item saves the same, with the same range, on the page of the kit and in the report."""

from __future__ import annotations

import pytest

from optimizer.job import day_of
from optimizer.job.sensitivity import worth
from optimizer.kit.decision import decide_kit
from optimizer.pacing import plan_ride
from optimizer.scenario import read_scenario
from optimizer.scenario.starter import write_starter


@pytest.mark.ci
def test_an_item_has_one_range(tmp_path):
    write_starter(tmp_path / "race")
    job = read_scenario(tmp_path / "race" / "scenario.toml")
    day = day_of(job)
    found = decide_kit(day, job.baseline, job.catalogue, job.effects, job.budget, job.currency,
                      count=50)
    owned = found.choice.owned
    told = {row.item: row for row in worth(job, owned, plan_ride(day, owned.setup))}
    alone = [purchase for purchase in found.purchases if len(purchase.items) == 1]
    assert len(alone) > 3
    for purchase in alone:
        row = told[purchase.items[0]]
        assert (purchase.seconds, purchase.low, purchase.high) == pytest.approx(
            (row.seconds, row.low, row.high), abs=0.02)
