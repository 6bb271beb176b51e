"""Rides as recorders leave them, with pauses, gaps, late fixes and drift, and known truth."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from optimizer.ride.balance import Assumptions
from optimizer.ride.field_test import Runs, field_test
from optimizer.ride.spans import spans_of
from tests.ride import recorders, synthetic
from tests.ride.trials import BIKE, CONDITIONS, truth


class Trouble(NamedTuple):
    """One ride with its truth, and what is found in it."""

    truth: synthetic.Truth
    stood: float  # s, true
    ride: object


def troubled(seed):
    """Laps or out and back with one to four stops, by a recorder that pauses (or not), loses
    half a minute, gets its first fix late (or not); the altimeter drifts by 2 m an hour."""
    rng = np.random.default_rng(seed)
    path = (synthetic.loop if seed % 2 else synthetic.out_and_back)(rng)
    so = truth(rng)
    places = np.sort(rng.uniform(1500.0, path.s[-1] - 1500.0, rng.integers(1, 5)))
    places = places[np.concatenate([[True], np.diff(places) > 400.0])]
    stops = tuple((float(place), float(np.exp(rng.uniform(np.log(10.0), np.log(400.0)))))
                  for place in places)
    ride = synthetic.ride(path, so, synthetic.Sensors(), rng, stops=stops)
    if rng.uniform() < 0.7:
        ride = recorders.pausing(ride, delay=rng.uniform(1.0, 5.0))
    if rng.uniform() < 0.6:  # lost while riding
        moving = np.flatnonzero(ride.speed > 4.0)
        at = int(rng.choice(moving[(moving > 100) & (moving < len(ride.time) - 200)]))
        ride = recorders.dropping(ride, float(ride.time[at]), rng.uniform(8.0, 40.0))
    late = rng.uniform()
    if late < 0.4:
        ride = recorders.waiting(ride, int(rng.integers(60, 900)))
    elif late < 0.6:
        ride = recorders.blind(ride, float(rng.uniform(20.0, 120.0)))
    return Trouble(so, sum(int(s / synthetic.STEP) * synthetic.STEP for _, s in stops), ride)


def read_back(tmp_path, ride, number=0):
    """The ride by way of a file, as a person gives it."""
    from optimizer.scenario.ride_file import read_ride

    file = recorders.write_csv(tmp_path / f"ride{number}.csv", ride)
    read = read_ride(file)
    file.unlink()
    return read


def judged(trouble, read):
    """(interval holds the truth, miss in deviations, share of the interval, error of stops)."""
    test = field_test(Runs((read,), ("bike",), (CONDITIONS,), BIKE, 82.0 - BIKE.mass,
                           Assumptions()))
    so = trouble.truth
    first = np.eye(len(test.posterior.mean[0]))[0]
    low, high = test.posterior.quantiles(first, (0.025, 0.975))
    held = low <= so.cda <= high
    width = test.drag_area_high[0] - test.drag_area_low[0]
    return (bool(held), float((test.drag_area[0] - so.cda) / test.drag_area_sd[0]),
            float((test.drag_area[0] - so.cda) / width),
            float(read.duration - spans_of(read).riding.sum() - trouble.stood))


def debriefed(seed, intended):
    """Debrief of the plan ridden with a stop, a pause, a gap and a late fix of this seed."""
    from tests.ride.test_debrief import ridden

    rng = np.random.default_rng(seed)
    power = intended.power * (1.0 + 0.08 * np.sin(np.linspace(0.0, rng.uniform(3.0, 20.0),
                                                              len(intended.power))))
    stop = float(rng.integers(5, 400))
    ride = ridden(intended, power * rng.uniform(0.92, 1.06), stop=stop)
    n = len(ride.time)
    ride = replace(ride, start=recorders.datetime(2024, 5, 1, 9, tzinfo=recorders.UTC),
                   elevation=ride.elevation + np.cumsum(rng.normal(size=n)) * 2.0 / 60.0,
                   power=ride.power * (1.0 + 0.02 * rng.normal(size=n)))
    if rng.uniform() < 0.6:
        ride = recorders.pausing(ride)
    if rng.uniform() < 0.5:
        ride = recorders.dropping(ride, float(rng.uniform(100.0, 500.0)), rng.uniform(8.0, 40.0))
    if rng.uniform() < 0.5:
        ride = recorders.waiting(ride, int(rng.integers(60, 900)))
    return stop, ride
