"""Random race days with courses of 4 minutes to 5 hours, the same from the same seed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.conditions import Conditions
from optimizer.course import Course
from optimizer.pacing import race_day
from optimizer.physics import Setup
from optimizer.rider import Position, Rider

if TYPE_CHECKING:
    from optimizer.day import RaceDay

__all__ = ["BIKE", "random_day"]

BIKE = Setup("invented", 9.0, 0.0042, rolling_resistance_sd=0.0004, mass_sd=0.5)
BRAKING = 3.0  # m/s²


def random_day(seed: int, *, minutes: tuple[float, float] = (4.0, 300.0), wind: float = 4.0,
               steepest: float = 0.09) -> RaceDay:
    """Draw a rider of 150 to 400 W, a course from flat to steep with corners, and a wind."""
    rng = np.random.default_rng(seed)
    duration = 60.0 * float(np.exp(rng.uniform(*np.log(minutes))))
    power = rng.uniform(150.0, 400.0)
    length = duration * (6.0 + power / 60.0)
    n = max(int(length / 25.0), 60)
    distance = np.linspace(0.0, length, n + 1)
    height = rng.uniform(0.0, 1.0) ** 2 * steepest
    elevation = np.zeros(n + 1)
    for wave in (min(20e3, length), 6000.0, 1900.0, 610.0):
        elevation += (height * rng.uniform(0.1, 0.4) * wave / (2 * np.pi)
                      * np.sin(2 * np.pi * distance / wave + rng.uniform(0.0, 2 * np.pi)))
    energy = np.full(n + 1, 1e6)
    for corner in rng.integers(1, n, size=int(length / 5000)):
        energy[corner] = 0.5 * rng.uniform(4.0, 12.0) ** 2
    for k in range(n - 1, -1, -1):
        energy[k] = min(energy[k], energy[k + 1] + BRAKING * (distance[k + 1] - distance[k]))
    limit = np.sqrt(2 * energy)
    limit[limit > 30.0] = np.inf
    course = Course("random", distance, np.zeros(n + 1), np.zeros(n + 1), elevation,
                    np.cumsum(rng.normal(0.0, 0.1, n)), np.ones(n), limit, np.full(n, 0.03),
                    np.ones(n))
    speed, towards = rng.uniform(0.0, wind), rng.uniform(0.0, 2 * np.pi)
    air = Conditions(wind_east=np.array([[speed * np.sin(towards)]]),
                     wind_north=np.array([[speed * np.cos(towards)]]))
    area = rng.uniform(0.21, 0.34)
    rider = Rider("random", rng.uniform(50.0, 95.0), power, rng.uniform(10e3, 28e3),
                  power * rng.uniform(1.4, 2.5), (Position("aero", area),),
                  critical_power_sd=0.03 * power, w_prime_sd=3e3, drag_area_sd=0.04 * area,
                  endurance_loss=rng.uniform(0.04, 0.12), endurance_loss_sd=0.02,
                  effort_exponent_sd=0.75)
    return race_day(course, air, rider, BIKE)
