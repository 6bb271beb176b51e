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
from optimizer.pacing.simulate import reserve_along
from optimizer.physics import GRAVITY, DragArea
from optimizer.ride.ability import Ability, ability_of, endurance_error, needed_by_effort
from optimizer.ride.align import Passage, pass_nodes
from optimizer.ride.balance import Assumptions, wind_sd_of
from optimizer.ride.causes import (
    CAUSES,
    Causes,
    Intended,
    causes_of,
    clock_of,
    replayed,
    road_rolling,
)
from optimizer.ride.field_test import Runs, draft_words, field_test
from optimizer.ride.places import heading_of
from optimizer.ride.replay import Splits, splits_of
from optimizer.ride.season import EXPONENTS, LAW_SD, Learned, own_estimate
from optimizer.ride.segments import Along

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.pacing import PacingProblem
    from optimizer.ride.field_test import FieldTest
    from optimizer.ride.ride import Ride

__all__ = ["CAUSES", "Debrief", "Intended", "debrief", "learned_from", "rolling_worth"]

_ROLLING_FROM = "as planned, its range assumed"
_SMALL = 0.02  # of CdA and of Crr, for slopes of the time


@dataclass(frozen=True)
class Debrief:
    """Where the time went.

    Attributes
    ----------
    intended, passage : plan and ride
    planned_time, ridden_time : s, to the last node that the ride reached
    parts : cause -> seconds that it cost; with "rest" they add up to the difference
    along : cause -> (m + 1,) the same from the start to each node
    drag_seconds_sd : s, standard deviation of the seconds of drag and tyres, and nearly that of
        the wind's, since the ride's own time holds their sum; nan without a test
    planned_power, ridden_power : (m,) W
    drag_area, drag_area_sd : m², from the ride; nan where it cannot tell
    rolling_resistance, rolling_resistance_sd : Crr likewise; where no tyre fits the ride it is
        the planned one, which CdA then goes with
    planned_drag_area, planned_rolling_resistance : m², and Crr on this course's surfaces
    headwind, planned_headwind : (m,) m/s along the course
    reserve : (m + 1,) J, as it went by the planned CP and W'
    ability : what the ride says of CP
    splits : how well the simulation of the ride as it was follows it; None without a test
    test : the field test behind the drag; None where the ride holds too little
    notes : what a reader should know
    """

    intended: Intended
    passage: Passage
    planned_time: float
    ridden_time: float
    parts: dict[str, float]
    along: dict[str, NDArray[np.float64]]
    drag_seconds_sd: float
    planned_power: NDArray[np.float64]
    ridden_power: NDArray[np.float64]
    drag_area: float
    drag_area_sd: float
    rolling_resistance: float
    rolling_resistance_sd: float
    planned_drag_area: float
    planned_rolling_resistance: float
    headwind: NDArray[np.float64]
    planned_headwind: NDArray[np.float64]
    reserve: NDArray[np.float64]
    ability: Ability
    splits: Splits | None
    test: FieldTest | None
    notes: tuple[str, ...] = ()

    @property
    def difference(self) -> float:
        """Seconds that the ride took longer than the plan."""
        return self.ridden_time - self.planned_time

    @property
    def doubted(self) -> bool:
        """Whether meter, mass or wind cannot be right, so that the ride teaches nothing."""
        return self.test is not None and self.test.contradicts


def debrief(ride: Ride, intended: Intended, *, all_out: bool = False) -> Debrief:
    """Compare a ride with its plan.

    `all_out`: the rider had nothing left at the lowest point of the reserve.

    Raises InputError where the ride is not one of this course or holds no power.
    """
    if not ride.has_power:
        raise InputError(ride.place, "", "has no power",
                         "a debrief needs a power meter: record power_w")
    passage = pass_nodes(ride, intended.course, intended.nodes)
    m = len(passage.power)
    problem = _shortened(intended.problem, m)
    planned_area = _planned_area(problem, intended.time[:m + 1])
    # The next plan counts by the metres of a course, not by those of this wheel.
    scaled = replace(ride, distance=passage.stretch * ride.distance,
                     speed=passage.stretch * ride.speed)
    test, notes = _drag_from(scaled, intended, _along(scaled, passage, intended, problem,
                                                      planned_area))
    causes = causes_of(ride, passage, intended, problem, test,
                       replayed(intended, test, planned_area), planned_area)
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
        drag_seconds_sd=_drag_seconds_sd(causes, test, planned_area, road_rolling(intended)),
        planned_power=causes.planned_power, ridden_power=causes.ridden_power,
        drag_area=test.answer.area if test else math.nan,
        drag_area_sd=test.answer.area_sd if test else math.nan,
        rolling_resistance=test.answer.rolling if test else math.nan,
        rolling_resistance_sd=test.answer.rolling_sd if test else math.nan,
        planned_drag_area=planned_area, planned_rolling_resistance=road_rolling(intended),
        headwind=causes.head, planned_headwind=problem.headwind,
        reserve=reserve_along(problem, spread, pace),
        ability=ability_of(problem, spread, pace, intended.rider, all_out=all_out),
        splits=None if test is None else splits_of(causes, passage, intended, test,
                                                   clock_of(ride, passage)),
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
        out.append(f"power is missing for {100 * missing:.0f} % of the course; the plan's is taken "
                   "in for it")
    return out


def _shortened(problem: PacingProblem, m: int) -> PacingProblem:
    """Keep the first m steps of the problem."""
    if m == problem.steps:
        return problem
    return problem.with_steps(np.arange(m), problem.speed_limit[:m + 1])


def _planned_area(problem: PacingProblem, time: NDArray[np.float64]) -> float:
    """Mean of the planned CdA without yaw over the planned time [m²]."""
    area = problem.drag.at(np.zeros(problem.steps), problem.position)
    return float(np.average(area, weights=np.diff(time)))


def _along(ride: Ride, passage: Passage, intended: Intended, problem: PacingProblem,
           planned_area: float) -> Along:
    """Lay the plan's road, wind and positions under each sample of the ride."""
    at = np.interp(ride.time, passage.time + passage.begin, passage.distance)

    def step_of(nodes: NDArray[np.float64]) -> NDArray[np.int64]:
        return np.clip(np.searchsorted(nodes, at, side="right") - 1, 0, len(nodes) - 2)

    step = step_of(passage.distance)
    heading = intended.course.heading[step_of(intended.course.distance)]
    head, cross = problem.headwind[step], problem.crosswind[step]
    sine, cosine = np.sin(heading), np.cos(heading)
    yaw = np.arctan2(cross, np.maximum(ride.speed + head, 0.1))
    if ride.has_position:
        first, end = ride.fixes
        own = np.concatenate([heading[:first], heading_of(ride.between(first, end)), heading[end:]])
    else:
        own = heading
    return Along(own, problem.air_density[step], cross * cosine - head * sine,
                 -(head * cosine + cross * sine),
                 problem.drag.at(yaw, problem.position[step]) / planned_area,
                 problem.rolling_resistance[step] / road_rolling(intended))


def _drag_from(ride: Ride, intended: Intended, along: Along,
               ) -> tuple[FieldTest | None, tuple[str, ...]]:
    """CdA and Crr of the ride, as a field test of it says, with the forecast for the wind."""
    weather = intended.conditions
    wind = float(np.hypot(np.mean(weather.wind_east), np.mean(weather.wind_north)))
    assumed = Assumptions(wind_sd=wind_sd_of(wind or None))
    tyres = replace(intended.setup, rolling_resistance=road_rolling(intended))
    try:
        test = field_test(Runs((ride,), ("ridden",), (weather,), tyres, intended.rider.mass,
                               assumed, along=(along,), rolling_from=_ROLLING_FROM))
    except InputError as error:
        trouble = (f"the ride does not show its drag ({error.problem}); the planned one is taken "
                   "in for it")
        return None, (trouble,)
    return test, (draft_words(test.common_draft),) if test.common_draft else ()


def _shared_out(causes: Causes) -> tuple[NDArray[np.float64], dict[str, NDArray[np.float64]]]:
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


def _drag_seconds_sd(causes: Causes, test: FieldTest | None, area: float,
                     rolling: float) -> float:
    """Give the errors of CdA and Crr, with their covariance, in seconds of the planned ride."""
    if test is None:
        return math.nan

    def slower(value: float, **changed: Any) -> float:
        rougher = replace(causes, planned=replace(causes.planned, **changed))
        return float(rougher.times(frozenset())[-1] - before) / (_SMALL * value)

    before = float(causes.times(frozenset())[-1])
    p, more = causes.planned, 1.0 + _SMALL
    slope = np.array([slower(area, drag=DragArea(p.drag.yaw, more * p.drag.area)),
                      slower(rolling, rolling_resistance=more * p.rolling_resistance)])
    covariance = test.free.moments()[1][np.ix_([0, -1], [0, -1])]
    return float(np.sqrt(slope @ covariance @ slope))


def learned_from(d: Debrief) -> Learned:
    """Say what the ride alone shows against its plan, for a season to pool.

    Nothing where meter or mass is in doubt: watts that are wrong for drag are wrong for critical
    power.
    """
    name = d.test.spec.rides[0].name if d.test else "ride"
    if d.doubted:
        return Learned(name, None, None, 0.0, 0.0, (), d.ability.all_out)
    drag = covariance = None
    if d.test is not None:
        a, on_road = d.test.spec.assumptions, road_rolling(d.intended)
        mean, spread = d.test.free.moments()
        drag, covariance = own_estimate(mean, spread, np.array([a.drag_area, on_road]),
                                        np.array([a.drag_area_sd, a.rolling_resistance_sd]))
        # The season keeps the tyre's Crr on smooth asphalt, as a bike's file does.
        unit = np.array([1.0, d.intended.setup.rolling_resistance / on_road])
        drag = (drag - [d.planned_drag_area, on_road]) * unit
        covariance = covariance * np.outer(unit, unit)
    riding = np.diff(d.passage.time) - d.passage.standing
    riding = np.maximum(riding, 0.0)
    needed = needed_by_effort(d.ridden_power, riding, d.intended.rider, EXPONENTS)
    error = math.hypot(LAW_SD, endurance_error(float(riding.sum()), d.intended.rider))
    return Learned(name, drag, covariance, d.ability.shown,
                   d.ability.shown_sd, needed, d.ability.all_out, error)


def rolling_worth(d: Debrief) -> float:
    """CdA [m²] that takes as much energy on the planned ride as a Crr of one on smooth asphalt."""
    problem, taken = d.intended.problem, np.diff(d.intended.time)
    way = problem.step
    rougher = problem.rolling_resistance / d.intended.setup.rolling_resistance
    by_tyres = float(np.sum(problem.mass * GRAVITY * rougher * way))
    by_air = float(np.sum(0.5 * problem.air_density * (way / taken)**2 * way))
    return by_tyres / by_air
