"""Figures that carry an uncertainty."""

from __future__ import annotations

import pytest

from optimizer.report.uncertain import (
    amount,
    amount_range,
    between,
    clear_gain,
    normal_mark,
    number_range,
    plain,
    shown_half,
)


@pytest.mark.parametrize(("value", "sd", "text"), [
    (5.039, 0.4, "5.0 ± 0.7"), (5.039, 0.1, "5.04 ± 0.16"),
    (-0.00315, 0.00046, "−0.0032 ± 0.0008"),
    (37.2, 12.0, "37 ± 20"), (37.2, 40.0, "37 ± 66"), (1234.5, 100.0, "1234 ± 164"),
    (5.039, 0.0, "5.04"), (0.003135, 0.0, "0.00314"), (0.0, 0.0, "0"), (0.0, 0.1, "0.00 ± 0.16")])
def test_digits_follow_the_doubt(value, sd, text):
    assert amount(value, sd) == text


@pytest.mark.parametrize(("value", "sd", "text"), [
    (0.9, 0.35, "0.32 to 1.48 % efficiency"), (-0.005, 0.0028, "−0.0096 to −0.0004 % efficiency"),
    (120.0, 20.0, "87 to 153 % efficiency"), (0.2, 0.0, "0.200 % efficiency")])
def test_a_range_in_a_unit_has_two_digits_of_its_half_width(value, sd, text):
    # 5 and 95 % points of the standard normal (Abramowitz and Stegun 1964, table 26.5): 1.645.
    assert amount_range(value, sd, "% efficiency") == text


def test_no_error_is_shown_as_none():
    assert shown_half(1.0, "m") == "± 1.6 m"
    assert shown_half(0.015, "m") == "less than ± 0.1 m"


def test_ranges():
    assert between(10.0, 10.0) == "−6 to 26"
    assert between(5.0, 1.0) == "3.4 to 6.6"
    assert number_range(-0.04, 3.0) == "0.0 to 3.0"
    assert plain(-0.4, 0) == "0"


@pytest.mark.parametrize(("low", "high", "grounds", "said"), [
    (0.1, 9.0, "tested", "yes"), (-0.1, 9.0, "tested", "≈"),
    (-9.0, -0.1, "tested", "no: costs time"),
    (0.1, 9.0, "seller", "the seller's word only"), (-0.1, 9.0, "seller", "≈"),
    (0.6, 0.6, "mass", "not tested: mass only"), (-0.6, -0.6, "mass", "not tested: mass only"),
    (0.0, 0.0, "none", "not tested")])
def test_a_clear_gain_is_one_that_somebody_tested(low, high, grounds, said):
    assert clear_gain(low, high, grounds) == said


def test_a_mark_by_its_standard_deviation():
    # 5 and 95 % points of the standard normal (Abramowitz and Stegun 1964, table 26.5): 1.645.
    mark = normal_mark("a", 5.0, 1.0)
    assert (mark.low, mark.high) == pytest.approx((3.355, 6.645))
