"""Results as DataFrames say what the result says."""

from __future__ import annotations

import numpy as np
import pytest

import optimizer
from optimizer.job import frames
from optimizer.report.plan_page import plan_page
from optimizer.report.result_json import splits as json_splits
from optimizer.report.stated import stated
from optimizer.report.words import clock
from optimizer.report.workbook import plan_sheets
from tests.report.made_up import made_up_result


@pytest.fixture(scope="module")
def result():
    return made_up_result()


def test_splits_hold_every_set_at_every_place(result):
    table = frames.splits(result)
    assert len(table) == sum(len(run.arrival) for run in result.splits)
    ends = table[table.place == "Finish"].set_index("kit")
    for run in result.splits:
        assert ends.ideal_s[run.name] == run.arrival[-1]
    own, *others = ends.card_s
    assert own == stated(result).finish == result.rideable.finish_time > result.plan.finish_time
    assert np.isnan(others).all()
    assert table.groupby("kit").ideal_s.apply(lambda times: times.is_monotonic_increasing).all()


def test_the_finish_by_the_card_is_that_of_every_page(result):
    """In the sheet that `--tables` writes, as on the report's page and in its JSON."""
    _, heads, rows = plan_sheets(result)[0]
    mine = [row for row in rows if row[0] == result.splits[0].name]
    told = [row["rideable_s"] for row in json_splits(result)]
    assert [row[heads.index("card_s")] for row in mine] == pytest.approx(told)
    assert clock(mine[-1][heads.index("card_s")]) in plan_page(result)


def test_the_frontier_is_cheaper_to_faster_and_marks_the_choice(result):
    table = frames.frontier(result)
    assert table.spend.is_monotonic_increasing
    assert table.ideal_s.is_monotonic_decreasing
    assert table.saved_s.iloc[0] == 0.0
    assert [set(items) for items in table["items"][table.chosen]] in (
        [], [set(result.choice.best.items)])


def test_the_profile_adds_up_to_the_plan(result):
    table, plan = frames.profile(result), result.plan
    assert len(table) == plan.problem.steps
    time = float((table.length_m / (table.speed_kmh / 3.6)).sum())
    assert time == pytest.approx(plan.finish_time)
    assert table.card_time_s.iloc[-1] < result.rideable.finish_time
    work = float((table.power_w * table.length_m / (table.speed_kmh / 3.6)).sum())
    assert work == pytest.approx(plan.work)
    assert np.all(np.diff(table.km) > 0)


def test_worth_begins_with_what_saves_most(result):
    table = frames.worth(result)
    assert table.seconds.is_monotonic_decreasing
    assert dict(zip(table["item"], table.seconds, strict=True)) == {
        one.item: one.seconds for one in result.worth}


def test_the_names_stand_at_the_root():
    for name in frames.__all__:
        assert getattr(optimizer, name) is getattr(frames, name)
