"""Rows over an axis: what is drawn, and where."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.report.svg import (
    WIDTHS,
    Axis,
    Dots,
    Line,
    Mark,
    Post,
    Row,
    Scale,
    clock_ticks,
    forest,
    look_for,
    multiples,
    nice_ticks,
    plot,
    steps,
    thinned,
)


def numbers(path):
    return [float(v) for v in re.findall(r"-?\d+(?:\.\d+)?", path)]


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e6), st.integers(2, 12))
def test_ticks_are_round_few_and_inside(low, span, most):
    high = low + span
    if high - low <= 1e-9 * max(abs(low), 1.0):
        return  # no digits are left between them
    ticks = nice_ticks(low, high, most)
    assert len(ticks) <= most
    assert all(low - 1e-6 * span <= v <= high + 1e-6 * span for v in ticks)
    steps_between = np.diff(ticks)
    assert np.allclose(steps_between, steps_between[:1], rtol=1e-6) if len(ticks) > 1 else True


@given(st.floats(0, 4e4), st.floats(1, 4e4), st.integers(2, 12))
def test_clock_ticks_are_few_and_inside(low, span, most):
    ticks = clock_ticks(low, low + span, most)
    assert len(ticks) <= most
    assert all(low - 1e-6 <= v <= low + span + 1e-6 for v in ticks)


@given(st.lists(st.floats(-500, 500), min_size=2, max_size=200))
def test_thinned_lines_are_off_by_less_than_a_third_of_a_pixel(values):
    x, y = np.arange(len(values), dtype=float), np.array(values)
    kept_x, kept_y = thinned(x, y)
    assert np.abs(np.interp(x, kept_x, kept_y) - y).max() <= 0.3 + 1e-9


def test_steps_hold_their_value_to_the_next_edge():
    d = numbers(re.search(r'd="([^"]*)"', steps([0, 10, 20, 30], [5, 5, 8], "line"))[1])
    assert d == [0, 5, 20, 5, 20, 8, 30, 8]


@pytest.mark.parametrize("width", WIDTHS)
def test_a_line_is_where_its_values_are(width):
    look = look_for(width)
    x, y = np.array([0.0, 4.0, 10.0]), np.array([0.0, 8.0, 2.0])
    drawn = plot(look, Axis(0.0, 10.0, "x"), [Row("y", [Line(x, y, "plan")], 100.0, zero=True)])
    (line,) = re.findall(r'd="([^"]*)" class="line plan"', drawn.body)
    points = np.reshape(numbers(line), (-1, 2))
    area = drawn.area
    across = Scale(0.0, 10.0, area.left, area.right)
    up = Scale(0.0, area.high, area.bottom, area.top)
    assert points[:, 0] == pytest.approx(across(x), abs=0.06)
    assert points[:, 1] == pytest.approx(up(y), abs=0.06)


@pytest.mark.parametrize("width", WIDTHS)
def test_the_end_of_the_course_is_always_labelled(width):
    for length in (18.6, 20.0, 40.2, 180.0):
        drawn = plot(look_for(width), Axis(0.0, length, "", kilometres=True),
                     [Row("m", [Line([0, length], [0, 1])])], posts=[Post(1000.0, "A", "Bend")])
        assert f">{length:.1f} km</text>" in drawn.body


def test_gaps_stay_gaps_and_missing_points_are_not_drawn():
    drawn = plot(look_for(680.0), Axis(0.0, 4.0, "x"), [Row("y", [
        Line([0, 1, 2, 3, 4], [1, 2, np.nan, 2, 1], "plan"), Dots([1, 2], [np.nan, 1.0])])])
    (line,) = re.findall(r'd="([^"]*)" class="line plan"', drawn.body)
    assert line.count("M") == 2
    assert drawn.body.count("<circle") == 1
    assert "nan" not in drawn.body


@pytest.mark.parametrize("width", WIDTHS)
def test_a_range_with_its_mark(width):
    marks = [Mark("a", 5.0, 3.0, 7.0, leads=True, said="3 to 7 s"), Mark("b", 1.0, -1.0, 4.0)]
    body = forest(look_for(width), marks, "seconds").body
    assert body.count('class="line plan"') == body.count('class="line ink"') == 1
    assert "3 to 7 s" in body
    assert forest(look_for(width), [], "seconds").height > 0


@pytest.mark.parametrize("width", WIDTHS)
def test_all_columns_share_one_scale(width):
    cells = {("r", "calm"): [Mark("one", 60.0, 50.0, 70.0)],
             ("r", "windy"): [Mark("two", 80.0, 75.0, 85.0)]}
    body = multiples(look_for(width), ["r"], ["calm", "windy"], cells,
                     lambda low, high, most: [(v, f"{v:g}") for v in nice_ticks(low, high, most)]
                     ).body
    ranges = [numbers(d) for d in re.findall(r'd="([^"]*)" class="line plan"', body)]
    assert len(ranges) == 2
    assert ranges[0][2] - ranges[0][0] == pytest.approx(
        2.0 * (ranges[1][2] - ranges[1][0]), abs=0.11)


def test_columns_apart_fill_their_own_scales():
    cells = {("r", "short"): [Mark("", 2.0, 1.0, 3.0)],
             ("r", "long"): [Mark("", 200.0, 100.0, 300.0)]}

    def wide(apart):
        body = multiples(look_for(760), ["r"], ["short", "long"], cells, lambda *_: [],
                         apart=apart).body
        return [float(b) - float(a) for a, b in re.findall(
            r'd="M([\d.]+),[\d.]+H([\d.]+)" class="line plan"', str(body))]
    short, long = wide(False)
    assert short < 0.05 * long
    short, long = wide(True)
    assert abs(short - long) < 0.2
