"""Results as DataFrames say what the result says."""

from __future__ import annotations

import numpy as np
import pytest

import optimizer
from optimizer.job import frames
from tests.report.made_up import made_up_result


@pytest.fixture(scope="module")
def result():
    return made_up_result()


def test_splits_hold_every_set_at_every_place(result):
    table = frames.splits(result)
    assert len(table) == sum(len(run.arrival) for run in result.splits)
    ends = table[table.place == "Finish"].set_index("kit").arrival_s
    for run in result.splits:
        assert ends[run.name] == run.arrival[-1]
    assert table.groupby("kit").arrival_s.apply(lambda times: times.is_monotonic_increasing).all()


def test_the_frontier_is_cheaper_to_faster_and_marks_the_choice(result):
    table = frames.frontier(result)
    assert table.spend.is_monotonic_increasing
    assert table.finish_s.is_monotonic_decreasing
    assert table.saved_s.iloc[0] == 0.0
    assert [set(items) for items in table["items"][table.chosen]] in (
        [], [set(result.choice.best.items)])


def test_the_profile_adds_up_to_the_plan(result):
    table, plan = frames.profile(result), result.plan
    assert len(table) == plan.problem.steps
    time = float((table.length_m / (table.speed_kmh / 3.6)).sum())
    assert time == pytest.approx(plan.finish_time)
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
