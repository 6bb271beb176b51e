"""Physics that holds from the files to the plan, for any rider, bike and weather."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from optimizer.errors import Infeasible
from optimizer.job import day_of
from optimizer.pacing import plan_ride
from optimizer.physics import GRAVITY, aerodynamic_force
from optimizer.scenario import read_scenario
from tests.hardening.corpus import race, road

few = settings(max_examples=8, deadline=None, derandomize=True,
               suppress_health_check=[HealthCheck.too_slow])
SLACK = 0.02  # s; plans are optimal to a hundredth


@cache
def base():
    with TemporaryDirectory() as folder:
        return read_scenario(race(Path(folder), points=road(5000)))


days = st.fixed_dictionaries({
    "critical_power": st.floats(150, 420), "w_prime": st.floats(5e3, 30e3),
    "mass": st.floats(45, 110), "area": st.floats(0.19, 0.40), "crr": st.floats(0.002, 0.012),
    "wind": st.floats(0, 12), "angle": st.floats(0, 2 * np.pi), "warm": st.floats(-5, 38),
    # Limits that bind: the most by critical power, and the part of W' that is kept.
    "most": st.floats(1.1, 2.5), "kept": st.floats(0.0, 0.9)})


def job_of(day):
    job = base()
    rider = replace(
        job.rider, critical_power=day["critical_power"], w_prime=day["w_prime"], mass=day["mass"],
        max_power=day["most"] * day["critical_power"],
        reserve_floor=day["kept"] * day["w_prime"],
        positions=(replace(job.rider.positions[0], drag_area=day["area"]),))
    air = replace(job.conditions, temperature=273.15 + day["warm"],
                  wind_east=np.array([[day["wind"] * np.sin(day["angle"])]]),
                  wind_north=np.array([[day["wind"] * np.cos(day["angle"])]]))
    return replace(job, rider=rider, conditions=air,
                   baseline=replace(job.baseline, rolling_resistance=day["crr"]))


def ride(job):
    try:
        return plan_ride(day_of(job), job.baseline)
    except Infeasible:
        assume(False)


@few
@given(day=days)
def test_a_plan_keeps_every_limit_and_its_energy_adds_up(day):
    plan = ride(job_of(day))
    p = plan.problem
    assert plan.lower_bound <= plan.finish_time + 1e-9
    assert np.all(np.diff(plan.time) > 0)
    assert np.all(plan.speed <= p.speed_limit * (1 + 1e-6) + 1e-6)
    assert np.all(plan.power >= -1e-6)
    assert np.all(plan.power <= p.power_limit * (1 + 1e-6) + 1e-3)
    assert plan.reserve.min() >= p.reserve_floor - 1.0
    assert plan.reserve.max() <= p.w_prime + 1.0
    # Work at the wheel less all resistance and the change of kinetic energy is what brakes
    # take, and brakes give nothing. Forces at the step's mean kinetic energy.
    energy = 0.5 * plan.speed**2
    speed = np.sqrt(energy[:-1] + energy[1:])
    air = aerodynamic_force(speed, p.headwind, p.crosswind, p.air_density, p.drag, p.position)[0]
    cosine = 1.0 / np.sqrt(1.0 + p.grade**2)
    road_forces = p.mass * GRAVITY * cosine * (p.grade + p.rolling_resistance)
    friction = p.bearing[0] + p.bearing[1] * speed
    wheel = p.drivetrain_efficiency * plan.power * np.diff(plan.time)
    brake = wheel - (air + road_forces + friction) * p.step - p.effective_mass * np.diff(energy)
    assert brake.min() > -0.5  # J
    assert brake.sum() <= wheel.sum() + p.mass * GRAVITY * np.abs(p.grade * p.step).sum()


@few
@given(day=days, what=st.sampled_from(["power", "area", "crr", "wind at the back", "W'"]))
def test_what_helps_never_makes_slower(day, what):
    better = dict(day)
    if what == "power":
        better["critical_power"] *= 1.04
    elif what == "area":
        better["area"] *= 0.95
    elif what == "crr":
        better["crr"] *= 0.9
    elif what == "W'":
        better["w_prime"] *= 1.1
    first = ride(job_of(day))
    if what == "wind at the back":
        job = job_of(day)
        # Along the mean way; the road bends by less than a right angle from it.
        way = np.arctan2(np.sin(job.course.heading).sum(), np.cos(job.course.heading).sum())
        assert np.cos(job.course.heading - way).min() > 0.3
        air = replace(job.conditions, wind_east=job.conditions.wind_east + 2 * np.sin(way),
                      wind_north=job.conditions.wind_north + 2 * np.cos(way))
        second = ride(replace(job, conditions=air))
    else:
        second = ride(job_of(better))
    assert second.finish_time <= first.finish_time + SLACK + first.gap + second.gap


@few
@given(day=days, turn=st.floats(0.5, 6.0))
def test_turning_road_and_wind_together_changes_nothing(day, turn):
    job = job_of(day)
    other = job_of({**day, "angle": day["angle"] + turn})
    other = replace(other, course=replace(other.course, heading=other.course.heading + turn))
    assert ride(other).finish_time == pytest.approx(ride(job).finish_time, abs=SLACK)


@few
@given(day=days)
def test_colder_air_is_slower_in_a_calm(day):
    calm = {**day, "wind": 0.0}
    cold, warm = ride(job_of({**calm, "warm": 0.0})), ride(job_of({**calm, "warm": 30.0}))
    assert warm.finish_time <= cold.finish_time + SLACK + warm.gap + cold.gap
