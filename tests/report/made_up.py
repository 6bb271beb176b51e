"""An invented result, put together without the kit chooser, to test pages by themselves."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from functools import cache

import numpy as np

from optimizer.conditions import Conditions
from optimizer.course import Corner, Correction, Course, Mark
from optimizer.day import RaceDay
from optimizer.evidence import Effect
from optimizer.job import (
    ItemWorth,
    Job,
    Options,
    Result,
    Sensitivity,
    SetSplits,
    day_of,
)
from optimizer.kit import Catalogue, Choice, Item, KitSet, PairFactor
from optimizer.kit.terms import setup_of
from optimizer.pacing import Block, Plan, RideablePlan, plan_ride
from optimizer.pacing.simulate import simulate
from optimizer.pacing.terrain import climbs_and_descents
from optimizer.physics import Setup
from optimizer.rider import Position, Rider

CLIMB, DESCENT = 20.0, -30.0  # W more than on the flat
STEP = 40.0  # m, so that the page's own planner is soon through
EVIL = "</script><img src=x onerror=alert(1)>"


def made_up_course(name: str = "Fen circuit") -> Course:
    """Loop of 20 km with two hills and five marks."""
    n = 400
    at = np.linspace(0.0, 20000.0, n + 1)
    turn = 2 * np.pi * at / 20000.0
    fine = np.linspace(0.0, 2 * np.pi, 20001)
    radius = 1 + 0.18 * np.sin(3 * fine)
    x, y = radius * np.sin(fine), radius * np.cos(fine)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    scale = 20000.0 / along[-1]
    east, north = (np.interp(at, scale * along, scale * v) for v in (x, y))
    middle = 0.5 * (at[:-1] + at[1:])
    limit = np.full(n + 1, np.inf)
    limit[150], limit[320] = 9.0, 7.5
    return Course(
        name=name, distance=at, latitude=-40.0 + north / 111_035.0,
        longitude=-20.0 + east / (111_412.0 * np.cos(np.radians(40.0))),
        elevation=40 + 35 * np.sin(turn - 1) + 22 * np.sin(4 * turn),
        heading=np.arctan2(np.diff(east), np.diff(north)) % (2 * np.pi),
        rolling_factor=np.where(middle > 15000, 1.3, 1.0), speed_limit=limit,
        roughness=np.full(n, 0.03), shelter=np.where(middle < 3000, 0.6, 1.0),
        marks=(Mark("Pump house", 3200.0), Mark("Long dyke", 8100.0), Mark("Chapel turn", 12400.0),
               Mark("Top of Beacon Rise", 16800.0)),
        corners=(Corner("Chapel turn", 7500.0, 14.0, 1.5, 9.0),
                 Corner("Sluice bend", 16000.0, 10.0, -1.9, 7.5)),
        corrections=(Correction("points closer than 1 m merged", 12, "length changed by 3 m"),),
        warnings=("The elevation comes from a terrain model with steps of about 5 m.",),
        elevation_sd=1.4)


def made_up_plan(day: RaceDay, setup: Setup) -> Plan:
    """Fastest ride, as if its grid had been measured."""
    return replace(plan_ride(day, setup), grid_error=0.09)


def blocks_of(plan: Plan, edges: tuple[float, ...], places: tuple[str, ...]) -> RideablePlan:
    """Mean power of the plan between edges, a little less so that the reserve lasts.

    Each block has figures for climbs and descents, but for the last one.
    """
    middle = 0.5 * (plan.distance[:-1] + plan.distance[1:])
    work = np.concatenate([[0.0], np.cumsum(plan.power * np.diff(plan.time))])
    blocks = []
    for k, (a, b, place) in enumerate(zip(edges[:-1], edges[1:], places, strict=True)):
        (t0, t1), (w0, w1) = (np.interp([a, b], plan.distance, v) for v in (plan.time, work))
        power = float(5 * np.floor(0.97 * (w1 - w0) / (t1 - t0) / 5))
        rolls = b < edges[-1]
        blocks.append(Block(a, b, power, place, f"made-up road, {(b - a) / 1000:.1f} km",
                            power + CLIMB if rolls else None, power + DESCENT if rolls else None,
                            power - 1.0, line=k))
    way = climbs_and_descents(plan.problem)
    asked = np.empty(len(middle))
    for block in blocks:
        inside = (middle >= block.start) & (middle < block.end)
        for kind, figure in ((0, block.power), (1, block.climb), (-1, block.descent)):
            asked[inside & (way == kind)] = block.power if figure is None else figure
    ride = simulate(plan.problem, asked)
    return RideablePlan(tuple(blocks), ride.speed, ride.time, ride.power, ride.reserve,
                        float(ride.finish_time) - plan.finish_time, asked, even_price=40.0,
                        ceiling=520.0, pedalling_speed=60.0 / 3.6)


@cache
def made_up_result(name: str = "Robin Vale", item: str = "Smooth helmet") -> Result:
    """Everything that a report shows; names as given. Made once, as no value in it changes."""
    course = made_up_course()
    conditions = Conditions(temperature=291.0, pressure=100900.0, humidity=0.6,
                            wind_east=np.array([[4.0]]), wind_north=np.array([[3.0]]),
                            start_time=datetime(2031, 6, 7, 9, 30, tzinfo=UTC))
    rider = Rider(name=name, mass=71.0, critical_power=262.0, w_prime=18500.0, max_power=520.0,
                  positions=(Position("aero", 0.248), Position("upright", 0.31, 1.03)),
                  critical_power_sd=6.0, w_prime_sd=2500.0, drag_area_sd=0.008,
                  assumed=("Drag area from body size: 0.248 m².",))
    yaw = np.radians([0.0, 5.0, 10.0, 15.0])
    owned = Setup("as owned", mass=9.4, rolling_resistance=0.0046)
    items = (Item(item, "head", 240.0, region="front", mass=0.05),
             Item("Light tyres", "tyres", 110.0, mass=-0.1, caution="Puncture more easily."),
             Item("Tucked cables", "cockpit", 80.0, needs_fitter=True, region="front",
                  caution="Steering and brakes depend on it."),
             Item("Deep wheels", "wheels", 1400.0, mass=0.2, wheel_inertia=0.02,
                  crosswind_limit=14.0),
             Item("Old shoe covers", "feet", 0.0, owned=True))
    effects = (Effect(item, yaw=yaw, drag_area=np.array([-0.006, -0.007, -0.008, -0.006]),
                      drag_area_sd=0.002, data=3, disagreement=0.2, basis="2 tunnel, 1 field"),
               Effect("Light tyres", rolling_resistance=-0.0007, rolling_resistance_sd=0.0002,
                      data=2, basis="2 drum tests"),
               Effect("Tucked cables", drag_area=np.array([-0.004]), drag_area_sd=0.003, data=1,
                      basis="strip theory", warnings=("One source carries the result.",)),
               Effect("Deep wheels", yaw=yaw, drag_area=np.array([-0.001, -0.003, -0.006, -0.008]),
                      drag_area_sd=0.004, data=2, basis="seller's tunnel figures, shrunk"))
    job = Job(name="Fen circuit, June", course=course, conditions=conditions, rider=rider,
              baseline=owned, catalogue=Catalogue(items, (PairFactor(item, "Tucked cables", 0.2),)),
              effects=effects, budget=1500.0, currency="EUR", options=Options(step=STEP),
              rules=("Generic time trial rules",), named_sets=(("Tyres only", ("Light tyres",)),),
              assumptions=("Air density taken from the standard atmosphere.",),
              sources=(("course.gpx", "sha256 0123abcd"), ("kit.csv", "sha256 4567ef01")))
    best = setup_of(owned, job.catalogue, effects, (item, "Light tyres", "Tucked cables"))
    day = RaceDay(course, conditions, rider, start_speed=5.0, step=STEP)
    plan, before = (made_up_plan(day, setup) for setup in (best, owned))
    T, T0 = plan.finish_time, before.finish_time
    sets = (KitSet((), 0.0, owned, T0, T0 - 0.02), KitSet(("Tucked cables",), 80.0, owned,
                                                         T0 - 6.1, T0 - 6.12),
            KitSet(("Light tyres", "Tucked cables"), 190.0, owned, T0 - 21.0, T0 - 21.02),
            KitSet((item, "Light tyres", "Tucked cables"), 430.0, best, T, T - 0.013),
            KitSet((item, "Light tyres", "Tucked cables", "Deep wheels"), 1830.0, best, T - 7.0,
                   T - 7.02))
    choice = Choice(1500.0, "EUR", sets[0], sets[3], sets, 0.4, left_out=(
        ("Deep wheels", "with them the set costs 1,830, over the budget of 1,500"),))
    edges = (0.0, 3200.0, 8100.0, 12400.0, 16800.0, 20000.0)
    rideable = blocks_of(plan, edges, ("start", "Pump house", "Long dyke", "Chapel turn",
                                       "Top of Beacon Rise"))
    marks = [mark.distance for mark in course.marks] + [course.length]
    splits = tuple(
        SetSplits(title, names, spend, arrival, arrival * 0.985, arrival * 1.016)
        for title, names, spend, arrival in (
            ("Best set", sets[3].items, 430.0, np.interp(marks, plan.distance, plan.time)),
            ("As owned", (), 0.0, np.interp(marks, plan.distance, before.time)),
            ("Tyres only", ("Light tyres",), 110.0,
             np.interp(marks, plan.distance, before.time) * (1 - 15.0 / T0))))
    worth = (ItemWorth(item, 19.0, 9.0, 29.0), ItemWorth("Light tyres", 15.0, 8.0, 22.0),
             ItemWorth("Tucked cables", 6.1, -1.5, 14.0), ItemWorth("Deep wheels", 8.0, -2.0, 18.0))
    sensitivities = (
        Sensitivity("Wind speed", "1 km/h more", 4.2, "a quarter of the forecast", 18.9),
        Sensitivity("Drag area", "0.001 m² more", 2.3, "0.008 m²", 18.0),
        Sensitivity("Critical power", "1 W more", -2.0, "6 W", 12.0),
        Sensitivity("Rolling resistance", "0.0001 more", 2.1, "0.0003", 6.3),
        Sensitivity("Mass", "1 kg more", 3.1), Sensitivity("Start", "an hour later", 5.0))
    return Result(job=job, day=day, choice=choice, plan=plan, baseline_plan=before,
                  rideable=rideable,
                  spread=(T * 0.985, T, T * 1.016), splits=splits, worth=worth,
                  sensitivities=sensitivities)


def one_line(result: Result, **figures: float) -> Result:
    """Give a result whose card has one line, of 250 W, with or without figures for hills."""
    block = replace(result.rideable.blocks[0], start=0.0, end=result.job.course.length,
                    power=250.0, comes="flat, 20 km",
                    **{"climb": None, "descent": None, **figures})
    return replace(result, rideable=replace(result.rideable, blocks=(block,)))


def simple_result(job: Job) -> Result:
    """A job planned with the first item of each place, without choosing among sets."""
    first: dict[str, str] = {}
    for item in job.catalogue.items:
        if not item.requires:
            first.setdefault(item.place, item.name)
    excluded = {name for item in first.values() for name in job.catalogue[item].excludes}
    names = tuple(item.name for item in job.catalogue.items
                  if first.get(item.place) == item.name and item.name not in excluded)
    day, sets, plans = day_of(job), [], []
    for items in ((), names):
        setup = setup_of(job.baseline, job.catalogue, job.effects, items)
        plans.append(plan_ride(day, setup))
        sets.append(KitSet(items, sum(job.catalogue[name].cost for name in items), setup,
                           plans[-1].finish_time, plans[-1].lower_bound))
    choice = Choice(job.budget, job.currency, sets[0], sets[1], tuple(sets), 1.0)
    marks = tuple(mark.distance for mark in job.course.marks)
    few = blocks_of(plans[1], (0.0, *marks, job.course.length),
                    ("start", *(mark.name for mark in job.course.marks)))
    T = plans[1].finish_time
    return Result(job=job, day=day, choice=choice, plan=plans[1], baseline_plan=plans[0],
                  rideable=few,
                  spread=(T * 0.98, T, T * 1.02))
