"""Fast descents and hard braking are named by kilometre, before a ride that nobody would dare."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.report.card import card_rules
from optimizer.report.cautions import card_cautions, day_cautions
from optimizer.report.fast_places import fast_stretches, hard_braking
from tests.report.made_up import made_up_result

TOP, CORNER = 84.0 / 3.6, 37.0 / 3.6


@pytest.fixture(scope="module")
def result():
    return made_up_result()


def rolling(result, corner=30):
    """36 km/h, but 84 km/h for ten steps, and from there down to a corner at 37 km/h."""
    n = result.plan.problem.steps
    speed, limit = np.full(n + 1, 10.0), np.full(n + 1, np.inf)
    speed[corner - 12:corner - 2] = TOP
    brakes = slice(corner - 2, corner + 1)
    speed[brakes] = limit[brakes] = [TOP, 0.5 * (TOP + CORNER), CORNER]
    return replace(
        result, rideable=replace(result.rideable, speed=speed),
        plan=replace(result.plan, problem=replace(result.plan.problem, speed_limit=limit)))


def test_the_fastest_place_and_its_brakes_are_named(result):
    fast = rolling(result)
    at = fast.plan.distance
    (one,) = fast_stretches(fast)
    assert (one.start, one.end, one.top) == (at[18], at[28], pytest.approx(TOP))
    assert one.braking == hard_braking(fast)[0]
    assert (one.braking.start, one.braking.end) == (at[28], at[30])
    (said,) = [words for words in day_cautions(fast) if words.startswith("Fast")]
    assert "up to 84 km/h, braking to 37 km/h at km" in said
    assert "descent_cap_kmh" in said
    card = card_cautions(fast)
    assert any(rule.startswith("Fast: ") and "84" in rule for rule in card)
    assert any(rule.startswith("Brake hard: ") and "from 84 to 37" in rule for rule in card)
    assert set(card) <= set(card_rules(fast))


def test_who_states_a_cap_has_chosen(result):
    fast = rolling(result)
    capped = replace(fast, job=replace(fast.job, course=replace(
        fast.job.course, speed_limit=np.minimum(fast.job.course.speed_limit, 90.0 / 3.6))))
    assert not [words for words in day_cautions(capped) if words.startswith("Fast")]
    assert any(rule.startswith("Fast: ") for rule in card_cautions(capped))


def test_a_slow_ride_names_nothing(result):
    n = result.plan.problem.steps
    slow = replace(result, rideable=replace(result.rideable, speed=np.full(n + 1, 10.0)))
    assert fast_stretches(slow) == hard_braking(slow) == []


def test_only_the_hardest_braking_is_named(result):
    found = result
    n = found.plan.problem.steps
    speed, limit = np.full(n + 1, 10.0), np.full(n + 1, np.inf)
    for k, after in enumerate((5.0, 9.0, 3.0, 7.0, 8.0)):
        at = 10 + 5 * k
        speed[at:at + 2] = limit[at:at + 2] = [16.0, after]
    found = replace(found, rideable=replace(found.rideable, speed=speed), plan=replace(
        found.plan, problem=replace(found.plan.problem, speed_limit=limit)))
    assert [one.after for one in hard_braking(found)] == [5.0, 3.0, 7.0]
