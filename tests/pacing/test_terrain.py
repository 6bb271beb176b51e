"""Places that a rider recognises, and words for what comes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.course import Corner, Course, Mark
from optimizer.pacing import recognisable_places
from optimizer.pacing.terrain import climbs_and_descents, felt_slope, what_comes
from tests.published.uniform_course import stretches

BIKE = {"mass": 82.0, "area": 0.26, "rolling": 0.004, "efficiency": 0.976, "power": 270.0,
        "inertia": 83.5}


def course(grades, length=1000.0, **fields):
    """Stretches of constant grade, each of `length` metres, in steps of 20 m."""
    grade = np.repeat(grades, round(length / 20))
    distance = 20.0 * np.arange(len(grade) + 1)
    n = len(grade)
    return Course("made up", distance, np.zeros(n + 1), np.zeros(n + 1),
                  np.concatenate([[0.0], np.cumsum(20.0 * grade)]), np.zeros(n), np.ones(n),
                  np.full(n + 1, np.inf), np.full(n, 0.03), np.ones(n), **fields)


def places(*args, **fields):
    return [(mark.name, round(mark.distance, -2))
            for mark in recognisable_places(course(*args, **fields))]


def test_a_change_of_grade_is_felt():
    assert places([0.0, 0.05, -0.05, 0.0]) == [("", 1000.0), ("", 2000.0), ("", 3000.0)]
    assert places([0.02, 0.06, 0.02]) == [("", 1000.0), ("", 2000.0)]
    assert places([0.0, 0.008], 480.0) == []  # too little to feel
    assert places([0.0, 0.05], 300.0) == []  # too short to look ahead and behind


def test_marks_and_turns_are_known_best():
    def turn(name, at, way, dead=False):
        return Corner(name, at, 10.0, way, 5.0, u_turn=dead)

    found = places([0.0, 0.05, 0.0], marks=(Mark("bridge", 1060.0), Mark("start line", 20.0)),
                   corners=(turn("", 1100.0, 1.5), turn("", 400.0, 1.5), turn("", 600.0, -1.5),
                            turn("", 1500.0, 3.1, dead=True), turn("church", 1600.0, 1.5),
                            turn("", 2980.0, 1.5)))
    # Within 150 m the mark stands for the turn and the foot, the U-turn for the church.
    assert found == [("right turn", 400.0), ("left turn", 600.0), ("bridge", 1100.0),
                     ("U-turn", 1500.0), ("", 2000.0)]


def test_a_long_road_without_places_has_its_kilometres():
    found = places([0.0], 30e3, marks=(Mark("bridge", 10_300.0),))
    assert ("bridge", 10_300.0) in found
    gaps = np.diff([0.0, *(at for _, at in found), 30e3])
    assert gaps.max() < 3000.0
    assert gaps.min() >= 300.0
    unnamed = [at for name, at in found if not name]
    assert len(unnamed) >= 10
    assert all(at % 1000 == 0 for at in unnamed)


@pytest.mark.parametrize(("grades", "length", "words"), [
    ([0.05], 2300.0, "climb, 2.3 km at 5 %"), ([-0.041], 4000.0, "descent, 4.0 km at 4 %"),
    ([0.0, 0.004, -0.004], 4000.0, "flat, 12 km"), ([0.06], 350.0, "climb, 350 m at 6 %"),
    ([0.04, -0.04] * 6, 1000.0, "rolling, 12 km"),
    ([0.05, -0.02] * 6, 1000.0, "rolling uphill, 12 km"),
    ([-0.05, 0.02] * 6, 1000.0, "rolling downhill, 12 km"),
    ([0.07, 0.03], 11000.0, "climb, 22 km at 5 %"),
    # What is told of the whole is true of both halves, or each is told by itself.
    ([-0.06, 0.0], 3000.0, "descent, 3.0 km at 6 %, then flat, 3.0 km"),
    ([-0.06, -0.06, 0.0, 0.004, 0.0], 1000.0, "descent, 2.0 km at 6 %, then flat, 3.0 km"),
    ([0.0, 0.0, 0.05], 2000.0, "flat, 4.0 km, then climb, 2.0 km at 5 %"),
    ([0.05, -0.05], 2000.0, "climb, 2.0 km at 5 %, then descent, 2.0 km at 5 %"),
    ([-0.06] * 7 + [0.0], 1000.0, "descent, 8.0 km at 5 %"),
    ([-0.06] + [0.0] * 9, 1000.0, "flat, 10 km"),
    ([-0.05, 0.0, 0.05, 0.0], 1500.0, "rolling, 6.0 km"),
    ([-0.03, 0.0, -0.03, 0.0], 1500.0, "downhill in parts, 6.0 km"),
    ([0.05, 0.0, 0.05, 0.004], 1500.0, "uphill in parts, 6.0 km")])
def test_what_comes(grades, length, words):
    problem = stretches([length] * len(grades), step=50.0, grades=grades, start_speed=8.0,
                        w_prime=15e3, **BIKE)
    assert what_comes(problem, 0, problem.steps) == words


def sloped(grade):
    """A flat kilometre's problem with other grades, in steps of 10 m."""
    problem = stretches([10.0 * len(grade)], step=10.0, grades=[0.0], start_speed=8.0,
                        w_prime=15e3, **BIKE)
    return replace(problem, grade=grade)


def test_climbs_are_felt_over_120_metres():
    grade = np.zeros(100)
    grade[20:22], grade[60:75] = 0.08, -0.03  # 20 m of ramp is no climb, 150 m are a descent
    way = felt_slope(sloped(grade))
    assert not np.any(way > 0)
    assert np.all(way[60:75] == -1)
    assert np.all(way[:50] == 0)


def test_power_changes_only_for_climbs_and_descents_of_300_metres():
    grade = np.zeros(300)
    grade[20:35] = 0.05  # a rise of 150 m
    grade[80:120], grade[135:180] = 0.05, 0.04  # two climbs with 150 m of flat between
    grade[220:270] = -0.05
    way = climbs_and_descents(sloped(grade))
    assert np.flatnonzero(np.diff(way)).tolist() == pytest.approx([79, 179, 219, 269], abs=5)
    assert way[100] == way[127] == way[160] == 1
    assert way[240] == -1
    assert np.all(way[:60] == 0)
