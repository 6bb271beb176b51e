"""Figures in words."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.report.words import (
    ascent,
    at_most,
    between,
    cell_range,
    cell_seconds,
    clock,
    compass,
    listing,
    money,
    seconds,
    seconds_range,
    signed_seconds,
)


@pytest.mark.parametrize(("time", "text"), [
    (0, "0:00"), (59.4, "0:59"), (59.6, "1:00"), (3462.0, "57:42"), (3599.6, "1:00:00"),
    (3723, "1:02:03")])
def test_clock_rounds_once(time, text):
    assert clock(time) == text


@pytest.mark.parametrize(("value", "text"), [
    (0.0, "under 0.01 s"), (0.013, "0.01 s"), (0.4, "0.4 s"), (9.96, "10 s"),
    (119.4, "119 s"), (119.6, "2 min 00 s"), (1234.0, "20 min 34 s"), (12_566.0, "3:29:26"),
    (-12_566.0, "3:29:26")])
def test_seconds_have_two_digits_at_most_below_ten(value, text):
    assert seconds(value) == text


@pytest.mark.parametrize("value", [0.0, 0.003, 0.0101, 0.05, 0.1, 0.11, 3.21, 9.99, 10.2, 400.01])
def test_a_bound_is_never_rounded_down(value):
    text = at_most(value)
    assert float(text.removesuffix(" s").replace(",", "")) >= value
    assert float(text.removesuffix(" s").replace(",", "")) <= value * 1.1 + 1.0


def test_at_most_keeps_what_is_round():
    assert [at_most(x) for x in (0.05, 0.2, 3.0, 12.0)] == ["0.05 s", "0.2 s", "3.0 s", "12 s"]


@pytest.mark.parametrize(("value", "text"), [(-3.44, "−3.4 s"), (0.04, "0 s"), (12.5, "+12 s")])
def test_signed(value, text):
    assert signed_seconds(value) == text


def test_span():
    assert seconds_range(9.2, 28.8) == "9 to 29 s"
    assert seconds_range(-1.46, 13.9) == "−1 to 14 s"
    assert seconds_range(0.21, 1.4) == "0.2 to 1.4 s"
    assert seconds_range(90.0, 251.0) == "90 s to 4 min 11 s"


@pytest.mark.parametrize(("east", "north", "source"), [
    (0, -1, "north"), (4, 3, "south-west"), (-1, 0, "east"), (1, -1, "north-west"),
    (0.94, 0.34, "west-south-west"), (-0.38, -0.92, "north-north-east")])
def test_wind_is_named_by_where_it_comes_from(east, north, source):
    # Common practice in meteorology (WMO No. 8): a west wind blows from the west.
    assert compass(east, north) == source


def test_ascent_is_that_of_the_tables():
    assert ascent(526.4) == "526 m"


def test_money_and_lists():
    assert money(1500, "EUR") == "1,500 EUR"
    assert money(12.5) == "12.50"
    assert listing([]) == ""
    assert listing(["a"]) == "a"
    assert listing(["a", "b", "c"]) == "a, b and c"


def test_a_range_without_width_is_one_figure():
    assert seconds_range(2.5, 2.5) == "2.5 s"
    assert seconds_range(-6.3, -6.3) == "−6.3 s"
    assert seconds_range(2.5, 2.7) == "2.5 to 2.7 s"


def test_a_column_has_one_unit():
    assert [cell_seconds(value) for value in (0.001, 7.25, 29.0, 144.4, 3725.0)] == [
        "under 0.01 s", "7.2 s", "29 s", "144 s", "3,725 s"]
    assert cell_range(90.0, 251.0) == "90 to 251 s"
    assert cell_range(-12.0, 1063.0) == "−12 to 1,063 s"


@given(st.floats(0.0, 40_000.0), st.floats(0.0, 40_000.0))
def test_a_difference_is_that_of_the_clocks_that_stand_beside_it(one, other):
    def shown(text):
        return sum(60**k * int(part) for k, part in enumerate(reversed(text.split(":"))))

    told = between(one, other)
    assert abs(told - (one - other)) <= 1.0
    if abs(one - other) >= 10.0:
        assert told == shown(clock(one)) - shown(clock(other))
    elif abs(one - other) < 9.9:
        assert told == one - other
