"""Field tests of synthetic rides, each with a truth of its own."""

from __future__ import annotations

import numpy as np

from optimizer.conditions import Conditions
from optimizer.conditions.air import air_density
from optimizer.physics import Setup
from optimizer.ride.balance import Assumptions
from optimizer.ride.field_test import Runs, field_test
from tests.ride import synthetic

CONDITIONS = Conditions(reference_elevation=100.0)
DENSITY = float(air_density(CONDITIONS.temperature, CONDITIONS.pressure, CONDITIONS.humidity))
BIKE = Setup("bike", 9.0, 0.005)


def truth(rng, **known):
    """What is so, drawn anew for each test: CdA, Crr, wind, gusts, errors of mass and air."""
    drawn = {
        "cda": rng.uniform(0.20, 0.32), "crr": rng.normal(0.005, 0.001),
        "rho": DENSITY * (1 + 0.005 * rng.normal()), "mass": 82.0 * (1 + 0.005 * rng.normal()),
        "wind": tuple(rng.normal(0.0, 2.0, 2)), "gust_time": rng.uniform(3.0, 10.0)}
    return synthetic.Truth(**{**drawn, **known})


def trial(seed, course=None):
    """One ride and its field test; power off by 1.5 %, speed by 0.3 %, elevation by 1 m."""
    rng = np.random.default_rng(seed)
    course = course or (synthetic.loop if seed % 2 else synthetic.out_and_back)
    so = truth(rng)
    ride = synthetic.ride(course(rng), so, synthetic.Sensors(), rng)
    return so, field_test(Runs((ride,), ("bike",), (CONDITIONS,), BIKE, 82.0 - BIKE.mass,
                               Assumptions()))


def covered(so, test):
    """Whether the 95 % interval holds the true CdA, and by how many deviations it is missed."""
    miss = (so.cda - test.drag_area[0]) / test.drag_area_sd[0]
    low, high = test.posterior.quantiles(np.eye(len(test.posterior.mean[0]))[0], (0.025, 0.975))
    return bool(low <= so.cda <= high), float(miss)


def compared(seed, gain, order="ABBA", *, calm=True, repeat_sd=0.0025):
    """Runs with two setups that differ by `gain` (m²), one meter and wheel for all; a Runs."""
    rng = np.random.default_rng(seed)
    path = synthetic.out_and_back(rng, length=3000.0, times=2)
    air = {"gust_sd": 0.2, "slow_sd": 0.15} if calm else {}
    so = truth(rng, gust_time=5.0, **air)
    sensors = synthetic.Sensors()
    scales = (sensors.power_scale_sd * rng.normal(), sensors.speed_scale_sd * rng.normal())
    rides, start = [], 0.0
    for letter in order:
        cda = so.cda - gain * (letter == "B") + repeat_sd * rng.normal()
        ride = synthetic.ride(path, synthetic.replace(so, cda=cda), sensors, rng, scales=scales)
        rides.append(synthetic.later(ride, start))
        start += ride.duration + 300.0
    return Runs(tuple(rides), tuple(order), (CONDITIONS,) * len(order), BIKE, 82.0 - BIKE.mass,
                Assumptions())
