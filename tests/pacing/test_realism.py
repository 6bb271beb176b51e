"""The figures that say whether a plan can be ridden."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer.pacing import realism
from tests.report.made_up import made_up_result


def test_watts_in_a_position_that_costs_power_count_as_what_they_are_there():
    """97 % of CP on the bars: the same watts are nearer to what can be held."""
    result = made_up_result()
    plan, rider = result.plan, result.day.rider
    there = replace(plan, problem=replace(
        plan.problem, critical_power=0.97 * plan.problem.critical_power))
    assert realism(there, rider).stretch == pytest.approx(realism(plan, rider).stretch / 0.97)
