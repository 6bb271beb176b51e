"""Sets side by side: splits, where seconds are won, and why."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optimizer.course import Mark
from optimizer.day import RaceDay
from optimizer.evidence import Effect
from optimizer.kit import Catalogue, Item
from optimizer.kit.compare import CAUSES, compare_sets
from optimizer.kit.evaluator import pacing_evaluator
from tests.kit.invented import BASELINE, RIDER, road, wind

COURSE = replace(road(np.random.default_rng(3), length=12_000.0),
                 marks=(Mark("half way", 6_000.0), Mark("start", 0.0)))
ITEMS = Catalogue((Item("aero", "clothing", 100.0), Item("light", "bottles", 0.0, mass=-0.5),
                   Item("tyre", "tyres", 60.0, cornering_factor=0.95),
                   Item("chain", "chain", 50.0)))
EFFECTS = (Effect("aero", drag_area=np.array([-0.012]), drag_area_sd=0.003),
           Effect("tyre", rolling_resistance=-0.0004), Effect("chain", efficiency=0.006))
SETS = (("plain", ()), ("aero", ("aero",)), ("light", ("light",)), ("tyre", ("tyre",)),
        ("chain", ("chain",)), ("all", ("aero", "light", "tyre", "chain")), ("same", ()))


@pytest.fixture(scope="module")
def found():
    weather = wind(2.0, 1.0)
    evaluator = pacing_evaluator(RaceDay(COURSE, weather, RIDER, step=300.0), BASELINE)
    return compare_sets(RaceDay(COURSE, weather, RIDER), BASELINE, ITEMS, EFFECTS, SETS, evaluator,
                        count=150)


def test_places_are_the_marks_on_the_way_and_the_finish(found):
    assert [name for name, _ in found.places] == ["half way", "Finish"]
    for run in found.runs:
        assert np.all(run.low < run.arrival)
        assert np.all(run.arrival < run.high)
        assert run.arrival[-1] == pytest.approx(run.plan.finish_time)


def test_causes_add_up_to_the_difference(found):
    for difference in found.differences:
        assert difference.rest == pytest.approx(0.0, abs=0.02 + 0.01 * abs(difference.seconds))
        assert difference.seconds == pytest.approx(difference.why.sum() + difference.rest)
        assert difference.at[-1] == pytest.approx(difference.seconds)


@pytest.mark.parametrize(("name", "causes"), [
    ("aero", {"drag"}), ("light", {"mass"}), ("tyre", {"rolling", "corners"}),
    ("chain", {"drivetrain"})])
def test_each_change_shows_under_its_own_cause(found, name, causes):
    difference = next(d for d in found.differences if d.first == name)
    total = dict(zip(CAUSES, difference.why.sum(axis=0), strict=True))
    for cause, seconds in total.items():
        if cause not in causes:
            assert seconds == pytest.approx(0.0, abs=1e-9)
    assert all(abs(total[cause]) > 0.05 for cause in causes)
    assert (total["corners"] < 0) == (name == "tyre")


def test_a_set_against_itself_wins_nothing(found):
    same = next(d for d in found.differences if d.first == "same")
    assert same.seconds == pytest.approx(0.0, abs=1e-6)
    assert same.why == pytest.approx(np.zeros_like(same.why), abs=1e-9)
    assert same.chance == 0.5


def test_common_days_tell_more_than_two_bands(found):
    aero = next(d for d in found.differences if d.first == "aero")
    runs = {run.name: run for run in found.runs}
    apart = runs["aero"].high[-1] - runs["aero"].low[-1]
    assert aero.low < aero.seconds < aero.high
    assert aero.high - aero.low < 0.7 * apart


def test_a_speed_up_to_which_the_rider_pedals_is_no_corners():
    """Where such a speed holds a step, tyres that corner better change nothing there."""
    rider = replace(RIDER, pedalling_speed=12.0)
    day = RaceDay(road(np.random.default_rng(1), length=15_000.0, turns=1), wind(2.0, 1.0), rider,
                  step=300.0)
    items = Catalogue((Item("grip", "tyres", 0.0, cornering_factor=1.15),))
    sets = (("plain", ()), ("grip", ("grip",)))
    found = compare_sets(day, BASELINE, items, (), sets, pacing_evaluator(day, BASELINE), count=50)
    stretches = found.runs[0].plan.pedalling
    assert stretches is not None
    assert stretches.held.any()
    (difference,) = found.differences
    assert 0.3 < difference.seconds < 3.0
    corners = difference.why.sum(axis=0)[CAUSES.index("corners")]
    assert corners == pytest.approx(difference.seconds, rel=0.2)
