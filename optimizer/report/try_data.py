"""What the page's own planner works on: course, rider, kit, weather, draws, the card, as arrays."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from optimizer.conditions.air import air_density_along
from optimizer.defaults import ZERO_CELSIUS
from optimizer.job.plans import draws_of, response_of
from optimizer.kit.crosswind import gustiness
from optimizer.kit.terms import tabulate
from optimizer.pacing import figure_unit
from optimizer.pacing.settings import solver_settings
from optimizer.physics import DragArea, lay_road
from optimizer.physics.road_load import YAW_CELLS
from optimizer.report.card import card_places
from optimizer.report.weather import steady
from optimizer.rider.environment import critical_power_factor, heat_share
from optimizer.rider.recovery import SLOWS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.conditions import Conditions
    from optimizer.job import Result
    from optimizer.kit.terms import Terms

__all__ = ["TEMPERATURES", "camel", "try_data"]

TEMPERATURES: Final = range(-5, 43)
"""Degrees Celsius that can be tried."""

_HEATED: Final = range(15, 46)
"""Degrees Celsius among which the part of CP that heat leaves changes, linear between them."""
_SLOWEST = 4.0  # times the plan's finish, after which the forecast is not followed any more
_TURNS = np.linspace(-3.5, 3.5, 71)  # standard deviations, by which chances are known to a day
_DEGREES = np.radians(np.linspace(0.0, 90.0, YAW_CELLS + 1))


def try_data(result: Result) -> dict[str, Any]:
    """Give all that `try_plan.js` works on, in SI; what the page shows besides is `try_it`'s."""
    plan, job = result.plan, result.job
    terms = tabulate(job.baseline, job.catalogue, job.effects)
    best = terms.rows(result.choice.best.items)
    marks = [mark.distance for mark in job.course.marks if 0 < mark.distance < job.course.length]
    return {
        "constants": {camel(name): value for name, value in solver_settings(
            plan.problem).items()},
        "course": _course(result), "rider": _rider(result), "limits": _limits(result),
        "wind": _weather(result), "kit": _kit(result, terms), "best": best,
        "arrival": plan.time, "plan": [plan.time_at(at) for at in [*marks, job.course.length]],
        "draws": _draws(result), "card": _card(result),
    }


def camel(name: str) -> str:
    """Name of a setting as scripts write it."""
    first, *rest = name.split("_")
    return first + "".join(word.title() for word in rest)


def _course(result: Result) -> dict[str, Any]:
    """Road on the steps of the plan's grid; `height` from 0 at the lowest step to 1."""
    problem = result.plan.problem
    road = lay_road(result.job.course, result.job.conditions, result.plan.distance)
    return {"step": problem.step, "grade": problem.grade, "rollingFactor": road.rolling_factor,
            "position": problem.position, "height": _height(_elevation(result)),
            "left": _left_by_height(result)}


def _left_by_height(result: Result) -> NDArray[np.float64] | list[float]:
    """CP on each step over the day's (n,), before what heat takes; empty where all is even."""
    rider, left = result.job.rider, result.day.left
    if left is None:
        return []
    cool = replace(rider, heat_response="none")
    tested = heat_share(rider.tested_temperature, rider.heat_response)
    return np.asarray(critical_power_factor(cool, _elevation(result), 0.0) / (tested * left))


def _elevation(result: Result) -> NDArray[np.float64]:
    """(n,) m, of the middle of each step."""
    nodes = np.interp(result.plan.distance, result.job.course.distance,
                      result.job.course.elevation)
    return np.asarray(0.5 * (nodes[:-1] + nodes[1:]))


def _height(elevation: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray((elevation - elevation.min()) / max(float(np.ptp(elevation)), 1.0))


def _rider(result: Result) -> dict[str, Any]:
    """Give the rider for whom the plan is made; tested values beside those of the day."""
    rider, tested = result.day.rider, result.job.rider
    law, share = rider.refill
    return {
        "mass": rider.mass, "criticalPower": rider.critical_power, "wPrime": rider.w_prime,
        "kept": result.day.kept, "testedPower": tested.critical_power,
        "testedWPrime": tested.w_prime,
        "shares": [position.power_share for position in rider.positions],
        "maxPower": rider.max_power,
        "highest": [rider.max_power * position.max_power_share for position in rider.positions],
        "areas": [position.drag_area for position in rider.positions],
        "recovery": share, "slowing": SLOWS[law], "reserveFloor": rider.reserve_floor,
        "pedallingSpeed": rider.pedalling_speed, "loss": rider.endurance_loss,
        "exponent": rider.effort_exponent, "effortShare": rider.effort_share,
        "timeShare": rider.time_share}


def _limits(result: Result) -> dict[str, Any]:
    """Limits of the road, and where the rider rolls too fast to pedal."""
    day, problem = result.day, result.plan.problem
    road = lay_road(result.job.course, result.job.conditions, result.plan.distance)
    where = day.pedalling
    return {"speed": road.speed_limit, "startSpeed": problem.start_speed,
            "lowestSpeed": problem.lowest_speed,
            "coasting": [] if where is None else np.flatnonzero(where.coasting),
            "held": [] if where is None else np.flatnonzero(where.held)}


def _weather(result: Result) -> dict[str, Any]:
    """Wind and air at each hour, what another wind adds, and what other temperatures do.

    `warmed` of an hour: for each of `TEMPERATURES` at the start, what it does to the air's
    density at the lowest and the highest step; linear in height between them. `heat`: part of CP
    that is left from `coldest` on, by the degree; `start`: at the start [°C].
    """
    nodes, air, rider = result.plan.distance, result.job.conditions, result.job.rider
    east, north = (lay_road(result.job.course, steady(result, *unit), nodes)
                   for unit in ((1.0, 0.0), (0.0, 1.0)))
    warmer = np.array(TEMPERATURES) + ZERO_CELSIUS - air.temperature
    mean = steady(result)
    return {"mean": [mean.wind_east[0, 0], mean.wind_north[0, 0]],
            "slices": [_slice(result, when, warmer) for when in _hours(result)],
            "headByEast": east.headwind, "headByNorth": north.headwind,
            "crossByEast": east.crosswind, "crossByNorth": north.crosswind,
            "heat": heat_share(np.array(_HEATED) + ZERO_CELSIUS, rider.heat_response),
            "coldest": _HEATED[0], "start": air.temperature - ZERO_CELSIUS,
            "tried": list(TEMPERATURES),
            "spread": _spread(air)}


def _spread(air: Conditions) -> dict[str, Any] | None:
    """Say how the wind of the day strays, for chances of cross wind.

    Turns [rad] with their chances, width of the logarithm of its speed, gust over mean; None for an
    ensemble, whose members the page does not hold.
    """
    if air.members is not None:
        return None
    shares = np.exp(-0.5 * _TURNS**2)
    gusty = max(float(gustiness(air, None, hour)[0]) for hour in range(len(air.wind_time)))
    return {"turns": air.direction_sd * _TURNS, "shares": shares / shares.sum(), "gust": gusty,
            "width": float(np.sqrt(np.log1p(air.speed_sd**2)))}


def _hours(result: Result) -> list[float]:
    """Give times at which the forecast changes [s]; hours that no rider meets are left out.

    Between two of them all is linear in time. One entry where nothing changes.
    """
    air = result.job.conditions
    if len(air.wind_time) == 1:
        return [0.0]
    late = _SLOWEST * result.plan.finish_time
    return [0.0, *air.wind_time[(air.wind_time > 0.0) & (air.wind_time < late)], late]


def _slice(result: Result, when: float, warmer: NDArray[np.float64]) -> dict[str, Any]:
    air, nodes = result.job.conditions, result.plan.distance
    road = lay_road(result.job.course, air, nodes, np.full(len(nodes), when))
    elevation = _elevation(result)
    ends = np.array([elevation.min(), elevation.max()])
    where = np.full(2, 0.5 * float(nodes[-1])), np.full(2, when)
    usual = air_density_along(air, ends, *where)
    warmed = air_density_along(air, ends, *where, warmer=warmer[:, None]) / usual
    # Hours of a long forecast are most of the page: no more digits than change a time.
    return {"time": when, "headwind": np.round(road.headwind, 4),
            "crosswind": np.round(road.crosswind, 4), "density": np.round(road.air_density, 5),
            "warmed": warmed, "celsius": [] if result.day.left is None else np.round(
                road.temperature - ZERO_CELSIUS, 3)}


def _kit(result: Result, terms: Terms) -> dict[str, Any]:
    """Give what the items change, item by item, and the baseline that they change."""
    job, base = result.job, result.job.baseline
    values, slopes, _ = DragArea(terms.yaw, np.eye(len(terms.yaw))).with_slopes(
        _DEGREES[None, :], np.arange(len(terms.yaw))[:, None])
    return {
        "base": {"mass": base.mass, "rolling": base.rolling_resistance,
                 "efficiency": base.drivetrain_efficiency, "inertia": base.wheel_inertia,
                 "radius": base.wheel_radius, "cornering": base.cornering_factor,
                 "bearing": base.bearing, "crosswind": base.crosswind_limit,
                 "drag": np.interp(terms.yaw, base.yaw, base.drag_area_change)},
        # Drag between the angles of the table, as weights of its entries at each degree.
        "area": values, "slope": slopes,
        "items": [{
            "name": item.name, "cost": item.cost, "requires": item.requires,
            "excludes": item.excludes, "fitter": item.needs_fitter,
            "place": item.place, "crosswind": item.crosswind_limit, "drag": terms.drag[k],
            "mass": terms.mass[k], "rolling": terms.rolling[k],
            "efficiency": terms.efficiency[k], "inertia": terms.inertia[k],
            "cornering": terms.cornering[k]}
            for k, item in enumerate(job.catalogue.items)],
        "overlaps": [{"discounted": overlap.discounted, "partners": overlap.partners,
                      "loss": overlap.loss} for overlap in terms.combinations.overlaps],
    }


def _draws(result: Result) -> dict[str, Any]:
    """Seconds of base, items and overlaps on each drawn day, the last entry without any draw.

    In hundredths: the page sums a few of them and shows the range.
    """
    job, day = result.job, result.day
    found = result.response or response_of(job, day, result.plan, result.choice.best.items,
                                           draws_of(job, day))
    still = found.still
    assert still is not None  # noqa: S101 - `response` always gives it

    def both(drawn: NDArray[np.float64], alone: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(np.round(np.concatenate([drawn, alone]), 2).T)

    return {"base": both(found.base, still.base), "item": list(both(found.item, still.item)),
            "overlap": list(both(found.overlap, still.overlap))}


def _card(result: Result) -> dict[str, Any]:
    """Lines of the card on the steps, and the watts that they ask for."""
    ridden, nodes = result.rideable, result.plan.distance
    middle = 0.5 * (nodes[:-1] + nodes[1:])
    starts = np.array([block.start for block in ridden.blocks])
    block = np.clip(np.searchsorted(starts, middle, side="right") - 1, 0, None)
    line = np.array([one.line for one in ridden.blocks])
    return {"line": line[block], "lines": len(ridden.lines), "asked": ridden.asked,
            "starts": np.searchsorted(nodes, [one.start for one in ridden.lines]),
            "places": np.searchsorted(nodes, [mark.distance for mark in card_places(result)]),
            "rounding": result.job.options.power_rounding or figure_unit(
                result.job.rider.critical_power)}
