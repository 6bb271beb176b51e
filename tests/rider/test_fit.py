"""From what a rider knows to the rider of a plan."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.errors import InputError
from optimizer.rider import defaults
from optimizer.rider.effort import RunTarget
from optimizer.rider.fit import Known, KnownPosition, assess_efforts, fit_rider
from optimizer.rider.power_duration import Efforts, mean_power

HOUR_AND_FIVE = Efforts(np.array([300.0, 3600.0]), np.array([272.0, 226.0]))


def test_one_hour_and_five_minutes_are_enough():
    ability = assess_efforts(HOUR_AND_FIVE)
    rider = fit_rider(Known(mass=63.0), ability)
    # both efforts lie on the curve with the assumed loss beyond half an hour
    kept = 1.0 - defaults.ENDURANCE_LOSS * np.log(2.0)
    assert kept * rider.critical_power + rider.w_prime / 3600 == pytest.approx(226.0)
    assert rider.critical_power + rider.w_prime / 300 == pytest.approx(272.0)
    assert rider.critical_power_sd > 0.03 * 226.0
    assert len(rider.positions) == 2
    told = " ".join(rider.assumed)
    for word in ("CdA", "height", "upright", "surges", "half an hour", "time-trial bars"):
        assert word in told, word
    assert not any(line.startswith(("critical power", "W'")) for line in rider.assumed)


def test_an_assumed_loss_widens_the_error_of_cp():
    free = assess_efforts(HOUR_AND_FIVE).standard_error[0]
    known = assess_efforts(HOUR_AND_FIVE, endurance_loss=defaults.ENDURANCE_LOSS).standard_error[0]
    assert free > known


def test_one_effort_takes_w_prime_from_the_published_group():
    ability = assess_efforts(Efforts(np.array([1200.0]), np.array([280.0])))
    assert ability.curve.critical_power == pytest.approx(280.0 - 18_720.0 / 1200)
    assert "second effort" in ability.warnings[0]
    rider = fit_rider(Known(mass=70.0, height=1.8), ability)
    assert any("published group" in line for line in rider.assumed)
    assert np.isfinite(ability.band(np.array([300.0, 7200.0]))).all()


def test_nothing_but_mass_is_still_a_rider():
    rider = fit_rider(Known(mass=70.0))
    assert rider.critical_power == pytest.approx(3.5 * 70.0)
    assert rider.critical_power_sd / rider.critical_power >= 0.15
    assert any("two best efforts" in line for line in rider.assumed)


def test_what_is_stated_is_not_assumed():
    known = Known(
        mass=70.0, height=1.8, critical_power=280.0, critical_power_sd=5.0, w_prime=20e3,
        w_prime_sd=2e3, max_power=600.0, endurance_loss=0.07, effort_exponent=4.0,
        pedalling_speed=17.0, positions=(
            KnownPosition("aero", 0.25, 0.01, 0.98), KnownPosition("upright", 0.34)))
    rider = fit_rider(known)
    assert rider.assumed == ()
    assert (rider.critical_power_sd, rider.w_prime_sd, rider.drag_area_sd) == (5.0, 2e3, 0.01)


def test_stated_figures_go_before_efforts():
    rider = fit_rider(Known(mass=63.0, critical_power=250.0), assess_efforts(HOUR_AND_FIVE))
    assert rider.critical_power == 250.0
    assert rider.critical_power_sd == pytest.approx(12.5)


@pytest.mark.parametrize("level", defaults.CRITICAL_POWER_PER_KG)
def test_levels_are_named_in_the_assumption(level):
    rider = fit_rider(Known(mass=60.0, level=level))
    assert any(level in line for line in rider.assumed)


def test_a_stated_position_scales_the_others():
    rider = fit_rider(Known(mass=70.0, positions=(KnownPosition("aero", 0.22),)))
    assert [p.name for p in rider.positions] == ["aero", "upright"]
    assert rider.positions[1].drag_area == pytest.approx(0.22 * 0.359 / 0.269)
    road = fit_rider(Known(mass=70.0, positions=(KnownPosition("hoods", 0.35),)))
    assert [p.name for p in road.positions] == ["hoods"]


def test_the_fastest_position_comes_first_but_a_tuck_does_not():
    rider = fit_rider(Known(mass=70.0, positions=(
        KnownPosition("upright", 0.33), KnownPosition("tuck", 0.19, max_power_share=0.1),
        KnownPosition("aero", 0.25))))
    assert [p.name for p in rider.positions] == ["aero", "upright", "tuck"]


def test_efforts_under_two_minutes_are_left_out_unless_a_model_asks_for_them():
    t = np.array([15.0, 60.0, 180.0, 420.0, 720.0, 1200.0])
    efforts = Efforts(t, mean_power("three-parameter", np.array([260.0, 20e3, 900.0, 0.0]), t))
    auto = assess_efforts(efforts)
    assert auto.efforts.duration[0] == 180.0
    assert len(auto.left_out) == 2
    asked = assess_efforts(efforts, "three-parameter")
    assert len(asked.efforts) == 6
    assert asked.curve.max_power == pytest.approx(900.0, rel=1e-4)


def test_an_effort_that_is_no_best_effort_bends_no_curve():
    """By hand: 255 W over 6 min and 205 W over 12 min make CP 155 W and W' 36 kJ."""
    t, power = np.array([180.0, 360.0, 720.0]), np.array([240.0, 255.0, 205.0])
    ability = assess_efforts(Efforts(t, power))
    assert ability.curve.critical_power == pytest.approx(155.0)
    assert ability.curve.w_prime == pytest.approx(36e3)
    said = ("240 W over 3 min: less than was held for longer, so it is no best effort and is left "
            "out")
    assert said in ability.warnings
    assert fit_rider(Known(mass=84.0), ability).warnings == (said,)
    # Who states CP does not plan by the efforts.
    stated = Known(mass=84.0, critical_power=200.0, critical_power_sd=5.0)
    assert fit_rider(stated, ability).warnings == ()


def test_all_other_models_are_there_to_compare():
    t = np.array([180.0, 300.0, 480.0, 720.0, 1200.0])
    ability = assess_efforts(Efforts(t, 270.0 + 18e3 / t))
    assert {ability.curve.model, *(other.model for other in ability.others)} == {
        "inverse-time", "work", "time", "three-parameter"}


def test_the_band_holds_the_curve_and_widens_away_from_the_efforts():
    ability = assess_efforts(HOUR_AND_FIVE)
    t = np.array([300.0, 900.0, 3600.0, 18_000.0])
    low, high = ability.band(t)
    assert np.all((low < ability.curve.power(t)) & (ability.curve.power(t) < high))
    far = assess_efforts(Efforts(np.array([180.0, 300.0]), np.array([350.0, 320.0]))).band(t)
    assert far[1, 2] - far[0, 2] > high[2] - low[2]


def test_the_band_is_that_of_efforts_repeated_on_other_days():
    """Straight lines by numpy through efforts that each vary by 3 %, all exact before."""
    t = np.array([180.0, 420.0, 720.0, 1200.0])
    power = 290.0 + 20e3 / t + np.array([-0.2, 0.4, 0.2, -0.4])
    low, high = assess_efforts(Efforts(t, power)).band(t, 0.9)
    days = power * np.random.default_rng(1).normal(1.0, 0.03, (4000, 4))
    lines = np.polyfit(1.0 / t, days.T, 1)
    repeated = np.percentile(lines[1] + np.multiply.outer(1.0 / t, lines[0]), [5.0, 95.0], axis=1)
    assert high - low == pytest.approx(repeated[1] - repeated[0], rel=0.35)


def test_errors_are_honest_when_efforts_happen_to_fit():
    """Three efforts exactly on a curve: the fit's own error is nil, an effort's is not."""
    t = np.array([180.0, 420.0, 900.0])
    ability = assess_efforts(Efforts(t, 270.0 + 18e3 / t))
    assert ability.curve.standard_error()[0] < 1e-6
    assert ability.standard_error[0] > 0.02 * 270.0


def test_partial_recovery_assumes_half():
    rider = fit_rider(Known(mass=70.0, recovery="partial"))
    assert rider.recovery_share == 0.5
    assert any("half of what is left" in line for line in rider.assumed)
    assert fit_rider(Known(mass=70.0, recovery="partial", recovery_share=0.3)
                     ).recovery_share == 0.3


def test_a_run_leaves_part_of_the_endurance():
    rider = fit_rider(Known(mass=70.0, run=RunTarget(5760.0, 5400.0)))
    assert 0.3 < rider.time_share < 0.7


def test_no_efforts_are_refused():
    with pytest.raises(InputError, match="there are none"):
        assess_efforts(Efforts(np.zeros(0), np.zeros(0)))
    with pytest.raises(InputError, match="is not enough"):
        assess_efforts(Efforts(np.array([20.0]), np.array([700.0])))


def test_riders_of_one_size_differ_only_in_what_they_state():
    plain = fit_rider(Known(mass=70.0, height=1.75))
    tested = fit_rider(replace(Known(mass=70.0, height=1.75), positions=(
        KnownPosition("aero", plain.positions[0].drag_area, 0.005),)))
    assert tested.positions[0].drag_area == plain.positions[0].drag_area
    assert tested.drag_area_sd < plain.drag_area_sd


def test_a_curve_of_mixed_rides_is_no_lower_than_what_was_ridden():
    """An easy long ride, an hour at 289 W, short repeats: the hour was ridden, so it can be."""
    from optimizer.rider.best_powers import best_of_rides

    time = np.arange(12_000.0)
    rides = [("easy", time, np.full(12_000, 180.0)), ("hour", time[:4000], np.full(4000, 289.0)),
             ("repeats", time, np.where(time % 1500 < 120, 380.0, 150.0))]
    found = assess_efforts(best_of_rides(rides))
    assert float(found.curve.power(3600.0)) >= 0.98 * 289.0
    assert float(found.curve.power(120.0)) >= 0.98 * 380.0
    assert any("ridden easily" in line and "180 W" in line for line in found.left_out)


def test_minutes_that_are_seconds_are_refused_with_the_reason():
    efforts = Efforts(60.0 * np.array([240.0, 1200.0]), np.array([380.0, 290.0]))
    with pytest.raises(InputError, match="which no rider has") as caught:
        assess_efforts(efforts)
    assert "are the minutes seconds" in caught.value.remedy
