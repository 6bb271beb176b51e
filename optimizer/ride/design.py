"""A field test before it is ridden: what it could show, by the model that will judge it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Literal

import numpy as np

from optimizer.conditions import Conditions
from optimizer.course.geodesy import move
from optimizer.physics import DragArea, Setup, road_load
from optimizer.ride.balance import Assumptions
from optimizer.ride.comparison import (
    DRIFT_SD,
    REPEAT_RUNS,
    REPEAT_SD,
    freedom_of,
    power_to_see,
    smallest_to_see,
)
from optimizer.ride.disturbances import SIZES
from optimizer.ride.field_test import Runs, field_test, spacing_of, used_share
from optimizer.ride.ride import Ride

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Intention", "Option", "TestPlan", "plan_test"]

_ORDERS = ("AB", "ABBA", "ABBABAAB", "ABBABAABBAAB", "ABBABAABBAABABBA")
_PAUSE = 300.0  # s between runs, to change the kit
_LATITUDE = 47.0  # any; a metre is a metre
_CRR = 0.0045  # of an ordinary tyre on asphalt; common practice, no source
_FEW = "ABBA"  # runs that the model is asked with; more are like these


@dataclass(frozen=True)
class Intention:
    """What somebody means to test, and where; its defaults are common practice, no source.

    Attributes
    ----------
    change : m², the change of CdA that is worth seeing
    speed : m/s
    run_length : m
    course : "out and back" on one road, or "laps"
    leg : m, length of the road, or of the lap
    drag_area, mass : m², kg
    gust_sd : m/s, of the gusts at the rider; `turning_sd` of the slow change of the wind
    repeat_sd : m², what the rider does not repeat from run to run
    altimeter : whether heights are recorded
    power : chance that is wanted to see the change
    """

    change: float
    speed: float
    run_length: float = 10_000.0
    course: Literal["out and back", "laps"] = "out and back"
    leg: float = 2500.0
    drag_area: float = 0.28
    mass: float = 85.0
    air_density: float = 1.2
    gust_sd: float = 0.6
    turning_sd: float = 0.5
    repeat_sd: float = REPEAT_SD
    altimeter: bool = True
    power: float = 0.8
    assumptions: Assumptions = field(default_factory=Assumptions)


@dataclass(frozen=True)
class Option:
    """A number of runs and what it would show.

    `order` of the setups; `hours` in all; `share` of each run that the field test uses; `sd` of
    the difference [m²]; `smallest` change that shows with the wanted chance [m²]; `chance` to
    see the change that is asked for.
    """

    order: str
    hours: float
    share: float
    sd: float
    smallest: float
    chance: float

    @property
    def runs(self) -> int:
        """How many."""
        return len(self.order)


@dataclass(frozen=True)
class TestPlan:
    """Options from few runs to many; `best` is the first that sees the change, if any does.

    `watts` of the change at the speed; `least_watts` that the best option would see.
    """

    __test__ = False  # not a test to be collected

    intention: Intention
    options: tuple[Option, ...]
    best: Option | None
    watts: float
    least_watts: float


def plan_test(intention: Intention) -> TestPlan:
    """Say how many runs it takes to see a change, or that this course cannot show it."""
    options = []
    told: dict[float, NDArray[np.float64]] = {}
    for order in _ORDERS:
        share = _share(intention, len(order))
        if share not in told:
            told[share] = _covariance(replace(intention,
                                              run_length=share * intention.run_length))
        covariance = _of_more_runs(told[share], len(order))
        hours = ((intention.run_length / intention.speed + _PAUSE) / 3600.0
                 * np.arange(len(order), dtype=np.float64))
        second = np.array([letter == "B" for letter in order])
        sd = _design_sd(covariance, second, hours, intention.repeat_sd)
        freedom = freedom_of(sd, _design_sd(covariance, second, hours, 0.0),
                             REPEAT_RUNS + len(order) - 2)
        options.append(Option(order, float(hours[-1] + intention.run_length / intention.speed
                                           / 3600.0), share, sd,
                              smallest_to_see(sd, freedom, intention.power),
                              power_to_see(intention.change, sd, freedom)))
    best = next((option for option in options if option.chance >= intention.power), None)
    watts = 0.5 * intention.air_density * intention.speed**3
    return TestPlan(intention, tuple(options), best, watts * intention.change,
                    watts * min(option.smallest for option in options))


def _share(intention: Intention, runs: int) -> float:
    """Part of each run that a field test of so many uses."""
    length = runs * intention.run_length
    lap = intention.leg if intention.course == "laps" else 2.0 * intention.leg
    return used_share(length, spacing_of(length, lap if lap < intention.run_length else None))


def _of_more_runs(few: NDArray[np.float64], runs: int) -> NDArray[np.float64]:
    """Covariance of any number of runs, from that of a few.

    All runs are alike: each has the same variance, and two of them share what lies so many runs
    apart.
    """
    n = len(few)
    shared = np.array([np.mean(np.diag(few, lag)) for lag in range(n)])
    lag = np.minimum(np.abs(np.subtract.outer(np.arange(runs), np.arange(runs))), n - 1)
    return np.asarray(shared[lag])


def _design_sd(covariance: NDArray[np.float64], second: NDArray[np.bool_],
               hours: NDArray[np.float64], repeat_sd: float) -> float:
    """Find the standard error of the difference at the expected lack of repetition."""
    noise = covariance + repeat_sd**2 * np.eye(len(second))
    design = np.column_stack([np.ones(len(second)), second, hours - hours.mean()])
    information = design.T @ np.linalg.solve(noise, design) + np.diag([0.0, 0.0, DRIFT_SD**-2])
    return float(np.sqrt(np.linalg.inv(information)[1, 1]))


def _covariance(intention: Intention) -> NDArray[np.float64]:
    """Covariance of the CdA of a few runs, from rides made up."""
    duration = intention.run_length / intention.speed
    bike = Setup("bike", intention.mass - 75.0, _CRR)
    rides = tuple(_made_up(intention, bike) for _ in _FEW)
    start = np.arange(len(_FEW)) * (duration + _PAUSE)
    sizes = {**SIZES, "gusts, m/s": intention.gust_sd**2,
             "wind over half a minute, m/s": (0.5 * intention.gust_sd)**2,
             "turning wind, m/s": intention.turning_sd**2}
    conditions = Conditions()
    zero = datetime(2000, 1, 1, tzinfo=UTC)
    rides = tuple(replace(ride, start=zero + timedelta(seconds=float(t)))
                  for ride, t in zip(rides, start, strict=True))
    test = field_test(Runs(rides, tuple(_FEW), (conditions,) * len(_FEW), bike, 75.0,
                           intention.assumptions), each_ride=True, sizes=sizes)
    return test.covariance[:-1, :-1]


def _made_up(intention: Intention, bike: Setup) -> Ride:
    """Make a steady ride on a flat course, a sample a second, without any noise."""
    time = np.arange(0.0, intention.run_length / intention.speed, 1.0)
    speed = np.full(len(time), intention.speed)
    along = intention.speed * time
    if intention.course == "laps":
        turn = 2 * np.pi * along / intention.leg
        radius = intention.leg / (2 * np.pi)
        x, y = radius * np.sin(turn), radius * np.cos(turn)
    else:
        there = np.abs((along + intention.leg) % (2 * intention.leg) - intention.leg)
        x, y = np.zeros(len(time)), there
    force = road_load(speed, 0.0, 0.0, 0.0, intention.air_density,
                      drag=DragArea.constant(intention.drag_area), mass=intention.mass,
                      rolling_resistance=_CRR, bearing=bike.bearing)
    flat = np.zeros(len(time)) if intention.altimeter else np.full(len(time), np.nan)
    return Ride("made up", time, along, speed, force * speed / bike.drivetrain_efficiency, flat,
                *move(np.full(len(time), _LATITUDE), np.full(len(time), 8.0), x, y))
