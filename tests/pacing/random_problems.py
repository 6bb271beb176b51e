"""Random pacing problems, the same from the same seed, for tests and benchmarks."""

from __future__ import annotations

import numpy as np

from optimizer.pacing import PacingProblem
from optimizer.physics import DragArea
from optimizer.rider.effort import EffortLimit

__all__ = ["random_problem"]

YAW = np.radians([0.0, 5.0, 10.0, 15.0, 20.0])
SHAPE = np.array([1.0, 0.99, 0.96, 0.93, 0.97])  # of CdA over yaw; invented
BRAKING = 3.0  # m/s²


def random_problem(seed: int, *, steps: int | None = None, length: float | None = None,
                   wind: float = 10.0, steepest: float = 0.12, yaw: bool = True,
                   recovery: float = 1.0, effort_rate: float | None = None,
                   effort_budget: float = 0.0, **fields: object) -> PacingProblem:
    """Draw a problem: 10 to 180 km, 300 to 7200 steps, CP 150 to 400 W, W' 8 to 30 kJ.

    Waves of 7 km, 1.9 km and 610 m, from flat to steep; a power limit of 1.2 to 3 CP; a corner
    every four kilometres with braking distance; a wind of up to `wind` m/s from one quarter on a
    road that turns. `yaw`: CdA changes with yaw; `effort_rate`
    limits the fourth-power mean of P/CP, with a budget [s] on top; `fields` replace fields of the
    problem.
    """
    rng = np.random.default_rng(seed)
    n = steps or int(np.exp(rng.uniform(np.log(300), np.log(7200))))
    length = length or float(np.exp(rng.uniform(np.log(10e3), np.log(180e3))))
    nodes = np.linspace(0.0, length, n + 1)
    step, middle = np.diff(nodes), 0.5 * (nodes[1:] + nodes[:-1])
    height = rng.uniform(0.0, 1.0) ** 2 * steepest
    grade = sum(height * rng.uniform(0.2, 0.6) * np.sin(2 * np.pi * middle / wave
                                                        + rng.uniform(0.0, 2 * np.pi))
                for wave in (7000.0, 1900.0, 610.0))
    bearing = np.cumsum(rng.normal(0.0, 0.1, n))
    speed, towards = rng.uniform(0.0, wind), rng.uniform(0.0, 2 * np.pi)
    power = rng.uniform(150.0, 400.0)
    limit = np.full(n + 1, np.inf)
    for corner in rng.integers(1, n, size=int(length / 4000)):
        limit[corner] = rng.uniform(4.0, 12.0)
    energy = np.minimum(0.5 * limit**2, 1e6)
    for k in range(n - 1, -1, -1):
        energy[k] = min(energy[k], energy[k + 1] + BRAKING * step[k])
    area = rng.uniform(0.2, 0.35)
    mass = rng.uniform(65.0, 100.0)
    drawn: dict[str, object] = {
        "step": step, "grade": grade, "headwind": speed * np.cos(bearing - towards),
        "crosswind": speed * np.sin(bearing - towards), "air_density": np.full(n, 1.2),
        "rolling_resistance": np.full(n, 0.004), "speed_limit": np.sqrt(2 * energy),
        "power_limit": np.full(n, power * rng.uniform(1.2, 3.0)),
        "critical_power": np.full(n, power), "recovery": np.full(n, recovery),
        "drag": DragArea(YAW, area * SHAPE) if yaw else DragArea.constant(area),
        "position": np.zeros(n, dtype=np.int64), "mass": mass, "effective_mass": mass + 1.5,
        "drivetrain_efficiency": 0.976, "bearing": (0.091, 0.0087),
        "w_prime": rng.uniform(8e3, 30e3)}
    if effort_rate is not None:
        drawn["effort"] = EffortLimit(4.0, effort_rate**4, effort_budget)
    return PacingProblem(**(drawn | fields))  # type: ignore[arg-type]
