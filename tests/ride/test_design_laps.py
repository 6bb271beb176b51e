"""More runs never show less, on short laps either."""

from __future__ import annotations

import numpy as np
import pytest

from optimizer.ride.balance import Assumptions
from optimizer.ride.comparison import compare
from optimizer.ride.design import Intention, plan_test
from optimizer.ride.field_test import Runs, field_test
from optimizer.ride.places import lap_of
from tests.ride import synthetic
from tests.ride.trials import BIKE, CONDITIONS, truth


@pytest.mark.parametrize("leg", [pytest.param(250.0, marks=pytest.mark.ci), 400.0])
def test_more_runs_show_no_less_on_short_laps(leg):
    """Laps of 400 m once showed 11 W with 8 runs, 42 W with 12 and 45 W with 16."""
    plan = plan_test(Intention(0.005, 40 / 3.6, 10_000.0, course="laps", leg=leg))
    smallest = [option.smallest for option in plan.options]
    assert np.all(np.diff(smallest) < 0.0)
    assert plan.least_watts == pytest.approx(plan.watts / 0.005 * min(smallest))


def _on_short_laps(order, kilometres=4.0, gain=0.012):
    """Runs of some 400 m a lap, the second setup with `gain` (m²) less drag."""
    rng = np.random.default_rng(4)
    path = synthetic.loop(rng, length=260.0, laps=int(1000.0 * kilometres / 415.0), relief=0.3)
    so, sensors = truth(rng, gust_time=5.0, gust_sd=0.3, slow_sd=0.2), synthetic.Sensors()
    rides, start = [], 0.0
    for letter in order:
        ride = synthetic.ride(path, synthetic.replace(so, cda=so.cda - gain * (letter == "B")),
                              sensors, rng, scales=(0.0, 0.0))
        rides.append(synthetic.later(ride, start))
        start += ride.duration + 300.0
    return path, Runs(tuple(rides), tuple(order), (CONDITIONS,) * len(order), BIKE,
                      so.mass - BIKE.mass, Assumptions())


@pytest.mark.ci
def test_a_field_test_of_more_runs_on_short_laps_is_surer_as_well():
    """The plan and the test that it plans see laps in the same parts."""
    found = []
    for order in ("ABBA", "ABBABAAB"):
        path, runs = _on_short_laps(order)
        once = float(np.hypot(np.diff(path.x), np.diff(path.y)).sum()) / (path.s[-1] / 415.0)
        assert lap_of(runs.rides[0]) == pytest.approx(once, rel=0.05)
        found.append(compare(field_test(runs, each_ride=True), "A", "B"))
    assert found[1].sd < 0.85 * found[0].sd
    assert found[1].smallest < found[0].smallest
    for comparison in found:
        assert abs(comparison.change + 0.012) < 3.0 * comparison.sd
