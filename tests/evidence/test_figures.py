"""Figures in the trade's words."""

from __future__ import annotations

import pytest
from scipy import constants

from optimizer.errors import InputError
from optimizer.evidence.figures import read_figure, read_uncertainty

GRAM_FORCE = constants.g * 1e-3  # N, by the definition of standard gravity
MPH = constants.mph
KMH = constants.kmh


@pytest.mark.parametrize(("text", "quantity", "value"), [
    ("saves 30 g @ 45 km/h", "force", -30 * GRAM_FORCE),
    ("saves 30g@45kph", "force", -30 * GRAM_FORCE),
    ("saves 30 gf @ 45 km/h", "force", -30 * GRAM_FORCE),
    ("saves 30 g drag", "force", -30 * GRAM_FORCE),
    ("costs 0,4 N @ 12 m/s", "force", 0.4),
    ("saves 8 W @ 45 km/h", "power", -8.0),
    ("8 watts less @ 28 mph", "power", -8.0),
    ("saves 8 W", "power", -8.0),
    ("saves 15 s / 40 km @ 45 km/h", "time", -15.0),
    ("12 s/40km faster @45kph", "time", -12.0),
    ("saves 1:05 over 40 km @ 250 W", "time", -65.0),
    ("-15 s / 40 km @ 45 km/h", "time", -15.0),
    ("4 s slower per 10 miles at 250 W", "time", 4.0),
    ("saves 2 % drag", "drag_share", -0.02),
    ("2 % less CdA", "drag_share", -0.02),
    ("saves 1,5 % of power @ 45 km/h", "power_share", -0.015),
    ("-0.004 m2", "drag_area", -0.004),
    ("-0,004 m² CdA", "drag_area", -0.004),
    ("CdA −0.004", "drag_area", -0.004),
    ("saves 40 cm2", "drag_area", -0.004),
    ("Crr -0.0004", "rolling_resistance", -0.0004),
    ("-0.0004 Crr", "rolling_resistance", -0.0004),
    ("efficiency +0.8 %", "efficiency", 0.008),
    ("loses 0.8 % efficiency", "efficiency", -0.008),
    ("gains 0.8 % efficiency", "efficiency", 0.008),
    ("efficiency +0.008", "efficiency", 0.008),
    ("gains 8 W @ 45 km/h", "power", -8.0),
    ("loses 8 W @ 45 km/h", "power", 8.0),
    ("+120 g mass", "mass", 0.120),
    ("costs +120 g mass", "mass", 0.120),
    ("120 g lighter", "mass", -0.120),
    ("saves 0.3 kg weight", "mass", -0.3),
    ("0 W @ 45 km/h", "power", 0.0),
])
def test_reads_what_the_trade_writes(text, quantity, value):
    figure = read_figure(text)
    assert figure.quantity == quantity
    assert figure.value == pytest.approx(value, rel=1e-12)
    assert figure.text == text.replace("−", "-")


@pytest.mark.parametrize(("condition", "speed"), [
    ("@ 50 km/h", 50 * KMH), ("@50kph", 50 * KMH), ("at 50 kmh", 50 * KMH), ("@ 30 mph", 30 * MPH),
    ("@ 12,5 m/s", 12.5), ("@ 1250 cm/s", 12.5)])
def test_speeds_in_any_unit(condition, speed):
    assert read_figure(f"saves 8 W {condition}").speed == pytest.approx(speed, rel=1e-12)


def test_distance_and_power_of_a_time():
    figure = read_figure("saves 12 s / 25 miles @ 250 W")
    assert figure.distance == pytest.approx(25 * constants.mile)
    assert figure.power == 250.0
    assert figure.speed is None


@pytest.mark.parametrize(("text", "channel"), [
    ("saves 4 W rolling @ 45 km/h", "rolling_resistance"),
    ("tyre pair saves 4 W @ 45 km/h", "rolling_resistance"),
    ("saves 1.5 W drivetrain @ 45 km/h", "efficiency"),
    ("saves 4 W @ 45 km/h", "drag_area"), ("saves 4 W of aero drag @ 45 km/h", "drag_area"),
    ("saves 4 W rolling power @ 45 km/h", "rolling_resistance"),
    ("chain efficiency +1 %", "efficiency"),
    ("Crr -0.0004", "rolling_resistance"), ("efficiency +1 %", "efficiency"),
    ("+1 kg mass", "mass")])
def test_what_a_change_acts_on(text, channel):
    assert read_figure(text).acts_on == channel


@pytest.mark.parametrize(("text", "problem"), [
    ("saves 8 hp/h @ 45 km/h", "does not measure"),
    ("saves 8 foo", "not a known unit"),
    ("saves 8 W @ 0 km/h", "zero or less"),
    ("saves 8 W @ -45 km/h", "zero or less"),
    ("saves 12 s / 0 km @ 45 km/h", "distance of zero"),
    ("saves 2 % rolling", "of nothing named"),
    ("saves -8 W @ 45 km/h", "contradicts"),
    ("costs -8 W @ 45 km/h", "contradicts"),
    ("saves +8 W @ 45 km/h", "contradicts"),
    ("saves 8 W more @ 45 km/h", "contradict"),
    ("-12 s faster / 40 km @ 45 km/h", "contradicts"),
    ("120 g mass", "without a direction"),
    ("saves 30 g", "drag or of mass"),
    ("saves 12 s", "without a distance"),
    ("saves 8 W / 40 km", "only a time needs"),
    ("saves 1,500 W @ 45 km/h", "thousands"),
    ("saves 8", "without a unit"),
    ("saves 2-3-4 W @ 45 km/h", "more than one number"),
    ("saves 8 W or 9 W", "more than one number"),
    ("saves 8 to W", "not understood"),
    ("saves 0.004 m2 rolling", "is an area and speaks of rolling"),
    ("saves 8 g drag at the cranks @ 45 km/h", "watts only"),
    ("saves 600 W", "more than any change"),
    ("saves 30 g @ 150 km/h", "faster than any test"),
    ("saves 8 W maybe", "not understood"),
    ("faster", "no number"), ("", "no number"),
    ("saves 8 W @ 45", "neither a speed"),
    ("saves 8 W @ 10 deg", "neither a speed"),
    ("saves 8 W @ 45 km/h @ 250 W", "a speed and a power"),
    ("saves 8 W @ 45 km/h @ 50 km/h", "two values"),
    ("saves 30 gf @ 250 W", "without an air speed"),
    ("saves 0.8 % efficiency", "rises or falls"),
    ("8 W faster @ 45 km/h", "slower without a time"),
    ("saves 8 W drag mass", "speaks of"),
    ("saves 1e999 W", "too large"),
    ("saves 5 km/h", "does not measure"),
    ("saves nan W", "no number"),
])
def test_refuses_what_can_be_read_in_two_ways(text, problem):
    with pytest.raises(InputError, match=problem) as caught:
        read_figure(text, "evidence.csv", "row 7, column figure")
    assert str(caught.value).startswith("evidence.csv, row 7, column figure")
    assert caught.value.remedy


def test_a_bare_number_is_a_saving_where_that_is_allowed():
    assert read_figure("30 g @ 45 km/h").value < 0
    assert read_figure("efficiency 0.8 %").value > 0
    assert read_figure("costs 8 W").value > 0


@pytest.mark.parametrize(("figure", "text", "sd"), [
    ("saves 30 g @ 45 km/h", "4 g", 4 * GRAM_FORCE),
    ("saves 30 g @ 45 km/h", "± 4", 4 * GRAM_FORCE),
    ("saves 30 g @ 45 km/h", "0.04 N", 0.04),
    ("saves 40 g @ 50 km/h", "10 %", 4 * GRAM_FORCE),
    ("saves 40 W", "9.8 W (95 %)", 5.0),
    ("saves 2 % drag", "0,5 %", 0.005),
    ("-0.004 m2", "0.0005", 0.0005),
    ("-40 cm2", "5", 0.0005),
    ("CdA -0.004", "0.0005 m2", 0.0005),
    ("Crr -0.0004", "0.0001", 0.0001),
    ("efficiency +0.8 %", "0.2 %", 0.002),
    ("saves 1:05 / 40 km @ 45 km/h", "10 s", 10.0),
    ("saves 1:05 / 40 km @ 45 km/h", "0:10", 10.0),
    ("saves 65 s / 40 km @ 45 km/h", "10", 10.0),
    ("+120 g mass", "5 g", 0.005),
])
def test_uncertainty_in_the_unit_of_the_figure(figure, text, sd):
    assert read_uncertainty(text, read_figure(figure)) == pytest.approx(sd, rel=1e-9)


@pytest.mark.parametrize("text", ["4 s", "4 maybe", "-4 W", "", "4 foo", "W"])
def test_refuses_an_uncertainty_in_another_unit(text):
    with pytest.raises(InputError):
        read_uncertainty(text, read_figure("saves 8 W @ 45 km/h"))


def test_doubt_may_stand_in_the_figure():
    figure = read_figure("saves 30 g ± 4 g @ 45 km/h")
    assert figure.uncertainty == pytest.approx(4 * GRAM_FORCE)
    other = read_figure("saves 30 ± 4 g @ 45 km/h")
    assert (other.value, other.uncertainty) == (figure.value, figure.uncertainty)


@pytest.mark.parametrize("text", ["saves 0.0041 m2 ± 0.0015 m2", "saves 0.0041 ± 0.0015 m2",
                                  "-0,0041 m2 +/- 0,0015 m2"])
def test_an_area_may_repeat_its_unit_behind_the_uncertainty(text):
    figure = read_figure(text)
    assert (figure.value, figure.uncertainty) == pytest.approx((-0.0041, 0.0015))
