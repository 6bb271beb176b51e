"""What may come instead: draws of wind, rider and evidence, and what moves the time most."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.conditions import starting_at
from optimizer.conditions.draws import draw_wind, spread_wind
from optimizer.errors import Infeasible
from optimizer.job.values import Job, Sensitivity, Trial
from optimizer.pacing import Variation, plan_ride, simulate_many

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from optimizer.kit import Choice, KitSet
    from optimizer.pacing import Plan
    from optimizer.physics import Setup

__all__ = ["draw_times", "sensitivity_table", "spread", "trials"]

_TRIALS = 6
_TRIAL_WIND = 4.0  # m/s on top of the forecast, each trial from another direction


def spread(job: Job, chosen: KitSet, plan: Plan) -> tuple[float, float, float]:
    """5, 50 and 95 % points of the finish time under the doubts in wind, rider and evidence [s].

    The rider keeps to the plan's powers, all higher or lower with the CP of the draw.
    """
    times = draw_times(job, chosen, plan)[-1]
    low, middle, high = np.percentile(times, [5.0, 50.0, 95.0])
    return float(low), float(middle), float(high)


def draw_times(job: Job, chosen: KitSet, plan: Plan) -> NDArray[np.float64]:
    """Time at each node in each draw, (n + 1, draws) [s]; the same seed gives the same draws."""
    rng = np.random.default_rng(job.options.seed)
    k, rider, p = job.options.draws, job.rider, plan.problem
    headwind, crosswind = spread_wind(p.headwind, p.crosswind,
                                      draw_wind(job.conditions, rng, k))
    able = 1.0 + rider.critical_power_sd / rider.critical_power * rng.standard_normal(k)
    able = np.clip(able, 0.5, 1.5)
    area = rider.drag_area_sd * rng.standard_normal(k)
    rolling, driven = np.zeros(k), np.zeros(k)
    for effect in job.effects:
        draw = rng.standard_normal(k)  # drawn for every item, so that sets share their draws
        if effect.item in chosen.items:
            area = area + effect.drag_area_sd * draw
            rolling = rolling + effect.rolling_resistance_sd * draw
            driven = driven + effect.efficiency_sd * draw
    crr = float(np.mean(p.rolling_resistance))
    ride = simulate_many(p, plan.power[:, None], Variation(
        headwind=headwind.T, crosswind=crosswind.T, drag_area_change=area,
        rolling_factor=np.maximum(1.0 + rolling / crr, 0.1),
        power_factor=able * (1.0 + driven / p.drivetrain_efficiency),
        critical_power_factor=able))
    return ride.time


def sensitivity_table(job: Job, chosen: KitSet, plan: Plan) -> tuple[Sensitivity, ...]:
    """Say what one input more or less does to the finish time, each by a plan of its own."""
    found = []
    for what in (*_of_the_wind(job), *_of_the_rider(job), *_of_the_bike(job, chosen.setup)):
        other = plan_ride(
            what.job.course, what.job.conditions, what.job.rider, what.setup or chosen.setup,
            step=job.options.step, start_speed=job.options.start_speed, warm=plan)
        seconds = other.finish_time - plan.finish_time
        found.append(Sensitivity(what.name, what.change, seconds, what.doubt,
                                 abs(what.units * seconds) if what.doubt else math.nan))
    return tuple(found)


@dataclass(frozen=True)
class _What:
    """A changed job, the change in words, and its doubt in words and in units of the change."""

    name: str
    change: str
    job: Job
    doubt: str = ""
    units: float = 0.0
    setup: Setup | None = None


def _of_the_wind(job: Job) -> Iterator[_What]:
    air = job.conditions
    wind = float(air.wind_speed.mean())
    if wind < 0.1:
        yield _What("Wind", "5 km/h from the west", _with_air(job, wind_east=air.wind_east
                                                              + 5 / 3.6))
    else:
        factor, turn = 1.0 + 1 / 3.6 / wind, math.radians(10.0)
        yield _What("Wind speed", "1 km/h more",
                    _with_air(job, wind_east=factor * air.wind_east,
                              wind_north=factor * air.wind_north),
                    f"{100 * air.speed_sd:.0f} % of it", air.speed_sd * wind * 3.6)
        yield _What("Wind direction", "10° clockwise", _with_air(
            job, wind_east=math.cos(turn) * air.wind_east + math.sin(turn) * air.wind_north,
            wind_north=math.cos(turn) * air.wind_north - math.sin(turn) * air.wind_east),
            f"{math.degrees(air.direction_sd):.0f}°", air.direction_sd / turn)
    yield _What("Air temperature", "5 °C warmer", _with_air(job, temperature=air.temperature + 5))
    if len(air.wind_time) > 1 and air.start_time is not None:
        later = starting_at(air, air.start_time + timedelta(hours=1))
        yield _What("Start", "an hour later", replace(job, conditions=later))


def _with_air(job: Job, **changes: Any) -> Job:
    return replace(job, conditions=replace(job.conditions, **changes))


def _of_the_rider(job: Job) -> Iterator[_What]:
    rider = job.rider
    positions = tuple(replace(p, drag_area=p.drag_area + 0.005) for p in rider.positions)
    yield _What("Drag area", "0.005 m² more", _with_rider(job, positions=positions),
                f"{rider.drag_area_sd:.3f} m²" if rider.drag_area_sd else "",
                rider.drag_area_sd / 0.005)
    yield _What("Critical power", "5 W more",
                _with_rider(job, critical_power=rider.critical_power + 5.0),
                f"{rider.critical_power_sd:.0f} W" if rider.critical_power_sd else "",
                rider.critical_power_sd / 5.0)
    yield _What("Reserve W′", "1 kJ more", _with_rider(job, w_prime=rider.w_prime + 1000.0),
                f"{rider.w_prime_sd / 1000:.1f} kJ" if rider.w_prime_sd else "",
                rider.w_prime_sd / 1000.0)
    yield _What("Mass", "1 kg more", _with_rider(job, mass=rider.mass + 1.0))


def _with_rider(job: Job, **changes: Any) -> Job:
    return replace(job, rider=replace(job.rider, **changes))


def _of_the_bike(job: Job, setup: Setup) -> Iterator[_What]:
    yield _What("Rolling resistance", "Crr 0.0002 more", job, setup=replace(
        setup, rolling_resistance=setup.rolling_resistance + 0.0002))
    yield _What("Drivetrain", "efficiency 1 % less", job, setup=replace(
        setup, drivetrain_efficiency=setup.drivetrain_efficiency - 0.01))


def trials(job: Job, choice: Choice, plan: Plan) -> tuple[Trial, ...]:
    """Plans for other winds and other sets, spread over what a reader of the report may try.

    Winds that no plan meets are left out.
    """
    sets = (choice.owned, *choice.frontier[::-1])
    found = []
    for k in range(_TRIALS):
        kit = sets[k % len(sets)]
        angle = 2 * np.pi * k / _TRIALS
        east, north = (float(_TRIAL_WIND * part) for part in (np.sin(angle), np.cos(angle)))
        windy = replace(job.conditions, wind_east=job.conditions.wind_east + east,
                        wind_north=job.conditions.wind_north + north)
        try:
            other = plan_ride(job.course, windy, job.rider, kit.setup, step=job.options.step,
                              start_speed=job.options.start_speed, warm=plan)
        except Infeasible:
            continue
        found.append(Trial(east, north, kit.items, other.finish_time))
    return tuple(found)
