"""The effort law, and what a ride leaves for a run."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.errors import InputError
from optimizer.rider import Position, Rider
from optimizer.rider.effort import (
    RunTarget,
    allowance,
    capacity,
    effort_limit,
    share_for_run,
)
from optimizer.rider.power_duration import mean_power

RIDER = Rider("x", 70.0, 280.0, 20e3, 500.0, (Position("aero", 0.25),), endurance_loss=0.08)
RIDERS = st.builds(lambda loss, share, time, p: replace(
    RIDER, endurance_loss=loss, effort_share=share, time_share=time, effort_exponent=p),
    st.floats(0.0, 0.12), st.floats(0.5, 1.0), st.floats(0.3, 1.0), st.floats(1.0, 8.0))
DURATIONS = st.floats(120.0, 40_000.0)


def level(rider, duration):
    """Power that may be held evenly for a duration, as a part of CP."""
    return float(allowance(rider, duration) / duration) ** (1 / rider.effort_exponent)


@given(DURATIONS)
def test_capacity_is_the_long_curve(duration):
    curve = np.array([280.0, 20e3, np.inf, 0.08])
    assert capacity(RIDER, duration) == pytest.approx(
        float(mean_power("long", curve, np.array(duration))))


@given(DURATIONS)
def test_an_even_ride_at_capacity_is_just_allowed(duration):
    even = capacity(RIDER, duration) / RIDER.critical_power
    assert allowance(RIDER, duration) == pytest.approx(even**4 * duration)


@given(RIDERS, DURATIONS)
def test_the_limit_is_the_tangent_of_the_allowance(rider, duration):
    limit = effort_limit(rider, duration)
    assert limit.allowed(duration) == pytest.approx(float(allowance(rider, duration)))
    step = 1e-4 * duration
    if abs(np.log(duration / rider.time_share / 1800.0)) < 1e-3:
        return  # the loss sets in there, with a kink
    slope = (allowance(rider, duration + step) - allowance(rider, duration - step)) / (2 * step)
    assert limit.per_second == pytest.approx(float(slope), rel=1e-5, abs=1e-7)


@given(RIDERS, DURATIONS)
def test_derivatives_by_the_rider(rider, duration):
    limit = effort_limit(rider, duration)
    for name, step, found in (("critical_power", 0.01, limit.by_critical_power),
                              ("w_prime", 1.0, limit.by_w_prime)):
        high, low = (allowance(replace(rider, **{name: getattr(rider, name) + sign * step}),
                               duration) for sign in (1, -1))
        assert found == pytest.approx(float(high - low) / (2 * step), rel=1e-3,
                                      abs=1e-6 * duration)


@given(st.floats(1900.0, 30_000.0), st.floats(1.01, 1.5))
def test_longer_rides_are_ridden_at_a_lower_level(duration, factor):
    assert level(RIDER, factor * duration) < level(RIDER, duration)


def test_a_share_lowers_the_level_in_proportion():
    within_budget = replace(RIDER, effort_share=0.85)
    assert level(within_budget, 9000.0) == pytest.approx(0.85 * level(RIDER, 9000.0))


def test_leaving_half_the_endurance_is_riding_as_if_twice_as_long():
    within_budget = replace(RIDER, time_share=0.5)
    assert level(within_budget, 7200.0) == pytest.approx(level(RIDER, 14_400.0))


@given(st.floats(20.0, 240.0), st.floats(1.04, 1.2))
def test_a_slower_run_leaves_more_for_the_ride(fresh, slower):
    one = share_for_run(RunTarget(60 * fresh * slower, 60 * fresh), 0.08)
    other = share_for_run(RunTarget(60 * fresh * (slower + 0.05), 60 * fresh), 0.08)
    assert 0.0 < one < other < 1.0


@pytest.mark.parametrize(("target", "fresh", "words"), [
    (5400.0, 5400.0, "not slower"), (5410.0, 5400.0, "leaves nothing")])
def test_impossible_runs_are_refused(target, fresh, words):
    with pytest.raises(InputError, match=words):
        share_for_run(RunTarget(target, fresh), 0.08)


def test_a_ride_without_duration_is_refused():
    with pytest.raises(InputError):
        effort_limit(RIDER, 0.0)
