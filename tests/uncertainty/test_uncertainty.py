"""Days that may come: draws, how they are ridden, who runs out, and what a margin does."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from optimizer.conditions.draws import WindDraws
from optimizer.day import RaceDay
from optimizer.errors import Infeasible
from optimizer.evidence import Effect
from optimizer.pacing import plan_ride, sensitivities, simulate
from optimizer.uncertainty import (
    ability,
    allowed_as_printed,
    chance_as_printed,
    chance_faster,
    day_within_risk,
    draw_days,
    ride_days,
    runs_out,
)
from tests.kit.invented import BASELINE, RIDER, road, wind

COURSE = road(np.random.default_rng(8), length=10_000.0)
WIND = wind(3.0, 1.0)
CALM = replace(WIND, speed_sd=0.0, direction_sd=0.0)
SURE = replace(RIDER, critical_power_sd=0.0, w_prime_sd=0.0, drag_area_sd=0.0,
               endurance_loss_sd=0.0, effort_exponent_sd=0.0)
EFFECTS = (Effect("a", drag_area=np.array([-0.010]), drag_area_sd=0.004),
           Effect("b", drag_area=np.array([-0.008]), drag_area_sd=0.003, efficiency_sd=0.004,
                  rolling_resistance_sd=2e-4, mass_sd=0.1))


def on(rider=SURE, weather=CALM, **fields):
    return RaceDay(COURSE, weather, rider, step=300.0, **fields)


@pytest.fixture(scope="module")
def plan():
    return plan_ride(on(), BASELINE)


def draw(rider=SURE, weather=CALM, effects=(), count=400, seed=3, bike=BASELINE):
    return draw_days(on(rider, weather), bike, effects, count, seed)


def test_the_same_seed_gives_the_same_days():
    uncertain = replace(RIDER, critical_power_sd=8.0, drag_area_sd=0.01)
    first, again = (draw(uncertain, WIND, EFFECTS, 50, 7) for _ in range(2))
    assert np.array_equal(first.critical_power, again.critical_power)
    assert np.array_equal(first.items["b"], again.items["b"])
    assert not np.array_equal(first.drag_area, draw(uncertain, WIND, EFFECTS, 50, 8).drag_area)


def test_draws_have_the_stated_means_and_errors():
    rider = replace(SURE, critical_power_sd=9.0, w_prime_sd=2e3, endurance_loss=0.08,
                    endurance_loss_sd=0.02, effort_exponent_sd=0.5)
    bike = replace(BASELINE, rolling_resistance_sd=3e-4, mass_sd=0.6)
    drawn = draw(rider, count=500, bike=bike)
    for values, mean, sd in ((drawn.critical_power, rider.critical_power, 9.0),
                             (drawn.w_prime, rider.w_prime, 2e3),
                             (drawn.endurance_loss, 0.08, 0.02),
                             (drawn.effort_exponent, 4.0, 0.5),
                             (drawn.rolling_resistance, 0.0, 3e-4), (drawn.mass, 0.0, 0.6)):
        assert values.mean() == pytest.approx(mean, abs=0.01 * sd)
        assert values.std() == pytest.approx(sd, rel=0.02)


def test_a_day_without_doubt_is_the_plan(plan):
    day = on()
    for manner in ("feel", "printed"):
        ride = ride_days(plan, day, draw(count=3), (), [], manner)
        assert ride.time[-1] == pytest.approx(np.full(3, plan.finish_time), abs=1e-3)
        assert not runs_out(plan, day, draw(count=3), ride).any()


@pytest.mark.parametrize("change", [
    {"critical_power": 1.02}, {"critical_power": 0.97}, {"w_prime": 1.2},
    {"endurance_loss": 1.3}, {"effort_exponent": 1.25}])
def test_a_rider_by_feel_spends_what_the_days_law_allows(change):
    """Against a plan made for that very day: the same time but for the shape of the plan, which
    is worth a ten-thousandth of the time, and what a first-order duration leaves."""
    rider = replace(SURE, endurance_loss=0.08)
    day = RaceDay(road(np.random.default_rng(8), length=40_000.0), CALM, rider, step=300.0)
    plan = plan_ride(day, BASELINE)
    draws = draw_days(day, BASELINE, (), 2, 1)
    other = {name: factor * getattr(rider, name) for name, factor in change.items()}
    draws = replace(draws, **{name: np.full(2, value) for name, value in other.items()})
    ridden = float(ride_days(plan, day, draws, (), []).time[-1, 0])
    best = plan_ride(replace(day, rider=replace(rider, **other)), BASELINE).finish_time
    moved = abs(best - plan.finish_time)
    assert moved > 1.0
    assert best - 0.01 * moved <= ridden <= best + 0.01 * moved + 1e-4 * best


@pytest.mark.parametrize("name", ["rolling_resistance", "mass", "drag_area"])
def test_what_rider_and_bike_are_off_by_moves_the_time_by_its_slope(plan, name):
    amount = {"rolling_resistance": 2e-4, "mass": 1.0, "drag_area": 0.003}[name]
    draws = replace(draw(count=1), **{name: np.array([amount])})
    moved = ride_days(plan, on(), draws, (), [], "printed").time[-1, 0] - plan.finish_time
    slopes = sensitivities(plan)
    assert moved == pytest.approx(amount * float(getattr(slopes, name).sum()), rel=0.12)


@pytest.mark.parametrize("factor", [1.0, 1.8])
@pytest.mark.parametrize("of", ["bike", "item"])
def test_a_drawn_crr_is_that_of_the_tyre_on_any_road(factor, of):
    """A new plan with 0.0004 more on smooth asphalt, whatever multiplies it on the road."""
    day = replace(on(), course=replace(COURSE, rolling_factor=factor * COURSE.rolling_factor))
    plan = plan_ride(day, BASELINE)
    draws, effects = draw(count=1), ()
    if of == "bike":
        draws = replace(draws, rolling_resistance=np.array([4e-4]))
    else:
        draws = replace(draws, items={"tyre": np.array([2.0])})
        effects = (Effect("tyre", rolling_resistance_sd=2e-4),)
    moved = ride_days(plan, day, draws, effects, ["tyre"]).time[-1, 0] - plan.finish_time
    again = plan_ride(day, replace(
        BASELINE, rolling_resistance=BASELINE.rolling_resistance + 4e-4)).finish_time
    assert moved == pytest.approx(again - plan.finish_time, rel=0.1)


@pytest.mark.parametrize("share", [-0.01, 0.01])
def test_a_drawn_drivetrain_does_what_that_efficiency_does(plan, share):
    draws = replace(draw(count=1), items={"chain": np.array([share / 0.004])})
    ride = ride_days(plan, on(), draws, (Effect("chain", efficiency_sd=0.004),), ["chain"])
    p = plan.problem
    other = replace(p, drivetrain_efficiency=p.drivetrain_efficiency + share)
    expected = simulate(other, plan.power).finish_time
    assert ride.time[-1, 0] == pytest.approx(float(expected), abs=0.05)


def test_a_beats_b_as_the_normal_law_says():
    """Two normal effects: P(A faster) = Φ(mean / sd) of their difference, by hand."""
    k = 20_000
    draws = draw(effects=EFFECTS, count=k)
    slope = 900.0  # s/m², any
    a, b = (-slope * (0.010 if n == "a" else 0.008)
            + slope * draws.items[n] * (0.004 if n == "a" else 0.003) for n in ("a", "b"))
    expected = 0.5 * math.erfc(-(0.010 - 0.008) / 0.005 / math.sqrt(2))
    error = math.sqrt(expected * (1 - expected) / k)
    assert abs(chance_faster(a, b) - expected) < 4 * error
    assert chance_faster(a, b) + chance_faster(b, a) == pytest.approx(1.0)
    assert chance_faster(a, a) == 0.5


def test_a_beats_b_by_riding_agrees_with_the_normal_law(plan):
    """With uncertainty in the evidence alone times are near normal: the closed form again."""
    k = 600
    draws = draw(effects=EFFECTS[:1], count=k, seed=5)
    kit = replace(BASELINE, drag_area_change=np.array([-0.004]))
    uncertain = (Effect("a", drag_area_sd=0.004),)
    mine = plan_ride(on(), kit)
    times = ride_days(mine, on(), draws, uncertain, ["a"]).time[-1]
    own = ride_days(plan, on(), draws, (), []).time[-1]
    expected = 0.5 * math.erfc(-1.0 / math.sqrt(2))  # one standard error from no gain
    assert abs(chance_faster(times, own) - expected) < 4 * math.sqrt(expected * (1 - expected) / k)


DOUBTFUL = replace(RIDER, critical_power_sd=8.0, w_prime_sd=1500.0, endurance_loss=0.08,
                   endurance_loss_sd=0.02, effort_exponent_sd=0.5)


def test_half_of_the_days_are_too_hard_for_a_plan_without_a_margin(plan):
    day, draws = on(DOUBTFUL, WIND), draw(DOUBTFUL, WIND)
    base = chance_as_printed(plan, day, draws)
    assert 0.3 < base < 0.7
    weaker = replace(draws, critical_power=draws.critical_power * 0.97)
    assert chance_as_printed(plan, day, weaker) > base + 0.1
    stronger = replace(draws, wind=WindDraws(draws.wind.speed_factor + 0.5, draws.wind.turn))
    assert chance_as_printed(plan, day, stronger) > base - 0.05
    weak = ability(plan, day, draws) < 0.98
    out = runs_out(plan, day, draws, ride_days(plan, day, draws, (), [], "printed"))
    assert out[weak].mean() > 0.95


@pytest.mark.parametrize("w_prime_sd", [1500.0, 6000.0])  # the second empties reserves as well
def test_watts_by_what_each_day_allows_are_just_held(plan, w_prime_sd):
    rider = replace(DOUBTFUL, w_prime_sd=w_prime_sd)
    day, draws = on(rider, WIND), draw(rider, WIND, count=200)
    able = allowed_as_printed(plan, day, draws)
    assert 0.2 < np.mean(able < 1.0) < 0.8
    # A factor common to all days, by many: each day is held a little below its own.
    for factor in np.linspace(0.92, 1.04, 13):
        ridden = replace(plan, power=plan.power * factor)
        out = runs_out(ridden, day, draws, ride_days(ridden, day, draws, (), [], "printed"))
        assert not out[able > factor + 0.015].any()
        assert out[able < factor - 0.015].all()


@pytest.mark.parametrize("risk", [0.2, 0.1, 0.05])
def test_a_margin_keeps_the_risk_on_days_that_it_has_not_seen(plan, risk):
    day, draws = on(DOUBTFUL, WIND), draw(DOUBTFUL, WIND)
    kept = day_within_risk(day, BASELINE, draws, risk)
    assert kept.chance <= risk
    assert kept.plan.finish_time > plan.finish_time
    assert kept.day.expected.critical_power == pytest.approx(RIDER.critical_power)
    fresh = draw(DOUBTFUL, WIND, count=2000, seed=99)
    seen = chance_as_printed(kept.plan, kept.day, fresh)
    assert 0.6 * risk <= seen <= 1.2 * risk + 0.005
    # What is foretold of days that were not ridden is so, and a step less of a margin breaks it.
    assert chance_as_printed(kept.plan, kept.day, draws) == kept.chance
    more = day.keeping(kept.day.kept + 0.001)
    assert chance_as_printed(plan_ride(more, BASELINE), more, draws) > risk


def test_a_plan_within_the_risk_keeps_nothing_back():
    same = day_within_risk(on(DOUBTFUL), BASELINE, draw(DOUBTFUL), 0.999)
    assert same.day.kept == 1.0
    assert same.day.expected is same.day.rider


def test_a_risk_that_no_margin_meets_is_said():
    wild = replace(RIDER, critical_power_sd=150.0)
    with pytest.raises(Infeasible, match="runs out on"):
        day_within_risk(on(wild), BASELINE, draw(wild, count=60), 0.001)


def test_a_margin_changes_the_plan_and_not_the_rider_of_the_day():
    """Who plans with less starts with all that the day gives."""
    day, draws = on(DOUBTFUL, WIND).keeping(0.9), draw(DOUBTFUL, WIND)
    careful = plan_ride(day, BASELINE)
    assert careful.problem.w_prime < DOUBTFUL.w_prime
    ride = ride_days(careful, day, draws, (), [], "printed")
    assert ride.reserve[0] == pytest.approx(draws.w_prime)
