"""What a rider reads after a ride: three sentences for next time, and words that hold."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.pacing import simulate
from optimizer.report.debrief_page import advice, debrief_page, next_time
from optimizer.ride.debrief import debrief
from tests.ride.test_debrief import intended, ridden

__all__ = ["intended"]  # a fixture



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
    assert said[0].startswith("You gave away")
    assert "% above plan, and fading on" in said[0]
    share = float(said[0].split(" % above plan")[0].split()[-1])
    assert share == pytest.approx(8.0, abs=1.5)
    assert "hold" in said[0]


def test_more_power_than_planned_is_won(intended):
    found = debrief(ridden(intended, 1.06 * intended.power), intended)
    assert next_time(found)[0].startswith("You won")


def test_a_ride_as_planned_says_so(intended):
    found = debrief(ridden(intended, intended.power), intended)
    said = next_time(found)
    assert "rode the plan's power" in said[0] or abs(found.parts["power"]) >= 1.0
    assert "unexplained" in said[2]


def test_stops_are_the_days(intended):
    found = debrief(ridden(intended, intended.power, stop=60.0), intended)
    assert "tops cost" in next_time(found)[1]


def test_the_sentences_are_on_the_page(intended):
    found = debrief(ridden(intended, 0.95 * intended.power), intended)
    page = debrief_page(found, "loop").replace("&nbsp;", " ").replace("\u00a0", " ")
    assert "What to do next time" in page
    for line in [*next_time(found)[:1], *advice(found)[:1]]:
        assert line[:30] in page
