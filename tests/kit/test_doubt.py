"""Common draws, chances and safe plans."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from optimizer.conditions.draws import WindDraws
from optimizer.day import RaceDay
from optimizer.errors import Infeasible
from optimizer.evidence import Effect
from optimizer.kit.doubt import (
    chance_faster,
    chance_of_emptying,
    draw,
    finish_times,
    ride_in_draws,
    safe_plan,
)
from optimizer.kit.judge import pacing_judge
from optimizer.pacing import simulate
from tests.kit.invented import BASELINE, RIDER, road, wind

COURSE = road(np.random.default_rng(8), length=10_000.0)
WIND = wind(3.0, 1.0)
EFFECTS = (Effect("a", drag_area=np.array([-0.010]), drag_area_sd=0.004),
           Effect("b", drag_area=np.array([-0.008]), drag_area_sd=0.003, efficiency_sd=0.004,
                  rolling_resistance_sd=2e-4, mass_sd=0.1))


@pytest.fixture(scope="module")
def plan():
    judge = pacing_judge(RaceDay(COURSE, WIND, RIDER, step=300.0), BASELINE)
    return judge.plan(BASELINE)


def test_the_same_seed_gives_the_same_days():
    first, again = (draw(WIND, RIDER, EFFECTS, 50, 7) for _ in range(2))
    assert np.array_equal(first.critical_power, again.critical_power)
    assert np.array_equal(first.items["b"], again.items["b"])
    assert not np.array_equal(first.drag_area, draw(WIND, RIDER, EFFECTS, 50, 8).drag_area)


def test_a_day_without_doubt_is_the_plan(plan):
    sure = replace(RIDER, critical_power_sd=0.0, drag_area_sd=0.0)
    calm = replace(WIND, speed_sd=0.0, direction_sd=0.0)
    still = draw(calm, sure, (), 3, 1)
    times = finish_times(plan, ride_in_draws(plan, still, (), []))
    assert times == pytest.approx(np.full(3, plan.finish_time), abs=0.02)


@pytest.mark.parametrize("share", [-0.01, 0.01])
def test_a_drawn_drivetrain_does_what_that_efficiency_does(plan, share):
    draws = draw(replace(WIND, speed_sd=0.0, direction_sd=0.0),
                 replace(RIDER, critical_power_sd=0.0, drag_area_sd=0.0), (), 1, 1)
    draws = replace(draws, items={"chain": np.array([share / 0.004])})
    ride = ride_in_draws(plan, draws, (Effect("chain", efficiency_sd=0.004),), ["chain"])
    p = plan.problem
    other = replace(p, drivetrain_efficiency=p.drivetrain_efficiency + share)
    expected = simulate(other, plan.power).finish_time
    assert ride.time[-1, 0] == pytest.approx(float(expected), abs=0.05)


def test_a_beats_b_as_the_normal_law_says():
    """Two normal effects: P(A faster) = Φ(mean / sd) of their difference, by hand."""
    k = 20_000
    draws = draw(WIND, RIDER, EFFECTS, k, 3)
    slope = 900.0  # s/m², any
    a, b = (-slope * (0.010 if n == "a" else 0.008)
            + slope * draws.items[n] * (0.004 if n == "a" else 0.003) for n in ("a", "b"))
    expected = 0.5 * math.erfc(-(0.010 - 0.008) / 0.005 / math.sqrt(2))
    error = math.sqrt(expected * (1 - expected) / k)
    assert abs(chance_faster(a, b) - expected) < 4 * error
    assert chance_faster(a, b) + chance_faster(b, a) == pytest.approx(1.0)
    assert chance_faster(a, a) == 0.5


def test_a_beats_b_by_riding_agrees_with_the_normal_law(plan):
    """With doubt in the evidence alone the ridden times are near normal: the closed form again."""
    judge = pacing_judge(RaceDay(COURSE, WIND, RIDER, step=300.0), BASELINE)
    k = 600
    draws = draw(replace(WIND, speed_sd=0.0, direction_sd=0.0),
                 replace(RIDER, critical_power_sd=0.0, drag_area_sd=0.0), EFFECTS[:1], k, 5)
    kit = replace(BASELINE, drag_area_change=np.array([-0.004]))
    doubted = (Effect("a", drag_area_sd=0.004),)
    mine = judge.plan(kit)
    times = finish_times(mine, ride_in_draws(mine, draws, doubted, ["a"]))
    own = finish_times(plan, ride_in_draws(plan, draws, (), []))
    expected = 0.5 * math.erfc(-1.0 / math.sqrt(2))  # one standard error from no gain
    assert abs(chance_faster(times, own) - expected) < 4 * math.sqrt(expected * (1 - expected) / k)


def test_a_stronger_head_wind_empties_more_often(plan):
    draws = draw(WIND, replace(RIDER, w_prime_sd=1500.0), (), 400, 2)
    stronger = replace(draws, wind=WindDraws(draws.wind.speed_factor + 0.5, draws.wind.turn))
    weaker = replace(draws, critical_power=draws.critical_power * 0.97)
    base, windy, weak = (chance_of_emptying(plan, ride_in_draws(plan, d, (), [], as_printed=True))
                         for d in (draws, stronger, weaker))
    assert 0.2 < base < 0.8  # a plan without any margin
    assert windy > base - 0.05
    assert weak > base


@pytest.mark.parametrize("risk", [0.2, 0.05])
def test_a_safe_plan_keeps_the_risk_and_costs_time(plan, risk):
    draws = draw(WIND, replace(RIDER, w_prime_sd=1500.0), (), 300, 2)
    safe, chance, margin = safe_plan(plan, draws, (), [], risk)
    assert chance <= risk
    assert 0.0 < margin < 0.2
    assert safe.finish_time > plan.finish_time
    checked = chance_of_emptying(safe, ride_in_draws(safe, draws, (), [], as_printed=True))
    assert checked == chance
    # A little less margin would break it.
    again = chance_of_emptying(plan, ride_in_draws(plan, draws, (), [], as_printed=True))
    assert again > risk


def test_a_plan_that_is_safe_already_stays(plan):
    draws = draw(WIND, RIDER, (), 100, 2)
    same, chance, margin = safe_plan(plan, draws, (), [], 1.0)
    assert same is plan
    assert margin == 0.0
    assert chance <= 1.0


def test_a_risk_that_no_margin_meets_is_said(plan):
    wild = draw(WIND, replace(RIDER, critical_power_sd=150.0), (), 60, 2)
    with pytest.raises(Infeasible, match="the reserve runs out in"):
        safe_plan(plan, wild, (), [], 0.0)
