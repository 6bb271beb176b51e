"""The simulation of a ride as it was, on tenths that the fit has seen and has not seen."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.job.intended import intended_ride
from optimizer.pacing import simulate
from optimizer.physics import lay_road
from optimizer.report.debrief_page import _method
from optimizer.ride.causes import turned
from optimizer.ride.debrief import debrief
from optimizer.ride.replay import weights_without
from optimizer.scenario import read_scenario
from optimizer.scenario.weather import weather
from tests.ride.test_debrief import SHARED, intended, recorded, ridden

__all__ = ["intended", "recorded"]  # fixtures


def test_more_wind_on_the_way_is_that_of_a_road_laid_in_it(intended):
    """Against the road laid anew in a wind towards north-east, which has no shelter in it."""
    east, north = 3.0, 1.5
    calm = intended.problem
    windy = lay_road(intended.course, weather(wind_kmh=3.6 * float(np.hypot(east, north)),
                                              wind_from_deg=float(np.degrees(np.arctan2(
                                                  -east, -north)) % 360.0)), intended.nodes)
    share = np.hypot(windy.headwind, windy.crosswind) / np.hypot(east, north)
    head, cross = turned(calm, intended.course, share * east, share * north)
    assert head == pytest.approx(windy.headwind, abs=0.05)
    assert cross == pytest.approx(windy.crosswind, abs=0.05)


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 10_000), st.integers(5, 25), st.integers(1, 4))
def test_a_row_left_out_is_a_row_not_there(seed, rows, out):
    """Against the regression without these rows, inverted anew."""
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(rows, rows))
    covariance = root @ root.T + np.eye(rows)
    y = rng.normal(size=rows)
    gone = np.zeros(rows, dtype=bool)
    gone[rng.choice(rows, out, replace=False)] = True
    precision = np.linalg.inv(covariance)
    found = weights_without(precision, precision @ y, gone)
    again = np.linalg.solve(covariance[np.ix_(~gone, ~gone)], y[~gone])
    np.testing.assert_allclose(found[~gone], again, rtol=1e-6, atol=1e-9)
    assert np.all(found[gone] == 0.0)


def _in_the_wind(intended, east):
    """The plan's own powers in a wind towards the east by the step (m,) [m/s]."""
    head, cross = turned(intended.problem, intended.course, east, np.zeros_like(east))
    problem = replace(intended.problem, headwind=head, crosswind=cross)
    return ridden(replace(intended, problem=problem), intended.power), problem


def test_a_wind_that_grows_is_found_in_the_ride(intended):
    """From 3 m/s one way to 3 m/s the other in the course of the ride; none was forecast."""
    steps = intended.problem.steps
    east = np.linspace(-3.0, 3.0, steps)
    ride, problem = _in_the_wind(intended, east)
    found = debrief(ride, intended)
    assert np.corrcoef(found.headwind, problem.headwind)[0, 1] > 0.9
    # One lap cannot share the cost between wind and drag surely, but both together have it.
    cost = float(simulate(problem, intended.power).time[-1]
                 - simulate(intended.problem, intended.power).time[-1])
    both = found.parts["wind and air"] + found.parts["drag and tyres"]
    assert found.parts["wind and air"] > 0.25 * cost
    assert both == pytest.approx(cost, abs=6.0)
    # The first and the last two minutes have half of what a mean over four minutes uses.
    assert np.abs(found.splits.error[1:-1]).max() < 0.01
    assert np.abs(found.splits.error).max() < 0.025
    assert np.abs(found.splits.cumulative[1:]).max() < 0.01


def test_a_calm_ride_is_followed_on_what_was_not_seen(intended):
    found = debrief(ridden(intended, intended.power), intended)
    assert np.abs(found.splits.error).max() < 0.01
    assert found.splits.unseen_rms < 0.01


def test_what_was_not_seen_is_followed_less_well(intended):
    ride, _ = _in_the_wind(intended, 2.0 * np.sin(np.linspace(0.0, 12.0, intended.problem.steps)))
    splits = debrief(ride, intended).splits
    assert splits.unseen_rms > np.sqrt(np.mean(splits.error**2))


RIDER = """name = "A"
mass_kg = 76
critical_power_w = 300
w_prime_kj = 20
max_power_w = 600
[positions.aero]
drag_area_m2 = 0.38
"""
SCENARIO = """name = "B"
rider = "rider.toml"
[course]
gpx = "course.gpx"
[conditions]
temperature_c = 25.85
pressure_hpa = 1000
[bike]
mass_kg = 9
rolling_resistance = 0.005
"""


@pytest.mark.ci
def test_tenths_of_the_recorded_ride(recorded, tmp_path):
    """One recorded ride, test data of python-fitparse (MIT), rider and kit invented.

    Aim: tenths within 1.5 %, cumulative within 1 %. Measured here: nine of ten within 1.5 %, the
    fourth, with the longest stop in it, 1.58 %; cumulative 1.1 % after the first tenth, with the
    other stop, 0.55 % from there on. Left out in turn, tenths are missed by 2.4 % (rms): air that
    changes within minutes, by the ride's own balance. The plan of a scenario, with its own start,
    powers and blocks, finds the same figures, as long as it has the rider in the same position;
    one that sits up on climbs, as is assumed where nothing is said, makes them 1.65 % and 1.0 %.
    """
    ride, intended = recorded
    found = debrief(ride, intended)
    splits = found.splits
    (tmp_path / "course.gpx").write_bytes((SHARED / "road_ride_40km.gpx").read_bytes())
    (tmp_path / "rider.toml").write_text(RIDER, encoding="utf-8")
    (tmp_path / "scenario.toml").write_text(SCENARIO, encoding="utf-8")
    job = read_scenario(tmp_path / "scenario.toml")
    only = replace(job, rider=replace(job.rider, positions=job.rider.positions[:1]))
    again = debrief(ride, intended_ride(only)).splits
    np.testing.assert_allclose(again.error, splits.error, atol=2e-4)
    np.testing.assert_allclose(again.cumulative, splits.cumulative, atol=2e-4)
    sits_up = debrief(ride, intended_ride(job)).splits
    assert np.abs(sits_up.error).max() == pytest.approx(0.0165, abs=0.0008)
    assert np.abs(sits_up.cumulative).max() == pytest.approx(0.0100, abs=0.0008)
    assert np.sum(np.abs(splits.error) < 0.015) >= 8
    assert np.abs(splits.error).max() < 0.017
    assert np.abs(splits.cumulative).max() < 0.012
    assert np.abs(splits.cumulative[1:]).max() < 0.006
    assert splits.unseen_rms < 0.025
    assert max(splits.limits, key=splits.limits.get).startswith("air")
    said = " ".join(_method(found))
    assert "has not seen is missed by" in said
    assert "limits it most" in said
