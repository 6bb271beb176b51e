"""The page's algebra against Python's: golden vectors of each part, computed again in Node."""

from __future__ import annotations

import json
import subprocess
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from optimizer.pacing.convex import convex_program
from optimizer.pacing.interior_point import starting_point
from optimizer.pacing.lagrangian import Point, linearised, times, transposed
from optimizer.pacing.newton import Newton
from optimizer.pacing.settings import solver_settings
from optimizer.pacing.simulate import reserve_along
from optimizer.report.try_data import camel
from optimizer.rider.recovery import SLOWING, SLOWS
from tests.pacing.random_problems import random_problem
from tests.programs import required

CASES = [{}, {"recovery": 0.6}, {"effort_rate": 0.95, "effort_budget": 20.0},
         {"wind": 9.0, "recovery": 0.7, "effort_rate": 0.9}, {"recovery_law": SLOWING}]


def of_the_page(p):
    """The problem under the page's names."""
    cells = [dict(zip("abcd", part, strict=True)) for part in p.drag.__dict__["_columns"]]
    return {"step": p.step, "grade": p.grade, "headwind": p.headwind, "crosswind": p.crosswind,
            "density": p.air_density, "rolling": p.rolling_resistance,
            "speedLimit": np.minimum(p.speed_limit, 1e3), "powerLimit": p.power_limit,
            "criticalPower": p.critical_power, "recovery": p.recovery, "position": p.position,
            "drag": cells, "mass": p.mass, "effectiveMass": p.effective_mass,
            "efficiency": p.drivetrain_efficiency, "bearing": p.bearing, "wPrime": p.w_prime,
            "reserveFloor": p.reserve_floor, "startSpeed": p.start_speed,
            "lowestSpeed": p.lowest_speed, "pedallingSpeed": 1e3,
            "slowing": SLOWS[p.recovery_law], "effort": None if p.effort is None else {
                "exponent": p.effort.exponent, "perSecond": p.effort.per_second,
                "budget": p.effort.budget}}


def named(x):
    return dict(zip("eWfz", x, strict=True))


@pytest.mark.parametrize("fields", CASES)
def test_rows_derivatives_and_newton_steps_are_those_of_python(fields):
    """At random points, with weights as far apart as they are near the end of a solve."""
    p = random_problem(4, **({"steps": 40, "length": 2000.0, "start_speed": 7.0} | fields))
    program = convex_program(p)
    rng = np.random.default_rng(4)
    x = Point(rng.uniform(30, 70, 41), rng.uniform(0.2, 0.9, 41) * p.w_prime,
              rng.uniform(10, 40, 40), rng.uniform(0.06, 0.2, 40))
    x.energy[0], x.reserve[0] = program.start_energy, p.w_prime
    right = Point(rng.normal(0, 1, 41), rng.normal(0, 1, 41), rng.normal(0, 1, 40),
                  rng.normal(0, 1, 40))
    right.energy[0] = right.reserve[0] = 0.0
    y, weight = rng.uniform(0.1, 2.0, (2, len(program.rows), 40))
    weight[:3] *= 1e6
    effort_y = 0.7 if program.has_effort else 0.0
    rows, d = linearised(program, x)
    newton = Newton(program)
    newton.factor(x, d, y, weight, effort_y)
    golden = {"reserve": reserve_along(p, x.work / x.pace, x.pace),
              "rows": rows.ravel(), "times": times(program, d, right).ravel(),
              "transposed": named(transposed(program, d, y)), "step": named(newton.solve(right)),
              "start": named(starting_point(program)),
              "effort": program.effort(x.work, x.pace) if program.has_effort else 0.0}
    asked = {"constants": {camel(k): v for k, v in solver_settings(p).items()},
             "problem": of_the_page(p), "point": named(x), "right": named(right), "y": y.ravel(),
             "weight": weight.ravel(), "effortY": effort_y}
    done = subprocess.run(
        [required("node", "nodejs"), str(Path(__file__).with_name("replan_algebra.js")),
         str(files("optimizer.report").joinpath(""))],
        input=json.dumps(asked, default=np.ndarray.tolist), capture_output=True, text=True,
        check=True, timeout=60)
    told = json.loads(done.stdout)
    for name, wanted in golden.items():
        for part, values in wanted.items() if isinstance(wanted, dict) else [("", wanted)]:
            got = told[name][part] if part else told[name]
            got = list(got.values()) if isinstance(got, dict) else got
            size = np.max(np.abs(values), initial=1e-12)
            assert got == pytest.approx(values, rel=1e-6, abs=1e-8 * size), (name, part)
