"""What a rider reads after a ride: three sentences for next time, and words that hold."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from optimizer.pacing import simulate
from optimizer.report.debrief_page import (
    advice,
    debrief_page,
    next_time,
    part_rows,
    season_sentences,
    sentences,
)
from optimizer.ride.debrief import debrief, learned_from, rolling_worth
from optimizer.ride.season import Before, next_plan, pool
from tests.ride.test_debrief import BIKE, RIDER, intended, recorded, ridden

__all__ = ["intended", "recorded"]  # fixtures


def _after(d):
    """What the next plan takes where this is the first ride of a season."""
    before = Before(0.012, 0.001, RIDER.critical_power, 8.0, 4.0, 1.0)
    rides = [learned_from(d)]
    return next_plan(pool(before, rides), rides, (RIDER.positions[0].drag_area,
                     BIKE.rolling_resistance, RIDER.critical_power), (0.0, 0.0), rolling_worth(d))


def _changed(intended, factors):
    power = np.array(intended.power)
    for (start, end), factor in factors.items():
        power[(intended.nodes[:-1] >= start) & (intended.nodes[:-1] < end)] *= factor
    return power


def test_too_hard_first_and_fading_last_is_said_with_its_places(intended):
    power = _changed(intended, {(0.0, 4000.0): 1.08, (8000.0, 12_000.0): 0.80})
    found = debrief(ridden(intended, power), intended)
    said = next_time(found)
    assert len(said) == 3
    assert all(line.endswith(".") and line.count(". ") == 0 for line in said)
    cost = float(simulate(intended.problem, power).time[-1]
                 - simulate(intended.problem, intended.power).time[-1])
    assert found.parts["power"] == pytest.approx(cost, abs=8.0)
    rode = re.match(r"You rode (\d+) % above plan to km ([\d.]+) and were (.+) ahead; "
                    r"then you faded, (\d+) % below plan, and lost (.+): hold (\d+) W", said[0])
    assert rode
    share, place, faded = float(rode[1]), float(rode[2]), float(rode[4])
    assert 3.0 <= share <= 9.0
    assert 4.0 <= place <= 8.5
    assert 5.0 <= faded <= 21.0
    before = intended.nodes[:-1] < 1000.0 * place
    held = np.average(intended.power[before], weights=np.diff(intended.time)[before])
    assert float(rode[6]) == pytest.approx(held, abs=2.0)


def test_a_hard_stretch_within_a_ride_of_too_little_power_is_not_what_was_lost(intended):
    power = _changed(intended, {(0.0, 6000.0): 0.93, (6000.0, 8000.0): 1.07,
                                (8000.0, 12_000.0): 0.9})
    found = debrief(ridden(intended, power), intended)
    said = next_time(found)[0]
    assert said.startswith("You lost")
    assert "by less power than planned" in said
    assert "above plan" not in said
    assert "hold" not in said


def test_a_ride_that_was_too_easy_all_the_way_is_no_fading(intended):
    """One stretch above plan and a weak end explain nothing that most of the ride lost."""
    power = _changed(intended, {(0.0, 20_000.0): 0.94, (2000.0, 3000.0): 1.15,
                                (10_500.0, 11_500.0): 0.85})
    said = next_time(debrief(ridden(intended, power), intended))[0]
    assert "fading" not in said
    assert "by less power than planned, " in said
    assert "most of it" not in said


def test_more_power_than_planned_is_won(intended):
    found = debrief(ridden(intended, 1.06 * intended.power), intended)
    assert next_time(found)[0].startswith("More power than planned saved")


def test_a_ride_as_planned_says_so(intended):
    found = debrief(ridden(intended, intended.power), intended)
    said = next_time(found)
    assert abs(found.parts["power"]) < 1.0
    assert "rode the planned power" in said[0]
    assert "not explained" in said[2]


def test_wind_and_drag_that_the_ride_does_not_tell_apart_are_said_together(intended):
    found = debrief(ridden(intended, 0.95 * intended.power), intended)
    assert found.drag_seconds_sd > 0.0
    parts = {**found.parts, "wind and air": 20.0, "drag and tyres": -24.0}
    vague = replace(found, parts=parts, drag_seconds_sd=60.0,
                    drag_area=found.planned_drag_area,
                    rolling_resistance=found.planned_rolling_resistance)
    said = sentences(vague)
    assert any("wind, drag and tyres together 4.0 s" in line for line in said)
    assert any("does not separate wind from drag" in line for line in said)
    assert "together won 4.0 s" in next_time(vague)[2]
    assert "wind cost" not in next_time(vague)[1]
    sure = replace(vague, drag_seconds_sd=2.0)
    assert any("wind and air 20 s" in line for line in sentences(sure))
    assert "together" not in " ".join([*sentences(sure), *next_time(sure)])


def test_the_seconds_of_drag_are_as_sure_as_cda_and_crr(intended):
    found = debrief(ridden(intended, intended.power), intended)
    assert abs(found.parts["drag and tyres"]) < 3.0 * found.drag_seconds_sd
    problem = found.intended.problem
    rougher = replace(problem, drag=replace(problem.drag, area=1.05 * problem.drag.area))
    by_area = (simulate(rougher, intended.power).time[-1]
               - simulate(problem, intended.power).time[-1]) / (0.05 * found.planned_drag_area)
    alone = by_area * found.test.drag_area_given(found.rolling_resistance)[1]
    most = by_area * np.sqrt(found.test.free.moments()[1][0, 0])
    assert 0.3 * alone < found.drag_seconds_sd < 1.5 * most


def test_stops_are_the_days(intended):
    found = debrief(ridden(intended, intended.power, stop=60.0), intended)
    assert "tops cost" in next_time(found)[1]


def test_the_sentences_are_on_the_page(intended):
    found = debrief(ridden(intended, 0.95 * intended.power), intended)
    page = debrief_page(found, "loop", _after(found)).replace("&nbsp;", " ").replace("\u00a0", " ")
    assert "What to do next time" in page
    for line in [*next_time(found)[:1], *advice(found, _after(found))[:1]]:
        assert line[:30] in page


def test_one_critical_power_is_advised_and_it_is_the_seasons(intended):
    found = debrief(ridden(intended, 1.12 * intended.power), intended, all_out=True)
    after = _after(found)
    page = debrief_page(found, "loop", after)
    said = [line for line in advice(found, after) if "with a critical power of" in line]
    assert len(said) == 1
    assert f"critical power of {after.power:.0f} ±" in said[0]
    assert f"{after.power:.0f} ±" in page


def test_a_crr_that_cannot_be_is_not_advised(recorded):
    """One recorded ride, test data of python-fitparse (MIT); by 85 kg its Crr is 0.011."""
    found = debrief(*recorded)
    assert found.test.contradicts
    said = advice(found, _after(found))
    assert said[0].startswith("Keep the CdA, the Crr and the critical power")
    assert not any("with CdA" in line for line in said)
    assert any("more than any paved road has" in line for line in sentences(found))


def test_a_loss_in_doubt_is_given_to_no_cause(recorded):
    """One recorded ride, test data of python-fitparse (MIT); by 85 kg its Crr is 0.011."""
    found = debrief(*recorded)
    said = sentences(found)
    assert said[1].startswith("Mass, power meter or wind cannot be right, so ")
    assert not any("drag and tyres" in line for line in said)
    page = debrief_page(found, "loop", _after(found)).replace("&nbsp;", " ").replace("\u00a0", " ")
    assert "drag, tyres, mass or meter" in page
    assert "drag and tyres" not in page
    assert ", as stated" not in page  # its file states a Crr and no range of it
    assert "Most was lost from" not in page  # the course has no marks


def test_what_stops_cost_stands_once(intended):
    found = debrief(ridden(intended, intended.power, stop=60.0), intended)
    said = " ".join([*next_time(found), *advice(found, _after(found))])
    assert said.lower().count("stops cost") == 1
    assert "nothing to change" not in said


def test_a_ride_in_doubt_teaches_no_critical_power(recorded):
    """One recorded ride, test data of python-fitparse (MIT); ridden far above a CP of 240 W."""
    ride, plan = recorded
    weak = replace(plan, rider=replace(plan.rider, critical_power=240.0, w_prime=15e3))
    found = debrief(ride, weak, all_out=True)
    assert found.doubted
    learned, after = learned_from(found), _after(found)
    assert (learned.shown, learned.needed, learned.drag) == (0.0, (), None)
    assert not after.tells_power
    assert after.power == after.power_now
    pooled = pool(Before(0.012, 0.001, 240.0, 8.0, 4.0, 1.0), [learned])
    assert (pooled.power, pooled.power_sd) == (240.0, 8.0)
    page = debrief_page(found, "loop", after).replace("&nbsp;", " ").replace("\u00a0", " ")
    for text in (page, " ".join([*sentences(found), *advice(found, after), *next_time(found)])):
        assert " nan " not in text
        assert "Keep the CdA, the Crr and the critical power" in text
        assert "with a critical power of" not in text
        assert "plan with more" not in text
    assert "no ride tells of critical power" in season_sentences(
        pooled, Before(0.012, 0.001, 240.0, 8.0, 4.0, 1.0), after)[-1]


def test_an_overdrawn_reserve_says_what_follows(intended):
    found = debrief(ridden(intended, 1.12 * intended.power), intended, all_out=True)
    said = next(line for line in sentences(found) if "overdrawn" in line)
    assert "W' stays as planned" in said
    assert "plan with more" not in next_time(found)[0]
    assert "plan with more" in next_time(debrief(
        ridden(intended, 1.12 * intended.power), intended))[0]


def test_an_easy_ride_is_no_reason_to_plan_with_more(intended):
    found = debrief(ridden(intended, 0.9 * intended.power), intended)
    assert not any("critical power" in line for line in advice(found, _after(found)))


def test_no_wind_has_no_sign(intended):
    found = debrief(ridden(intended, intended.power), intended)
    assert "planned 0" in next(row[2] for row in part_rows(found) if row[0] == "wind and air")
    assert "−0 km/h" not in str(part_rows(found))


def test_a_fade_is_told_as_one_and_not_as_the_whole_course(intended):
    power = _changed(intended, {(8000.0, 12_000.0): 0.85})
    said = next_time(debrief(ridden(intended, power), intended))[0]
    faded = re.match(r"You held the planned power to km ([\d.]+), then faded, (\d+) % below", said)
    assert faded, said
    assert float(faded[1]) == pytest.approx(8.0, abs=0.8)
    assert float(faded[2]) == pytest.approx(15.0, abs=3.0)
    assert "aim for" not in said


def test_weak_all_the_way_is_no_fade(intended):
    said = next_time(debrief(ridden(intended, 0.93 * intended.power), intended))[0]
    assert "faded" not in said


@pytest.mark.parametrize(("share", "stopped", "said"), [
    (1.0, False, False), (0.85, False, True), (0.85, True, False)])
def test_braking_less_is_advised_only_where_a_corner_was_slower_than_planned(
        intended, share, stopped, said):
    found = debrief(ridden(intended, intended.power), intended)
    at = intended.problem.steps // 2
    limit = np.full(intended.problem.steps + 1, np.inf)
    limit[at] = 0.99 * np.min(np.diff(intended.nodes)[at - 1:at + 1]
                              / np.diff(intended.time)[at - 1:at + 1])
    speed, standing = np.array(found.passage.speed), np.array(found.passage.standing)
    speed[at] = share * limit[at]
    standing[at] = 60.0 if stopped else 0.0
    slower = replace(
        found, parts={**found.parts, "corners and brakes": 20.0},
        intended=replace(intended, problem=replace(intended.problem, speed_limit=limit)),
        passage=replace(found.passage, speed=speed, standing=standing))
    assert ("brake only" in next_time(slower)[1]) is said
    assert any("corner speeds" in one for one in advice(slower, _after(found))) is said


def test_a_ride_that_was_weak_all_the_way_is_not_weaker_somewhere(intended):
    found = debrief(ridden(intended, 0.91 * intended.power), intended)
    said = next_time(found)[0]
    assert "less power than planned" in said
    assert "elsewhere" not in said
    assert "most of it" not in said
