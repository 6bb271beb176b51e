"""Splits by kit: a named kit that is the best or the current one is no second column."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.job.plans import draws_of
from optimizer.job.set_splits import set_splits
from optimizer.uncertainty import ride_days
from tests.report.made_up import made_up_result


@pytest.fixture(scope="module")
def result():
    found = made_up_result()
    return replace(found, job=replace(found.job, options=replace(found.job.options, draws=50)))


def test_a_kit_with_two_names_is_one_column(result):
    choice = result.choice
    job = replace(result.job, named_sets=(
        ("As it stands", choice.owned.items), ("All in", tuple(reversed(choice.best.items))),
        ("Tyres only", ("Light tyres",))))
    draws = draws_of(job, result.day)
    drawn = ride_days(result.plan, result.day, draws, job.effects, choice.best.items).time
    found = set_splits(job, result.day, choice, result.plan, result.baseline_plan, draws, drawn)
    assert [kit.name for kit in found] == [
        "best kit (All in)", "current kit (As it stands)", "Tyres only"]
    assert found[1].arrival[-1] == pytest.approx(result.baseline_plan.finish_time)
    assert found[0].arrival[-1] < found[2].arrival[-1] < found[1].arrival[-1]
