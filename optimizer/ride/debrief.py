"""Plan against ride: where the time went, in parts that add up to the whole.

Every cause (wind and air, power, drag and tyres, corners, stops) is put into the same forward
simulation in every order; a cause is worth the mean of what it adds (Shapley 1953, Contributions
to the Theory of Games II, 307). So the parts add up to the simulated difference exactly, and what
the simulation of the ride misses stands beside them as the rest.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.errors import InputError
from optimizer.pacing.simulate import reserve_along, simulate
from optimizer.physics import DragArea
from optimizer.physics.road_load import road_force
from optimizer.ride.ability import Ability, ability_of
from optimizer.ride.align import Passage, pass_nodes
from optimizer.ride.balance import Assumptions
from optimizer.ride.field_test import Runs, field_test
from optimizer.ride.stretches import braking_samples

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.conditions import Conditions
    from optimizer.course import Course
    from optimizer.pacing import PacingProblem
    from optimizer.physics import Setup
    from optimizer.ride.field_test import FieldTest
    from optimizer.ride.ride import Ride
    from optimizer.rider import Rider

__all__ = ["CAUSES", "Debrief", "Intended", "debrief"]

CAUSES = ("wind and air", "power", "drag and tyres", "corners and brakes", "stops")
_WALK = 1.2  # m/s, at a stop
_NEAR_LIMIT = 1.15  # of the ridden speed; a limit above it does not bind
_STAND = 1.0  # s in one step that make a stop
_DRAG_SD = 0.05  # m², of the planned CdA before the ride is seen
_LEAST_WIND_SD = 2.0  # m/s, of the forecast at the rider
_EXACT = 1e-4  # relative, of mass and meter, which the next plan takes as they are


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
class Debrief:
    """Where the time went.

    Attributes
    ----------
    intended, passage : plan and ride
    planned_time, ridden_time : s, to the last node that the ride reached
    parts : cause -> seconds that it cost; with "rest" they add up to the difference
    along : cause -> (m + 1,) the same from the start to each node
    planned_power, ridden_power : (m,) W
    replay : (m + 1,) s, simulation of the ride as it was
    drag_area, drag_area_sd : m², from the ride; nan where it cannot tell
    planned_drag_area : m²
    headwind, planned_headwind : (m,) m/s along the course
    reserve : (m + 1,) J, as it went by the planned CP and W'
    ability : what the ride says of CP
    test : the field test behind the drag; None where the ride holds too little
    notes : what a reader should know
    """

    intended: Intended
    passage: Passage
    planned_time: float
    ridden_time: float
    parts: dict[str, float]
    along: dict[str, NDArray[np.float64]]
    planned_power: NDArray[np.float64]
    ridden_power: NDArray[np.float64]
    replay: NDArray[np.float64]
    drag_area: float
    drag_area_sd: float
    planned_drag_area: float
    headwind: NDArray[np.float64]
    planned_headwind: NDArray[np.float64]
    reserve: NDArray[np.float64]
    ability: Ability
    test: FieldTest | None
    notes: tuple[str, ...] = ()

    @property
    def difference(self) -> float:
        """Seconds that the ride took longer than the plan."""
        return self.ridden_time - self.planned_time


@dataclass(frozen=True)
class _Causes:
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


def debrief(ride: Ride, intended: Intended, *, all_out: bool = False) -> Debrief:
    """Compare a ride with its plan.

    `all_out`: the rider had nothing left at the lowest point of the reserve.

    Raises InputError where the ride is not one of this course or holds no power.
    """
    if not ride.has_power:
        raise InputError(ride.name, "", "holds no power",
                         "a debrief needs a power meter: record power_w")
    passage = pass_nodes(ride, intended.course, intended.nodes)
    m = len(passage.power)
    problem = _shortened(intended.problem, m)
    test, notes = _drag_from(ride, intended)
    planned_area = _planned_area(problem, intended.time[:m + 1])
    causes = _causes(ride, passage, intended, problem, test, planned_area)
    planned, along = _shared_out(causes)
    replay = planned + np.sum(list(along.values()), axis=0)
    # What the plan's own simulation rounds belongs to no cause.
    along["rest"] = passage.time - replay - (intended.time[:m + 1] - planned)
    # A rider who stands recovers: work spread over the whole time of the step.
    taken = np.diff(passage.time)
    pace = taken / problem.step
    spread = causes.ridden_power * (taken - passage.standing) / np.maximum(taken, 1e-9)
    return Debrief(
        intended=intended, passage=passage, planned_time=float(intended.time[m]),
        ridden_time=float(passage.time[-1]),
        parts={cause: float(seconds[-1]) for cause, seconds in along.items()}, along=along,
        planned_power=causes.planned_power, ridden_power=causes.ridden_power, replay=replay,
        drag_area=float(test.drag_area[0]) if test else math.nan,
        drag_area_sd=float(test.drag_area_sd[0]) if test else math.nan,
        planned_drag_area=planned_area, headwind=causes.head, planned_headwind=problem.headwind,
        reserve=reserve_along(problem, spread, pace),
        ability=ability_of(problem, spread, pace, intended.rider, all_out=all_out),
        test=test, notes=(*_notes(passage, intended), *notes))


def _notes(passage: Passage, intended: Intended) -> list[str]:
    out = []
    if not passage.complete:
        out.append(f"the ride ends at {passage.distance[-1] / 1000:.1f} of "
                   f"{intended.course.length / 1000:.1f} km; it is compared up to there")
    if passage.off_course > 0.01:
        out.append(f"{100 * passage.off_course:.0f} % of the ride was off the course")
    missing = float(np.mean(np.isnan(passage.power)))
    if missing > 0.0:
        out.append(f"power is missing for {100 * missing:.0f} % of the course; the plan's stands "
                   "in for it")
    return out


def _shortened(problem: PacingProblem, m: int) -> PacingProblem:
    """Keep the first m steps of the problem."""
    if m == problem.steps:
        return problem
    cut: dict[str, Any] = {name: getattr(problem, name)[:m] for name in (
        "step", "grade", "headwind", "crosswind", "air_density", "rolling_resistance",
        "power_limit", "critical_power", "recovery", "position")}
    return replace(problem, **cut, speed_limit=problem.speed_limit[:m + 1])


def _planned_area(problem: PacingProblem, time: NDArray[np.float64]) -> float:
    """Mean of the planned CdA without yaw over the planned time [m²]."""
    area = problem.drag.at(np.zeros(problem.steps), problem.position)
    return float(np.average(area, weights=np.diff(time)))


def _drag_from(ride: Ride, intended: Intended) -> tuple[FieldTest | None, tuple[str, ...]]:
    """CdA and Crr of the ride, with the forecast as what was thought of the wind.

    Meter and mass stand as the plan has them: what they get wrong belongs to the CdA and Crr
    with which the next plan, by the same meter and mass, comes true.
    """
    weather = intended.conditions
    wind = float(np.hypot(np.mean(weather.wind_east), np.mean(weather.wind_north)))
    doubt = 0.64 * wind * math.hypot(weather.speed_sd, weather.direction_sd)
    assumed = Assumptions(
        power_scale_sd=_EXACT, mass_sd=_EXACT, wind_sd=max(doubt, _LEAST_WIND_SD),
        drag_area=intended.rider.positions[0].drag_area, drag_area_sd=_DRAG_SD)
    try:
        return field_test(Runs((ride,), ("ridden",), (weather,), intended.setup,
                               intended.rider.mass, assumed)), ()
    except InputError as error:
        trouble = (f"the drag of the ride cannot be told ({error.problem}); the planned one stands "
                   "in for it")
        return None, (trouble,)


def _causes(ride: Ride, passage: Passage, intended: Intended, problem: PacingProblem,
            test: FieldTest | None, planned_area: float) -> _Causes:
    m = problem.steps
    change = float(test.drag_area[0]) - planned_area if test else 0.0
    rougher = test.rolling_resistance / intended.setup.rolling_resistance if test else 1.0
    power = np.where(np.isfinite(passage.power), passage.power, intended.power[:m])
    head, cross = _winds(problem, intended, test)
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
    return _Causes(
        problem, intended.power[:m], power, head, cross,
        DragArea(problem.drag.yaw, np.maximum(problem.drag.area + change, 0.05)),
        problem.rolling_resistance * rougher, brakes, stops,
        np.concatenate([[0.0], np.cumsum(passage.standing)]))


def _winds(problem: PacingProblem, intended: Intended, test: FieldTest | None,
           ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Head and cross wind as the ride had them: the forecast, and what the ride adds to it."""
    if test is None:
        return problem.headwind, problem.crosswind
    east, north = test.posterior.weight @ test.posterior.wind
    course = intended.course
    middle = 0.5 * (problem.distance[1:] + problem.distance[:-1])
    step = np.clip(np.searchsorted(course.distance, middle, side="right") - 1, 0,
                   len(course.heading) - 1)
    sine, cosine = np.sin(course.heading[step]), np.cos(course.heading[step])
    return (problem.headwind - (east * sine + north * cosine),
            problem.crosswind + east * cosine - north * sine)


def _shared_out(causes: _Causes) -> tuple[NDArray[np.float64], dict[str, NDArray[np.float64]]]:
    """Arrival as planned, and what each cause adds to it at each node (Shapley's value)."""
    n = len(CAUSES)
    every = [frozenset(some) for k in range(n + 1) for some in combinations(CAUSES, k)]
    times = {had: causes.times(had) for had in every}
    along = {}
    for cause in CAUSES:
        along[cause] = np.sum([
            math.factorial(len(had)) * math.factorial(n - 1 - len(had)) / math.factorial(n)
            * (times[had | {cause}] - times[had]) for had in every if cause not in had], axis=0)
    return times[frozenset()], along
