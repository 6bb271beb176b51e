"""The effort budget over hours, and what it leaves for a run."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.errors import InputError
from optimizer.rider import Position, Rider
from optimizer.rider.effort import RunTarget, cap_effort, capacity, hint_for, share_for_run
from optimizer.rider.power_duration import mean_power

RIDER = Rider("x", 70.0, 280.0, 20e3, 500.0, (Position("aero", 0.25),), endurance_loss=0.08)


@given(st.floats(120.0, 40_000.0))
def test_capacity_is_the_long_curve(duration):
    curve = np.array([280.0, 20e3, np.inf, 0.08])
    assert capacity(RIDER, duration) == pytest.approx(
        float(mean_power("long", curve, np.array(duration))))


def test_a_short_ride_has_no_effort_limit():
    assert cap_effort(RIDER, 1500.0).effort_rate == np.inf


def test_the_limit_sets_in_without_a_jump():
    """At half an hour the mean is limited, which the reserve does already."""
    just = cap_effort(RIDER, 1800.0 + 1e-6)
    assert just.effort_exponent == pytest.approx(1.0)
    assert just.effort_rate * 280.0 == pytest.approx(280.0 + 20e3 / 1800.0)
    hour = cap_effort(RIDER, 3600.0)
    assert hour.effort_exponent == 4.0
    assert hour.effort_rate == pytest.approx(1.0 - 0.08 * np.log(2) + 20e3 / 3600 / 280.0)


@given(st.floats(1900.0, 30_000.0), st.floats(1.01, 1.5))
def test_longer_rides_have_a_lower_limit(duration, factor):
    assert (cap_effort(RIDER, factor * duration).effort_rate
            < cap_effort(RIDER, duration).effort_rate)


def test_a_share_lowers_the_limit_in_proportion():
    spared = cap_effort(replace(RIDER, effort_share=0.85), 9000.0)
    assert spared.effort_rate == pytest.approx(0.85 * cap_effort(RIDER, 9000.0).effort_rate)
    assert np.isfinite(cap_effort(replace(RIDER, effort_share=0.85), 900.0).effort_rate)


def test_leaving_half_the_endurance_is_riding_as_if_twice_as_long():
    spared = cap_effort(replace(RIDER, time_share=0.5), 7200.0)
    assert spared.effort_rate == pytest.approx(cap_effort(RIDER, 14_400.0).effort_rate)


@pytest.mark.parametrize(("ride_h", "target_min", "fresh_min"), [
    (2.5, 96.0, 90.0), (5.0, 225.0, 210.0), (1.05, 42.0, 39.5)])
def test_run_targets_land_where_riders_land(ride_h, target_min, fresh_min):
    """Common practice, no source: the hints' ranges, with a run 6 to 7 % slower than fresh."""
    share = share_for_run(RunTarget(60 * target_min, 60 * fresh_min), RIDER.endurance_loss)
    rate = cap_effort(replace(RIDER, time_share=share), 3600 * ride_h).effort_rate
    hint = hint_for(3600 * ride_h)
    assert hint.low - 0.01 <= rate <= hint.high + 0.01


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
        cap_effort(RIDER, 0.0)
