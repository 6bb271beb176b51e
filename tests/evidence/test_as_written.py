"""Figures as coaches, sellers and magazines write them: read where clear, and said back."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import constants

from optimizer.errors import InputError
from optimizer.evidence.figures import read_figure, read_uncertainty, say_figure

GRAM_FORCE = constants.g * 1e-3  # N, by the definition of standard gravity
Z90 = 1.6448536  # standard normal, 95 % point: tables of any textbook


def read(text):
    return read_figure(text, "e.csv", "row 2", grams="drag")


@pytest.mark.parametrize(("text", "quantity", "value", "sd", "speed_kmh"), [
    ("~8 watts", "power", -8.0, None, None),
    ("5-6 W", "power", -5.5, 0.5 / Z90, None),
    ("5–6 W", "power", -5.5, 0.5 / Z90, None),
    ("5 to 6 W", "power", -5.5, 0.5 / Z90, None),
    ("between 5 and 6 W @ 45 km/h", "power", -5.5, 0.5 / Z90, 45.0),
    ("saves 5W-6W", "power", -5.5, 0.5 / Z90, None),
    ("costs 5-6 W", "power", 5.5, 0.5 / Z90, None),
    ("-5 to -6 W", "power", -5.5, 0.5 / Z90, None),
    ("-2 to +5 W", "power", 1.5, 3.5 / Z90, None),
    ("up to 8 W", "power", -4.0, 4.0 / Z90, None),
    ("30 g at 45kph", "force", -30 * GRAM_FORCE, None, 45.0),
    ("-30 g", "force", -30 * GRAM_FORCE, None, None),
    ("approx. 15 s over 40k", "time", -15.0, None, None),
    ("10-15s/40km", "time", -12.5, 2.5 / Z90, None),
    ("1:05-1:10 / 40 km", "time", -67.5, 2.5 / Z90, None),
    ("0,004 m²", "drag_area", -0.004, None, None),
    ("30 cm2 to 0.004 m2", "drag_area", -0.0035, 0.0005 / Z90, None),
    ("-0.0003 to -0.0004 Crr", "rolling_resistance", -0.00035, 0.00005 / Z90, None),
    ("2-3 %", "drag_share", -0.025, 0.005 / Z90, None),
    ("2-3 % power", "power_share", -0.025, 0.005 / Z90, None),
    ("about 0,5-0,8 % efficiency", "efficiency", 0.0065, 0.0015 / Z90, None),
    ("4W @ 30mph", "power", -4.0, None, 30 * constants.mile / 1000),
    ("8 W ± 2 W (90 %)", "power", -8.0, 2.0 / Z90, None),
])
def test_what_people_write(text, quantity, value, sd, speed_kmh):
    figure = read(text)
    assert figure.quantity == quantity
    assert figure.value == pytest.approx(value, rel=1e-9)
    assert figure.uncertainty == (None if sd is None else pytest.approx(sd, rel=1e-3))
    assert figure.speed == (None if speed_kmh is None else pytest.approx(speed_kmh / 3.6))
    assert figure.read_as  # what goes beyond the text is said


@pytest.mark.parametrize("text", ["saves 8 W", "-8 W", "costs 8 W @ 45 km/h", "-0.004 m2 CdA",
                                  "30 g lighter", "saves 30 g ± 4 g @ 45 km/h", "Crr -0.0004"])
def test_what_is_plain_is_not_said_again(text):
    assert read(text).read_as == ""


@pytest.mark.parametrize(("text", "problem"), [
    ("-5-6 W", "a sign or a dash"), ("-5 to 6 W", "a sign or a dash"),
    ("8 W - 2 W", "larger end first"), ("6-5 W", "larger end first"),
    ("saves -5 to -6 W", "contradicts"), ("5 W to 6 g", "from a power to a mass"),
    ("0:50 to 60 s / 40 km", "a time to a number"), ("5-6 W ± 1 W", "a range and an uncertainty"),
    ("at least 8 W", "no upper end"), ("8+ W", "no upper end"), (">8 W", "no upper end"),
    ("up to 5-6 W", "upper end twice"), ("up to -8 W", "with a sign"),
    ("05-Jun", "is a date"), ("Jun 05", "is a date"), ("2026-06-05", "is a date"),
    ("2026-06-05T00:00:00", "is a date"), ("5.6.2026", "is a date"), ("5/6/26", "is a date"),
    ("120 g mass", "direction"), ("5000 W", "more than any change"),
    ("30 g @ 500 km/h", "more than any speed"), ("8", "without a unit"),
])
def test_what_can_be_read_in_two_ways_is_refused(text, problem):
    with pytest.raises(InputError, match=problem) as caught:
        read(text)
    assert caught.value.exit_code == 2
    assert caught.value.remedy


def test_watts_at_the_cranks_are_known_from_those_at_the_wheel():
    for text in ("8 W at the cranks @ 45 km/h", "saves 8 W on the pedals at 45 km/h"):
        assert read(text).at_cranks
    for text in ("8 W at the wheel @ 45 km/h", "8 W @ 45 km/h"):
        assert not read(text).at_cranks


@pytest.mark.parametrize("text", ["4 g", "~4 g", "± 4", "6.58 g (90 %)", "7.84 g (95 %)"])
def test_one_uncertainty_in_several_ways(text):
    figure = read_figure("saves 30 g @ 45 km/h")
    assert read_uncertainty(text, figure) == pytest.approx(4 * GRAM_FORCE, rel=1e-3)


def near(one, other):
    return one is other is None or math.isclose(one, other, rel_tol=1e-5, abs_tol=1e-12)


def same(one, other):
    return (one.quantity == other.quantity and one.acts_on == other.acts_on
            and one.at_cranks == other.at_cranks and near(one.value, other.value)
            and near(one.uncertainty, other.uncertainty) and near(one.distance, other.distance)
            and near(one.power, other.power)
            and (one.speed is other.speed or math.isclose(one.speed, other.speed, rel_tol=1e-4)))


pieces = st.sampled_from([
    "saves", "costs", "~", "approx.", "up to", "8", "5-6", "0,004", "2", "1:05", "37", "±", "W",
    "watts", "g", "s", "%", "m2", "cm²", "N", "drag", "CdA", "Crr", "efficiency", "rolling",
    "mass", "-", "+", "to", "12", "/ 40 km", "over 40k", "@ 45 km/h", "at 30mph", "@ 250 W",
    "at the cranks", "less", "faster", "(90 %)", "kg", "0.0004"])


@given(st.lists(pieces, min_size=1, max_size=7).map(" ".join))
@settings(max_examples=500, deadline=None)
def test_whatever_is_accepted_is_said_back_with_the_same_value(text):
    try:
        figure = read(text)
    except InputError:
        return
    assert same(read_figure(say_figure(figure)), figure), (text, say_figure(figure))


_size = st.floats(0.001, 30).map(lambda x: float(f"{x:.4g}"))


@given(_size, st.none() | _size, st.sampled_from(["W", "watts", "g drag", "N", "s / 40 km", "%",
                                                  "cm2", "% drag"]),
       st.sampled_from(["", " @ 45 km/h", " at 50kph"]), st.sampled_from(["", "~", "approx. "]),
       st.sampled_from(["-", " - ", " to ", "–"]), st.booleans())
@settings(max_examples=300, deadline=None)
def test_a_number_or_range_as_written_keeps_its_value(low, wide, unit, at, about, dash, comma):
    high = None if wide is None else low + wide
    number = f"{low:.7f}" if high is None else f"{low:.7f}{dash}{high:.7f}"
    figure = read(f"{about}{number.replace('.', ',') if comma else number} {unit}{at}")
    scale = {"g drag": GRAM_FORCE, "%": 0.01, "% drag": 0.01, "cm2": 1e-4}.get(unit, 1.0)
    mean = low if high is None else 0.5 * (low + high)
    assert -figure.value == pytest.approx(scale * mean, rel=1e-5)
    assert figure.uncertainty == (None if high is None else pytest.approx(
        scale * 0.5 * (high - low) / Z90, rel=1e-3))
    assert same(read_figure(say_figure(figure)), figure)
