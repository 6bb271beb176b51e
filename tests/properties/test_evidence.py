"""Invariants of conversion and pooling over what people may write."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.errors import InputError
from optimizer.evidence import Reference
from optimizer.evidence.convert import change_of
from optimizer.evidence.express import express, read_target
from optimizer.evidence.figures import read_figure
from optimizer.evidence.pool import pool
from optimizer.evidence.properties import seconds_saved
from optimizer.evidence.runs import read_run

riders = st.builds(
    Reference.of, drag_area=st.floats(0.15, 0.5), mass=st.floats(45, 130),
    rolling_resistance=st.floats(0.002, 0.01), efficiency=st.floats(0.9, 0.99),
    air_density=st.floats(0.9, 1.3), speed=st.floats(6, 18))


@given(riders, st.floats(1, 100), st.floats(30, 60))
@settings(deadline=None)
def test_grams_to_area_to_grams(here, grams, kmh):
    area = change_of(read_figure(f"saves {grams:.6f} g @ {kmh:.6f} km/h"), here,
                     air_density=here.air_density)
    back = express(read_figure(f"{area.value:+.12f} m2"), read_target(f"g @ {kmh:.6f} km/h"), here)
    assert math.isclose(-back.value, grams, rel_tol=1e-5)


@given(riders, st.floats(0.5, 60), st.floats(60, 500))
@settings(deadline=None)
def test_seconds_to_area_to_seconds(here, seconds, power):
    figure = read_figure(f"saves {seconds:.6f} s / 40 km @ {power:.6f} W")
    area = change_of(figure, here, air_density=here.air_density)
    if area.value < -0.9 * here.drag_area:
        return
    back = seconds_saved({"drag_area": area.value}, 40_000, round(power, 6), here)
    assert math.isclose(back, seconds, rel_tol=1e-4, abs_tol=1e-3)


@given(riders, st.floats(-0.05, 0.05), st.floats(-0.05, 0.05), st.floats(80, 450))
def test_less_drag_is_never_slower(here, a, b, power):
    low, high = sorted((a, b))
    assert seconds_saved({"drag_area": low}, 40_000, power, here) >= (
        seconds_saved({"drag_area": high}, 40_000, power, here))


@given(riders, st.floats(30, 600))
def test_speed_and_power_are_inverse(here, power):
    assert math.isclose(here.power_at(float(here.speed_at(power))), power, rel_tol=1e-9)


numbers = st.lists(st.tuples(st.floats(-0.02, 0.02), st.floats(1e-4, 0.01)), min_size=1,
                   max_size=12)


@given(numbers)
def test_a_pool_lies_among_its_data_and_is_surer_than_the_best(data):
    values, sds = (np.array(column) for column in zip(*data, strict=True))
    pooled = pool(values, sds**2)
    assert values.min() - 1e-12 <= pooled.mean[0] <= values.max() + 1e-12
    assert pooled.covariance[0, 0] <= (sds**2 + pooled.between).min() * (1 + 1e-9)
    assert 0.0 <= pooled.disagreement <= 1.0
    assert 0.0 <= pooled.p_value <= 1.0
    assert pooled.between >= 0.0


@given(numbers, st.floats(0.1, 10))
def test_a_pool_scales_with_its_unit(data, factor):
    values, sds = (np.array(column) for column in zip(*data, strict=True))
    here, there = pool(values, sds**2), pool(factor * values, (factor * sds) ** 2)
    assert np.allclose(there.mean, factor * here.mean, rtol=1e-6, atol=1e-12)
    assert np.allclose(there.covariance, factor**2 * here.covariance, rtol=1e-6)


words = st.text(alphabet="saves costW@kmh/0123456789.,-+%± gNmx²:\u00a0", max_size=40)


@given(words)
@settings(max_examples=400, deadline=None)
def test_any_text_is_read_or_refused(text):
    for read in (read_figure, read_target, read_run):
        try:
            found = read(text)
        except InputError as error:
            found = error
        if isinstance(found, InputError):
            assert found.remedy
        elif read is read_figure:
            assert math.isfinite(found.value)
