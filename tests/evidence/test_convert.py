"""Conversions between the currencies of a test."""

from __future__ import annotations

import math

import numpy as np
import pytest

from optimizer.errors import InputError
from optimizer.evidence import Reference
from optimizer.evidence.convert import change_of
from optimizer.evidence.express import express, read_target
from optimizer.evidence.figures import read_figure
from optimizer.evidence.priors import default_priors
from optimizer.evidence.properties import seconds_saved

RIDER = Reference.of(drag_area=0.25, mass=78.0, rolling_resistance=0.0038, efficiency=0.976,
                     air_density=1.18, speed=45 / 3.6)


def converted(text, target, reference=RIDER, **known):
    return express(read_figure(text), read_target(target), reference, **known)


def test_a_force_is_half_rho_v_squared_of_drag_area():
    change = change_of(read_figure("saves 30 g @ 45 km/h"), RIDER, air_density=1.2)
    by_hand = -0.030 * 9.80665 / (0.5 * 1.2 * (45 / 3.6) ** 2)
    assert change.value == pytest.approx(by_hand, rel=1e-12)
    assert change.assumed_sd == 0.0
    assert change.assumptions == ()


def test_a_force_at_yaw_acts_along_the_bike():
    # Along the road F = ½ρ CdA v_a q, with v_a = q cos β: the same force is more drag area.
    straight = change_of(read_figure("saves 30 g @ 45 km/h"), RIDER, air_density=1.2)
    oblique = change_of(read_figure("saves 30 g @ 45 km/h"), RIDER, air_density=1.2,
                        yaw=math.radians(15))
    assert oblique.value == pytest.approx(straight.value / math.cos(math.radians(15)))


def test_a_force_is_smaller_at_a_lower_speed():
    # The datum's air speed belongs to it: a force grows with the square, watts with the cube.
    assert converted("saves 30 g @ 45 km/h", "W @ 36 km/h", air_density=1.18).value == (
        pytest.approx(-0.030 * 9.80665 * (45 / 3.6) * 0.8**3, rel=1e-9))


@pytest.mark.parametrize("target", ["W", "g", "N", "s/40km", "CdA", "Crr", "%drag", "%power",
                                    "efficiency", "mass"])
@pytest.mark.parametrize("figure", [
    "saves 30 g @ 45 km/h", "saves 8 W @ 45 km/h", "saves 15 s / 40 km @ 45 km/h",
    "saves 15 s / 40 km @ 250 W", "saves 2 % drag", "saves 1 % power @ 45 km/h", "-0.004 m2",
    "Crr -0.0004", "efficiency +0.8 %", "saves 0.4 kg mass", "saves 4 W rolling @ 45 km/h",
    "saves 2 W drivetrain @ 45 km/h", "saves 9 s drivetrain / 40 km @ 45 km/h"])
def test_every_currency_goes_to_every_other_and_back(figure, target):
    """A saving stays one, and the way back at the same speed ends where it began."""
    there = converted(figure, target, air_density=1.18)
    assert (there.value > 0) == (target == "efficiency")
    unit = {"W": "W @ 45 km/h", "g": "g drag @ 45 km/h", "N": "N @ 45 km/h",
            "s/40km": "s / 40 km @ 45 km/h", "CdA": "m2", "Crr": "Crr", "%drag": "% drag",
            "%power": "% power @ 45 km/h", "efficiency": "% efficiency", "mass": "g mass"}[target]
    back = converted(f"{there.value:+.12f} {unit}", "W @ 45 km/h", air_density=1.18)
    direct = converted(figure, "W @ 45 km/h", air_density=1.18)
    # Seconds compare at the speed after the change, where drag and rolling have grown unequally.
    tolerance = 0.02 if "s/40km" in target else 1e-6
    assert back.value == pytest.approx(direct.value, rel=tolerance)


def test_seconds_agree_with_a_root_found_by_scipy():
    from scipy.optimize import brentq

    from optimizer.physics import DragArea, road_load

    def speed(area):
        def missing(v):
            force = road_load(np.array(v), 0.0, 0.0, 0.0, 1.18, drag=DragArea.constant(area),
                              mass=78.0, rolling_resistance=0.0038, bearing=(0.091, 0.0087))
            return float(force) * v - 0.976 * 250
        return brentq(missing, 1.0, 30.0, xtol=1e-12)

    by_scipy = 40_000 / speed(0.25) - 40_000 / speed(0.246)
    assert seconds_saved({"drag_area": -0.004}, 40_000, 250, RIDER) == (
        pytest.approx(by_scipy, abs=1e-6))


def test_time_at_a_power_is_the_time_at_the_speed_of_that_power():
    power = RIDER.power_at(45 / 3.6)
    at_speed = change_of(read_figure("saves 15 s / 40 km @ 45 km/h"), RIDER, air_density=1.18)
    at_power = change_of(read_figure(f"saves 15 s / 40 km @ {power:.9f} W"), RIDER,
                         air_density=1.18)
    assert at_power.value == pytest.approx(at_speed.value, rel=1e-7)


def test_a_missing_speed_is_assumed_said_and_doubted():
    stated = change_of(read_figure("saves 8 W @ 45 km/h"), RIDER, air_density=1.2)
    silent = change_of(read_figure("saves 8 W"), RIDER, air_density=1.2)
    assert silent.value == pytest.approx(stated.value)
    assert stated.assumed_sd == 0.0
    # ΔCdA goes with the speed to the power of -3: three times its relative uncertainty.
    priors = default_priors()
    assert silent.assumed_sd / -silent.value == pytest.approx(
        3 * priors.speed_sd / priors.speed, rel=0.05)
    assert any("speed not stated" in words for words in silent.assumptions)


def test_a_missing_density_is_assumed_said_and_doubted():
    silent = change_of(read_figure("saves 30 g @ 45 km/h"), RIDER)
    priors = default_priors()
    assert silent.assumed_sd / -silent.value == pytest.approx(
        priors.air_density_sd / priors.air_density, rel=0.01)
    assert any("density not stated" in words for words in silent.assumptions)


def test_unknown_air_does_not_blur_what_does_not_hang_on_it():
    unknown_air = Reference.of(speed=45 / 3.6)
    watts = converted("saves 30 g @ 45 km/h", "W", unknown_air)
    assert watts.assumed_sd == pytest.approx(0.0, abs=1e-12)
    assert converted("saves 30 g @ 45 km/h", "CdA", unknown_air).assumed_sd > 0
    # In air that is known the air of the test matters.
    assert converted("saves 30 g @ 45 km/h", "W", RIDER).assumed_sd > 0


def test_a_percentage_and_a_time_inherit_the_doubt_about_the_tested_rider():
    for text in ("saves 2 % drag", "saves 15 s / 40 km @ 45 km/h", "saves 1 % power @ 45 km/h"):
        change = change_of(read_figure(text), RIDER, air_density=1.18)
        assert 0.05 < change.assumed_sd / -change.value < 0.15
        assert any("tested rider" in words for words in change.assumptions)


def test_stated_doubt_goes_through_the_conversion():
    change = change_of(read_figure("saves 30 g ± 4 g @ 45 km/h"), RIDER, air_density=1.2)
    assert change.own_sd / -change.value == pytest.approx(4 / 30, rel=1e-6)


def test_refuses_a_time_that_no_rider_could_save():
    with pytest.raises(InputError, match="would halve or double"):
        change_of(read_figure("saves 40:00 / 40 km @ 45 km/h"), RIDER)


@pytest.mark.parametrize("text", ["bananas", "s/0km", "W @ 0 km/h", "", "s/40", "W @ fast"])
def test_refuses_an_unknown_target(text):
    with pytest.raises(InputError):
        read_target(text)


@pytest.mark.parametrize(("text", "says", "count"), [
    ("saves 30 g drag", ["test speed not stated: 4", "air density not stated: 1."], 2),
    ("saves 15 s / 40 km @ 45 km/h", ["air density not stated", "whole drag"], 2),
    ("saves 1 % power @ 45 km/h", ["air density not stated", "whole drag"], 2),
    ("saves 2 % drag", ["whole drag"], 1),
    ("saves 8 W rolling @ 45 km/h", [], 0),
    ("-0.004 m2", [], 0)])
def test_what_a_figure_does_not_state_is_listed_once_and_counted(text, says, count):
    change = change_of(read_figure(text), RIDER)
    assert len(change.assumptions) == count
    for words in says:
        assert any(words in said for said in change.assumptions), change.assumptions
    assert (change.assumed_sd > 0) == bool(count)


def test_the_assumed_speed_is_said_in_km_per_hour():
    priors = default_priors()
    said = " ".join(change_of(read_figure("saves 30 g drag"), RIDER).assumptions)
    assert f"{3.6 * priors.speed:.0f} ± {3.6 * 1.645 * priors.speed_sd:.0f} km/h" in said


def test_priors_of_ones_own_are_used():
    from dataclasses import replace

    priors = replace(default_priors(), speed=11.0, air_density=1.1)
    figure = read_figure("saves 30 g drag")
    assert change_of(figure, RIDER, priors=priors).value == pytest.approx(
        -0.030 * 9.80665 / (0.5 * 1.1 * 11.0**2))


def test_the_slope_carries_the_stated_error():
    change = change_of(read_figure("saves 30 g @ 45 km/h"), RIDER, air_density=1.2)
    assert change.channel == "drag_area"
    assert change.slope == pytest.approx(1 / (0.5 * 1.2 * (45 / 3.6) ** 2), rel=1e-6)
    nothing = change_of(read_figure("0 g @ 45 km/h"), RIDER, air_density=1.2)
    assert nothing.slope == pytest.approx(change.slope, rel=1e-6)


def test_a_doubtful_rider_is_in_the_doubt_of_a_share():
    sure, unsure = (change_of(read_figure("saves 2 % drag"), Reference.of(
        drag_area=0.25, drag_area_sd=sd)).assumed_sd for sd in (0.0, 0.05))
    assert unsure > sure
    assert unsure**2 - sure**2 == pytest.approx((0.02 * 0.05) ** 2, rel=1e-6)


@pytest.mark.parametrize(("text", "fine"), [
    ("saves 60:00 / 40 km @ 40 km/h", False), ("costs 61:00 / 40 km @ 40 km/h", False),
    ("costs 59:00 / 40 km @ 40 km/h", True), ("saves 29:00 / 40 km @ 40 km/h", True)])
def test_half_or_double_the_time_is_no_saving_of_kit(text, fine):
    figure = read_figure(text)
    if fine:
        assert np.isfinite(change_of(figure, RIDER).value)
    else:
        with pytest.raises(InputError, match="would halve or double"):
            change_of(figure, RIDER)


def test_stated_doubt_is_positive_where_the_slope_is_not():
    # More watts at the chain are less efficiency.
    change = change_of(read_figure("saves 2 W ± 0.5 W drivetrain @ 45 km/h"), RIDER)
    assert change.slope < 0
    assert change.own_sd / change.value == pytest.approx(0.5 / 2, rel=0.01)
