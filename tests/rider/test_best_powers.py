"""Best powers out of recordings, against plain moving means and one recorded ride."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.errors import InputError
from optimizer.rider.best_powers import best_of_rides, best_power, undominated
from optimizer.rider.power_duration import Efforts

RIDE = Path(__file__).parents[3] / "shared" / "rides" / "road_ride_40km.csv"


def _moving(power, span):
    return np.convolve(power, np.ones(span) / span, "valid").max()


@settings(deadline=None, max_examples=60)
@given(st.lists(st.integers(0, 900), min_size=12, max_size=80), st.integers(1, 12))
def test_second_by_second_it_is_the_moving_mean(power, span):
    power = np.array(power, dtype=float)
    ours = best_power(np.arange(len(power), dtype=float), power, [span])[0]
    assert ours == pytest.approx(_moving(power, span), abs=1e-9)


@settings(deadline=None, max_examples=60)
@given(st.lists(st.tuples(st.integers(1, 4), st.integers(0, 900)), min_size=5, max_size=30),
       st.integers(2, 12))
def test_uneven_sampling_is_a_staircase(steps, span):
    """Against the same staircase laid out in tenths of a second."""
    gaps, power = np.array(steps, dtype=float).T
    time = np.concatenate([[0.0], np.cumsum(gaps)[:-1]])
    last = min(np.median(np.diff(time)), 5.0)
    held = np.append(np.diff(time), last)
    fine = np.repeat(power, np.round(10 * held).astype(int))
    if len(fine) < 10 * span:
        return
    assert best_power(time, power, [span])[0] == pytest.approx(_moving(fine, 10 * span), abs=1e-9)


def test_a_pause_counts_as_no_power():
    time = np.concatenate([np.arange(60.0), 600.0 + np.arange(60.0)])
    power = np.full(120, 300.0)
    found = best_power(time, power, [60.0, 120.0])
    assert found[0] == pytest.approx(300.0)
    assert found[1] == pytest.approx((60 + 4) * 300.0 / 120)  # held five seconds, no longer


def test_a_duration_that_the_ride_does_not_last_is_unknown():
    found = best_power(np.arange(100.0), np.full(100, 250.0), [100.0, 101.0])
    assert found[0] == pytest.approx(250.0)
    assert np.isnan(found[1])


def test_the_best_of_several_rides_names_its_ride():
    time = np.arange(700.0)
    hard = np.where(time < 60, 500.0, 100.0)
    steady = np.full(700, 260.0)
    found = best_of_rides([("hard", time, hard), ("steady", time, steady)],
                          [30.0, 60.0, 600.0, 3600.0])
    assert found.source == ("hard", "steady")
    np.testing.assert_allclose(found.duration, [60.0, 600.0])  # 30 s is no better than 60 s
    np.testing.assert_allclose(found.power, [500.0, 260.0])
    assert found.overlapping


def test_a_ride_that_is_too_short_is_refused():
    with pytest.raises(InputError, match="shorter than"):
        best_of_rides([("blink", np.arange(3.0), np.full(3, 200.0))])


def test_efforts_that_a_longer_one_matches_are_left_out():
    efforts = Efforts(np.array([60.0, 120.0, 300.0, 600.0]), np.array([400.0, 300.0, 300.0, 0.0]))
    np.testing.assert_allclose(undominated(efforts).duration, [60.0, 300.0])


@pytest.mark.skipif(not RIDE.exists(), reason="the recorded ride lies beside the repository")
def test_one_recorded_ride():
    """One recorded ride, test data of python-fitparse (MIT); against pandas' rolling mean."""
    import pandas as pd

    with RIDE.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    time = np.array([float(row["elapsed_s"]) for row in rows])
    power = np.array([float(row["power_w"]) for row in rows])
    spans = [5, 30, 60, 300, 1200, 3600]
    found = best_power(time, power, spans)
    expected = [pd.Series(power).rolling(span).mean().max() for span in spans]
    np.testing.assert_allclose(found, expected, rtol=1e-9)
    # the whole: 279.7 W by the ride's own note
    whole = best_power(time, power, [len(power)])[0]
    assert whole == pytest.approx(279.7, abs=0.1)
