"""Choice of position: the dynamic program against enumeration, the plan against brute force."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.conditions import Conditions
from optimizer.course import Course
from optimizer.day import RaceDay
from optimizer.errors import Infeasible
from optimizer.pacing import plan_ride
from optimizer.pacing.positions import best_spells, choose_positions, position_gains
from optimizer.physics import Setup
from optimizer.rider import Position, Rider

AERO, UPRIGHT = Position("aero", 0.25, 0.95), Position("upright", 0.34)
RIDER = Rider("x", 70.0, 270.0, 18e3, 480.0, (AERO, UPRIGHT), endurance_loss=0.08)
BIKE = Setup("bike", 9.0, 0.004)


def course(grades, length=1500.0, limit=np.inf, per=30):
    """Stretches of constant grade, each of `length` metres."""
    grade = np.repeat(grades, per)
    step = np.full(len(grade), length / per)
    distance = np.concatenate([[0.0], np.cumsum(step)])
    n = len(grade)
    return Course("made up", distance, np.zeros(n + 1), np.zeros(n + 1),
                  np.concatenate([[0.0], np.cumsum(step * grade)]), np.zeros(n), np.ones(n),
                  np.full(n + 1, limit), np.full(n, 0.03), np.ones(n))


def worth(position, gains, change):
    return (sum(gains[k, j] for k, j in enumerate(position))
            - change * np.count_nonzero(np.diff(position)))


def allowed(position, time, barred, longest, shortest):
    if any(barred[k, j] for k, j in enumerate(position)):
        return False
    edges = [0, *(np.flatnonzero(np.diff(position)) + 1), len(position)]
    for a, b in itertools.pairwise(edges):
        span = time[b] - time[a]
        if span > longest[position[a]] + 1e-9:
            return False
        if a > 0 and b < len(position) and span < shortest - 1e-9:
            return False
    return True


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 2**32 - 1), st.floats(0.0, 25.0), st.sampled_from([15.0, 25.0, np.inf]),
       st.integers(2, 3))
def test_spells_against_every_succession(seed, shortest, longest, count):
    rng = np.random.default_rng(seed)
    n = 8
    gains = rng.normal(size=(n, count))
    time = np.concatenate([[0.0], np.cumsum(rng.uniform(2.0, 10.0, n))])
    barred = rng.random((n, count)) < 0.15
    limits = np.array([longest, *[np.inf] * (count - 1)])
    best = max((worth(p, gains, 0.3) for p in itertools.product(range(count), repeat=n)
                if allowed(p, time, barred, limits, shortest)), default=None)
    if best is None:
        with pytest.raises(Infeasible):
            best_spells(gains, time, barred=barred, longest=limits, shortest=shortest, change=0.3)
        return
    found = best_spells(gains, time, barred=barred, longest=limits, shortest=shortest, change=0.3)
    assert allowed(found, time, barred, limits, shortest)
    assert worth(found, gains, 0.3) == pytest.approx(best, abs=1e-9)


@pytest.mark.parametrize("rider", [RIDER, replace(RIDER, endurance_loss=0.08, effort_share=0.85)],
                         ids=["whole", "spared"])
def test_gains_are_the_derivative_of_the_finish_time(rider):
    """A slightly better position on some steps: the change of re-solved plans."""
    road = course([0.0, 0.05, -0.04, 0.02])
    for tweak in (replace(AERO, name="less drag", drag_area=0.25 - 1e-4),
                  replace(AERO, name="more power", power_share=0.95 + 2e-4)):
        both = replace(rider, positions=(AERO, tweak))
        plan = plan_ride(RaceDay(road, Conditions(), both, step=60.0), BIKE)
        gains = position_gains(plan, both)[:, 1]
        where = np.zeros(plan.problem.steps, dtype=np.int64)
        where[plan.problem.grade > 0.01] = 1
        moved = plan_ride(RaceDay(road, Conditions(), both, step=60.0, position=where), BIKE)
        assert plan.finish_time - moved.finish_time == pytest.approx(
            float(gains @ where), rel=0.03, abs=2e-4)


@pytest.mark.parametrize("grades", [(0.0, 0.07, -0.03, 0.05), (0.01, 0.03, 0.09, -0.06)])
def test_choice_against_every_combination_of_stretches(grades):
    """Sixteen combinations, each re-solved: the choice, free on each step, is no slower."""
    road = course(grades)
    day = RaceDay(road, Conditions(), RIDER, step=75.0)
    chosen = choose_positions(day, BIKE)
    distance = chosen.plan.distance
    stretch = np.minimum((0.5 * (distance[1:] + distance[:-1]) / 1500.0).astype(int), 3)
    times = [plan_ride(replace(day, position=np.array(which, dtype=np.int64)[stretch]),
                       BIKE).finish_time
             for which in itertools.product((0, 1), repeat=4)]
    assert chosen.plan.finish_time <= min(times) + 0.05
    assert chosen.seconds_won == pytest.approx(times[0] - chosen.plan.finish_time, abs=0.02)
    assert chosen.seconds_won > 0.5


def test_flat_and_fast_stays_aero_and_a_wall_is_ridden_upright():
    flat = choose_positions(RaceDay(course([0.0, -0.01]), Conditions(), RIDER), BIKE)
    assert {spell.position for spell in flat.spells[1:]} == {"aero"} or len(flat.spells) == 1
    wall = choose_positions(RaceDay(course([0.0, 0.1, 0.0]), Conditions(), RIDER), BIKE)
    middle = [s for s in wall.spells if s.start < 2250.0 < s.end]
    assert middle[0].position == "upright"


def test_hands_are_at_the_brakes_where_the_plan_brakes():
    road = course([-0.09, 0.0], limit=15.0)
    chosen = choose_positions(RaceDay(road, Conditions(), RIDER, start_speed=10.0), BIKE)
    # 9 % down at 15 m/s: 70 N of slope against 43 N of drag, upright
    braking = (chosen.plan.speed[1:] > 14.99) & (chosen.plan.problem.grade < -0.05)
    assert braking.sum() > 20
    assert np.all(chosen.position[braking] == 1)


def test_no_spell_lasts_longer_than_the_rider_can_hold():
    rider = replace(RIDER, positions=(replace(AERO, longest=180.0), UPRIGHT))
    chosen = choose_positions(RaceDay(course([0.0, 0.01, 0.0, -0.01]), Conditions(), rider), BIKE)
    for spell in chosen.spells:
        lasts = chosen.plan.time_at(spell.end) - chosen.plan.time_at(spell.start)
        if spell.position == "aero":
            assert lasts <= 180.0 * 1.02  # spells are laid by the times of the plan before
        else:
            assert lasts < 30.0
    assert chosen.seconds_won < 0.0  # comfort costs time, and the plan says how much


def test_spells_cover_the_course_and_repeat():
    road = course([0.0, 0.08, -0.05, 0.03])
    first, again = (choose_positions(RaceDay(road, Conditions(), RIDER), BIKE) for _ in range(2))
    assert first.spells == again.spells
    assert first.spells[0].start == 0.0
    assert first.spells[-1].end == pytest.approx(road.length)
    for one, other in itertools.pairwise(first.spells):
        assert one.end == other.start
        assert one.position != other.position


def test_one_position_is_no_choice():
    rider = replace(RIDER, positions=(AERO,))
    chosen = choose_positions(RaceDay(course([0.0, 0.03]), Conditions(), rider), BIKE)
    assert (chosen.seconds_won, len(chosen.spells)) == (0.0, 1)


def test_every_position_limited_is_infeasible():
    rider = replace(RIDER, positions=(replace(AERO, longest=5.0), replace(UPRIGHT, longest=5.0)))
    with pytest.raises(Infeasible):
        choose_positions(RaceDay(course([0.0, 0.03]), Conditions(), rider), BIKE)


def test_where_no_position_has_a_hand_at_the_brakes_none_is_barred():
    road = course([0.0, -0.08, 0.0], limit=12.0)
    both = replace(RIDER, positions=(AERO, replace(UPRIGHT, name="tuck")))
    chosen = choose_positions(RaceDay(road, Conditions(), both, step=75.0), BIKE)
    assert {spell.position for spell in chosen.spells} <= {"aero", "tuck"}
    upright = choose_positions(RaceDay(road, Conditions(), RIDER, step=75.0), BIKE)
    braking = upright.plan.speed[1:] >= 0.995 * 12.0
    assert (upright.position[braking & (upright.plan.problem.grade < -0.07)] == 1).all()


def test_a_single_position_is_kept():
    road = course([0.0, 0.03])
    alone = choose_positions(RaceDay(road, Conditions(), replace(RIDER, positions=(AERO,)),
                                     step=75.0), BIKE)
    assert [spell.position for spell in alone.spells] == ["aero"]
    assert (alone.seconds_won, alone.rounds) == (0.0, 1)


def valley(peak):
    grade = -peak * np.sin(np.linspace(0.0, np.pi, 24))
    return np.concatenate([[0.0], grade, [0.0]])


@pytest.mark.parametrize(("peak", "speed"), [(0.065, 17.0), (0.07, 15.0), (0.075, 16.0)])
def test_who_rolls_at_the_pedalling_speed_needs_no_brakes(peak, speed):
    """Sitting up only to stay slow enough to pedal is slower, and costs power."""
    rider = replace(RIDER, pedalling_speed=speed)
    road = course(valley(peak), length=150.0, per=3)
    chosen = choose_positions(RaceDay(road, Conditions(), rider), BIKE)
    assert chosen.plan.pedalling is not None
    assert [spell.position for spell in chosen.spells] == ["aero"]


def test_a_cap_at_the_pedalling_speed_is_braked_for():
    rider = replace(RIDER, pedalling_speed=15.0)
    road = course(valley(0.08), length=150.0, per=3, limit=15.0)
    chosen = choose_positions(RaceDay(road, Conditions(), rider), BIKE)
    steep = chosen.plan.problem.grade < -0.07
    at_cap = chosen.plan.speed[1:] >= 0.995 * 15.0
    assert (steep & at_cap).any()
    assert (chosen.position[steep & at_cap] == 1).all()


def test_hands_go_to_the_brakes_just_before_a_corner_and_back_after_it():
    """3 s of braking are no reason to sit up, and pedal, for the 20 s of a spell."""
    road = course([0.0] * 4)
    nodes, corner = road.distance, 0.5 * road.length
    limit = np.full(len(nodes), np.inf)
    before = nodes <= corner
    limit[before] = np.sqrt(4.0**2 + 2.0 * 3.0 * (corner - nodes[before]))
    road = replace(road, speed_limit=limit)
    chosen = choose_positions(RaceDay(road, Conditions(), RIDER, start_speed=10.0), BIKE)
    aero, upright, after = chosen.spells
    assert (aero.position, upright.position, after.position) == ("aero", "upright", "aero")
    plan = chosen.plan
    braking = np.flatnonzero(np.diff(plan.speed) < -0.2)
    assert upright.start < plan.distance[braking[0]]
    assert abs(upright.end - corner) < 2.0 * plan.problem.step.max()
    assert 7.0 < plan.time_at(upright.end) - plan.time_at(upright.start) < 12.0
