"""What the plan supposed and what the ride had in its place, cause by cause."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.pacing.simulate import simulate
from optimizer.physics import DragArea
from optimizer.physics.road_load import road_force
from optimizer.ride.field_test import LEAST_ROLLING
from optimizer.ride.stretches import braking_samples

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.conditions import Conditions
    from optimizer.course import Course
    from optimizer.pacing import PacingProblem
    from optimizer.physics import Setup
    from optimizer.ride.align import Passage
    from optimizer.ride.field_test import FieldTest
    from optimizer.ride.ride import Ride
    from optimizer.rider import Rider

__all__ = ["CAUSES", "Causes", "Intended", "causes_of", "clock_of", "replayed", "road_rolling",
           "turned", "winds"]

CAUSES = ("wind and air", "power", "drag and tyres", "corners and brakes", "stops")
_WALK = 1.2  # m/s, at a stop
_NEAR_LIMIT = 1.15  # of the ridden speed; a limit above it does not bind
_PUSHED_WAY, _PUSHED_SPEED = 60.0, 3.5  # m, m/s: about a stop, where feet help
_FEET = 40.0  # W; more is pedalling
_STAND = 1.0  # s in one step that make a stop


@dataclass(frozen=True)
class Intended:
    """The plan: what it was computed with, and what it asked for.

    `nodes` (n + 1,) m; `power` (n,) W; `time`, `reserve` (n + 1,) of that plan.
    """

    course: Course
    conditions: Conditions
    rider: Rider
    setup: Setup
    problem: PacingProblem
    nodes: NDArray[np.float64]
    power: NDArray[np.float64]
    time: NDArray[np.float64]
    reserve: NDArray[np.float64]


@dataclass(frozen=True)
class Causes:
    """What the plan supposed (`planned`) and what the ride had in its place.

    `head`, `cross` (m,); `drag` CdA against yaw; `rolling` (m,) Crr; `brakes`, `stops` (m + 1,)
    speeds that the rider braked to, inf where not; `stood` (m + 1,) seconds stood still up to
    each node; `planned_power`, `ridden_power` (m,).
    """

    planned: PacingProblem
    planned_power: NDArray[np.float64]
    ridden_power: NDArray[np.float64]
    head: NDArray[np.float64]
    cross: NDArray[np.float64]
    drag: DragArea
    rolling: NDArray[np.float64]
    brakes: NDArray[np.float64]
    stops: NDArray[np.float64]
    stood: NDArray[np.float64]

    def times(self, had: frozenset[str]) -> NDArray[np.float64]:
        """(m + 1,) arrival with the causes `had` as on the ride, the others as planned."""
        p = self.planned
        limit = self.brakes if "corners and brakes" in had else p.speed_limit
        start = float(self.brakes[0]) if "corners and brakes" in had else p.start_speed
        if "stops" in had:
            limit = np.minimum(limit, self.stops)
        if "wind and air" in had:
            p = replace(p, headwind=self.head, crosswind=self.cross)
        if "drag and tyres" in had:
            p = replace(p, drag=self.drag, rolling_resistance=self.rolling)
        power = self.ridden_power if "power" in had else self.planned_power
        time = _arrival(replace(p, speed_limit=limit, start_speed=start), power)
        return time + self.stood if "stops" in had else time


def _arrival(problem: PacingProblem, power: NDArray[np.float64]) -> NDArray[np.float64]:
    """(m + 1,) s; where a mixture of plan and ride comes to a stop, the rider keeps walking."""
    ride = simulate(problem, power)
    if np.any(ride.stalled):
        force = road_force(problem.grade, problem.mass, problem.rolling_resistance)
        least = _WALK * np.maximum(force, 0.0) / problem.drivetrain_efficiency
        ride = simulate(problem, np.maximum(power, 2.0 * least))
    return ride.time


def road_rolling(intended: Intended) -> float:
    """Planned Crr, mean over the surfaces of the course."""
    problem = intended.problem
    return float(np.average(problem.rolling_resistance, weights=problem.step))


def replayed(intended: Intended, test: FieldTest | None,
             planned_area: float) -> tuple[float, float]:
    """CdA [m²] and Crr with which the simulation follows the ride.

    By the ride's own balance, whatever is wrong with its meter or mass, but for a Crr that no
    tyre has.
    """
    if test is None:
        return planned_area, road_rolling(intended)
    mean, _ = test.free.moments()
    rolling = max(float(mean[-1]), min(LEAST_ROLLING, road_rolling(intended)))
    return test.drag_area_given(rolling)[0], rolling


def causes_of(ride: Ride, passage: Passage, intended: Intended, problem: PacingProblem,
            test: FieldTest | None, drag: tuple[float, float], planned_area: float) -> Causes:
    """Lay what the ride had beside what the plan supposed; `drag` as `replayed` gives it."""
    m = problem.steps
    share = drag[0] / planned_area
    rougher = drag[1] / road_rolling(intended)
    power = np.where(np.isfinite(passage.power), passage.power, intended.power[:m])
    pushed = _pushed(problem, passage)
    power = np.where(power < _FEET, np.maximum(power, pushed), power)
    head, cross = winds(problem, intended, test, clock_of(ride, passage))
    mass = intended.rider.mass + intended.setup.mass
    braking = np.convolve(braking_samples(ride, intended.setup, mass), np.ones(5), "same") > 0.0
    braked = np.interp(passage.time + passage.begin, ride.time, braking) > 0.3
    # At the plan's own corners the ridden speed counts where it was near what the plan allowed.
    cornered = problem.speed_limit < _NEAR_LIMIT * passage.speed
    brakes = np.where(braked | cornered, np.maximum(passage.speed, _WALK), np.inf)
    brakes[0] = passage.speed[0]
    stops = np.full(m + 1, np.inf)
    # A recorder that pauses does not see the last metres before a stop and the first after it.
    stops[1:] = np.where(passage.standing > _STAND, np.maximum(passage.slowest, _WALK), np.inf)
    return Causes(
        problem, intended.power[:m], power, head, cross,
        DragArea(problem.drag.yaw, np.maximum(share * problem.drag.area, 0.05)),
        problem.rolling_resistance * rougher, brakes, stops,
        np.concatenate([[0.0], np.cumsum(passage.standing)]))


def _pushed(problem: PacingProblem, passage: Passage) -> NDArray[np.float64]:
    """(m,) W that stand for the feet which push the bike about before and after a stop.

    No meter sees them: what the recorded speeds near a stop ask for, without air.
    """
    v = np.maximum(passage.speed, _WALK)
    mean = 0.5 * (v[1:] + v[:-1])
    force = (road_force(problem.grade, problem.mass, problem.rolling_resistance)
             + problem.effective_mass * 0.5 * np.diff(v**2) / problem.step)
    stops = np.flatnonzero(passage.standing > _STAND)
    if not len(stops):
        return np.zeros(problem.steps)
    middle = 0.5 * (passage.distance[1:] + passage.distance[:-1])
    near = np.min(np.abs(middle[:, None] - middle[stops][None, :]), axis=1) < _PUSHED_WAY
    needed = np.maximum(force, 0.0) * mean / problem.drivetrain_efficiency
    return np.where(near & (mean < _PUSHED_SPEED), needed, 0.0)


def clock_of(ride: Ride, passage: Passage) -> NDArray[np.float64]:
    """(m,) s of the middle of each step on the clock of the field test, from its first fix."""
    middle = 0.5 * (passage.time[1:] + passage.time[:-1]) + passage.begin
    return np.asarray(middle - (ride.time[ride.fixes[0]] if ride.has_position else 0.0))


def winds(problem: PacingProblem, intended: Intended, test: FieldTest | None,
           clock: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Head and cross wind as the ride had them: the forecast, and what the ride adds to it."""
    if test is None:
        return problem.headwind, problem.crosswind
    steady = test.posterior.weight @ test.posterior.wind
    east, north, face = test.posterior.turning.at(clock, test.posterior.weighted)
    head, cross = turned(problem, intended.course, steady[0] + east, steady[1] + north)
    return head + face, cross


def turned(problem: PacingProblem, course: Course, east: NDArray[np.float64],
            north: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Head and cross wind of the problem with more wind (m,) on the way of the course."""
    middle = 0.5 * (problem.distance[1:] + problem.distance[:-1])
    step = np.clip(np.searchsorted(course.distance, middle, side="right") - 1, 0,
                   len(course.heading) - 1)
    sine, cosine = np.sin(course.heading[step]), np.cos(course.heading[step])
    return (problem.headwind - (east * sine + north * cosine),
            problem.crosswind + east * cosine - north * sine)
