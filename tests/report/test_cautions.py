"""Cautions of the day: what the plan does not count is said before the ride, and on the card."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.job.values import Risk
from optimizer.report.card import card_rules
from optimizer.report.cautions import card_cautions, day_cautions, hot_from
from optimizer.report.held import risk_rule, risk_sentence
from optimizer.report.plan_page import plan_page
from tests.report.made_up import made_up_result


@pytest.fixture(scope="module")
def result():
    return made_up_result()


def at(result, *, up=0.0, celsius=15.0, **rider):
    """The same ride `up` metres higher, at a temperature, by a rider with other habits."""
    job = result.job
    return replace(result, job=replace(
        job, course=replace(job.course, elevation=job.course.elevation + up),
        conditions=replace(job.conditions, temperature=celsius + 273.15),
        rider=replace(job.rider, **rider)))


def test_a_cool_day_low_down_needs_none(result):
    assert day_cautions(at(result)) == []


def test_height_that_the_plan_leaves_out_is_said(result):
    """Bassett et al. 1999: some 12 % of aerobic power at 2,000 m for who is not used to it."""
    lifted = at(result, up=2000.0 - float(np.mean(result.job.course.elevation)))
    (said,) = day_cautions(lifted)
    assert "at 2,000 m" in said
    assert "about 12 % less" in said
    assert any("12 %" in rule for rule in card_rules(lifted))
    assert said[:40] in plan_page(lifted)
    for rider in ({"altitude_response": "unacclimatised"}, {"tested_elevation": 2000.0}):
        assert day_cautions(replace(lifted, job=replace(
            lifted.job, rider=replace(lifted.job.rider, **rider)))) == []


def test_heat_that_the_plan_leaves_out_is_said(result):
    """0.72 % a kelvin above 20 °C (Tatterson et al. 2000)."""
    (said,) = day_cautions(at(result, celsius=36.0))
    assert "at 36 °C" in said
    assert "about 12 % less" in said
    counted = at(result, celsius=36.0, heat_response="unacclimatised")
    assert day_cautions(counted) == []
    assert any(rule.startswith("Hot: drink") for rule in card_cautions(counted))


def test_a_try_knows_from_where_on_heat_is_left_out(result):
    warm = [20.0, 24.0, 26.0, 30.0]
    assert hot_from(result.job.rider, warm) == 26.0
    assert hot_from(replace(result.job.rider, heat_response="acclimatised"), warm) is None


def test_a_chance_says_what_it_leaves_out(result):
    risky = replace(result, risk=Risk(0.5, 0.5, 0.0, 20.0, 0.1, result.plan.mean_power - 9.0))
    assert "not counted" not in risk_rule(at(risky)) + risk_sentence(at(risky))
    hot = at(risky, celsius=36.0)
    assert risk_rule(hot).startswith("Too hard to hold on 50 days in 100, heat not counted; ")
    assert "to the finish, heat not counted. " in risk_sentence(hot)


def test_height_and_heat_are_told_together(result):
    both = at(result, up=2000.0 - float(np.mean(result.job.course.elevation)), celsius=36.0)
    height, heat = day_cautions(both)
    assert "together" not in height
    assert heat.endswith("Height and heat together take about 23 %.")
