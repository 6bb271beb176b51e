"""Models of the reserve: limits, order and exactness."""

from __future__ import annotations

from dataclasses import replace
from typing import get_args

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from optimizer.pacing.problem import pacing_problem
from optimizer.physics import lay_road
from optimizer.rider.recovery import LAWS, RECOVERY, SLOWS, Recovery
from optimizer.rider.reserve import RECOVERY_MODELS, reserve_balance, skiba_2012_time, track_time
from tests.kit.invented import BASELINE, RIDER, road, wind

CP, WORK = 250.0, 20_000.0
steps = st.lists(st.tuples(st.floats(1.0, 600.0), st.floats(0.0, 600.0)), min_size=1, max_size=25)


def _split(pairs):
    return np.array(pairs).T


@pytest.mark.parametrize("model", RECOVERY_MODELS)
@settings(deadline=None, max_examples=40)
@given(pairs=steps)
def test_never_more_than_full_and_starts_full(model, pairs):
    duration, power = _split(pairs)
    reserve = reserve_balance(duration, power, CP, WORK, model)
    assert reserve[0] == WORK
    assert np.all(reserve <= WORK + 1e-6)
    assert np.all(np.isfinite(reserve))


@pytest.mark.parametrize("model", RECOVERY_MODELS)
@settings(deadline=None, max_examples=30)
@given(pairs=steps)
def test_cutting_stretches_changes_nothing(model, pairs):
    """Each stretch is solved exactly, so halves of it end where the whole does."""
    duration, power = _split(pairs)
    whole = reserve_balance(duration, power, CP, WORK, model)
    halves = reserve_balance(np.repeat(duration / 2, 2), np.repeat(power, 2), CP, WORK, model)
    np.testing.assert_allclose(halves[::2], whole, atol=1e-5 * WORK)


@settings(deadline=None, max_examples=60)
@given(pairs=steps)
def test_linear_refills_fastest(pairs):
    """Full linear recovery bounds the partial and the slowing one from above."""
    duration, power = _split(pairs)
    linear = reserve_balance(duration, power, CP, WORK, "linear")
    assert np.all(reserve_balance(duration, power, CP, WORK, "partial", 0.4) <= linear + 1e-6)
    feasible = linear.min() >= 0.0  # below empty the slowing form refills faster than CP - P
    slowing = reserve_balance(duration, power, CP, WORK, "slowing")
    if feasible and slowing.min() >= 0.0:
        assert np.all(slowing <= linear + 1e-6)


@pytest.mark.parametrize(("model", "rate"), [
    ("slowing", lambda w, p: (CP - p) * (WORK - w) / WORK if p < CP else CP - p),
    ("track", lambda w, p: (WORK - w) / track_time(CP - p) if p < CP else CP - p),
])
def test_slowing_forms_against_an_ode_solver(model, rate):
    duration = np.array([60.0, 90.0, 45.0, 300.0, 120.0])
    power = np.array([380.0, 120.0, 410.0, 200.0, 300.0])
    ours = reserve_balance(duration, power, CP, WORK, model)
    level = WORK
    for k, (span, p) in enumerate(zip(duration, power, strict=True)):
        level = solve_ivp(lambda _, w, p=p: [rate(w[0], p)], (0.0, span), [level], rtol=1e-10,
                          atol=1e-6).y[0, -1]
        assert ours[k + 1] == pytest.approx(level, rel=1e-6)


def test_the_integral_form_is_its_integral():
    """Skiba et al. 2012, from memory: W' less all that was spent, each joule fading since."""
    duration, power = np.array([60.0, 90.0, 45.0, 300.0]), np.array([380.0, 120.0, 410.0, 200.0])
    ends = np.cumsum(duration)
    at = np.arange(0.5e-2, ends[-1], 1e-2)
    spent = np.maximum(power[np.searchsorted(ends, at)] - CP, 0.0)
    rest = power < CP
    time = skiba_2012_time(CP - np.average(power[rest], weights=duration[rest]))
    ours = reserve_balance(duration, power, CP, WORK, "integral")
    for end, found in zip(ends, ours[1:], strict=True):
        gone = at < end
        left = np.sum(spent[gone] * np.exp(-(end - at[gone]) / time)) * 1e-2
        assert found == pytest.approx(WORK - left, abs=0.01)


def test_above_critical_power_all_but_the_integral_spend_alike():
    duration, power = np.array([30.0, 60.0]), np.array([400.0, 330.0])
    for model in RECOVERY_MODELS:
        if model != "integral":
            np.testing.assert_allclose(reserve_balance(duration, power, CP, WORK, model),
                                       [WORK, WORK - 4500.0, WORK - 9300.0])


def test_partial_with_full_share_is_linear_and_with_none_never_refills():
    duration, power = np.array([60.0, 60.0]), np.array([400.0, 100.0])
    linear = reserve_balance(duration, power, CP, WORK, "linear")
    np.testing.assert_allclose(reserve_balance(duration, power, CP, WORK, "partial", 1.0), linear)
    assert reserve_balance(duration, power, CP, WORK, "partial", 0.0)[-1] == WORK - 9000.0


def test_it_goes_below_zero_rather_than_stop():
    assert reserve_balance(np.array([200.0]), np.array([400.0]), CP, WORK)[-1] == -10_000.0


def test_critical_power_may_change_on_the_way():
    """Higher up less can be held: the same watts spend more."""
    out = reserve_balance(np.array([100.0, 100.0]), np.array([250.0, 250.0]),
                          np.array([250.0, 230.0]), WORK)
    np.testing.assert_allclose(out, [WORK, WORK, WORK - 2000.0])


def _law_of(name):
    course = road(np.random.default_rng(1), length=2000.0)
    rider = replace(RIDER, recovery=name, recovery_share=0.6)
    problem = pacing_problem(lay_road(course, wind(0.0, 0.0), course.distance), rider, BASELINE)
    return problem.recovery_law, float(problem.recovery[0])


@pytest.mark.parametrize("name", get_args(Recovery))
def test_every_name_of_a_riders_file_has_its_own_law_everywhere(name):
    """In plan, report, JSON and page; the reserve of the plan is that of the model so named."""
    law, share = _law_of(name)
    assert law is LAWS[name]
    assert law in SLOWS
    assert name in RECOVERY
    duration, power = np.array([60.0, 90.0, 45.0]), np.array([380.0, 120.0, 200.0])
    planned = law.march((CP - power) * duration, np.full(3, share), WORK)
    assert planned == pytest.approx(reserve_balance(duration, power, CP, WORK, name, 0.6))
    for other in set(get_args(Recovery)) - {name}:
        assert not np.allclose(planned, reserve_balance(duration, power, CP, WORK, other, 0.6))


def test_a_name_without_a_law_is_not_planned_with_another():
    with pytest.raises(KeyError, match="fourth"):
        _law_of("fourth")
    with pytest.raises(KeyError, match="fourth"):
        reserve_balance(np.ones(1), np.ones(1), CP, WORK, "fourth")
