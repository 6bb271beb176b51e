"""Other kit and another wind, tried in the page: controls and the arrays its solver works on."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from markupsafe import Markup

from optimizer.kit.terms import tabulate
from optimizer.physics import DragArea, lay_road
from optimizer.report.weather import steady
from optimizer.report.words import money

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from optimizer.job import Result
    from optimizer.kit import Item
    from optimizer.pacing import PacingProblem
    from optimizer.report.page import Part

__all__ = ["try_it", "try_it_data"]

_HOW = ("Choose a wind and a set: the page plans the whole ride anew, for this rider on this "
        "course, and says what changes. Nothing leaves the page.")
_NOT_HERE = ("This rider's reserve refills more slowly as it fills. The page cannot plan for that "
             "by itself; run `kitpace plan` with another `--wind` or scenario instead.")
_SLOWEST = 2.0  # times the plan's finish, after which the forecast is not followed any more
_DEGREES = np.radians(np.arange(91.0))


def try_it(result: Result) -> list[Part]:
    """Give the section with the controls; its answers are filled in by the page."""
    if result.plan.problem.slowing_recovery:
        return [_NOT_HERE]
    places = Markup("").join(_place(result, place) for place in result.job.catalogue.places)
    mean = steady(result)
    wind = (float(mean.wind_east[0, 0]), float(mean.wind_north[0, 0]))
    speed = 3.6 * float(np.hypot(*wind))
    source = float(np.degrees(np.arctan2(-wind[0], -wind[1])) % 360.0)
    return [_HOW, Markup(
                '<form id="try-form" class="try"><fieldset><legend>Wind at {height} m, as in a '
                'forecast{changing}</legend>{speed}{source}</fieldset>'
                '<fieldset><legend>Kit</legend><div class="places">{places}</div></fieldset>'
                '<p class="tools"><button type="button" id="try-plan">As in the plan</button>'
                '<button type="button" id="try-owned">With what is owned</button></p></form>'
                '<div id="try-says" aria-live="polite"><p>This needs scripts.</p></div>'
                '<div id="try-splits"></div><p class="aside" id="try-check"></p>',
            ).format(height=f"{result.job.conditions.wind_height:.0f}", places=places,
                     changing="; its mean over the ride, about which it changes as forecast"
                     if len(result.job.conditions.wind_time) > 1 else "",
                     speed=_slider("try-speed", "Speed", 0, 60, 0.5, speed, "km/h"),
                     source=_slider("try-from", "From", 0, 359, 1, source, "°"))]


def _slider(ident: str, label: str, low: float, high: float, step: float, value: float,
            unit: str) -> Markup:
    return Markup('<p><label for="{i}">{label}</label> <input type="range" id="{i}" min="{low}" '
                  'max="{high}" step="{step}" value="{value}"> <output id="{i}-says" for="{i}">'
                  "{text} {unit}</output></p>").format(
        i=ident, label=label, low=f"{low:g}", high=f"{high:g}", step=f"{step:g}",
        value=f"{round(value / step) * step:g}", text=f"{value:.0f}", unit=unit)


def _place(result: Result, place: str) -> Markup:
    """One place on bike or body with what can go there."""
    chosen = set(result.choice.best.items)
    options = Markup("").join(
        Markup('<option value="{}"{}>{}, {}</option>').format(
            k, Markup(" selected") if item.name in chosen else "", item.name, _cost(item))
        for k, item in enumerate(result.job.catalogue.items) if item.place == place)
    return Markup('<label>{}<select data-place="{}"><option value="">as it stands</option>{}'
                  "</select></label>").format(place, place, options)


def _cost(item: Item) -> str:
    if item.owned:
        return "owned"
    return f"{money(item.cost)} to hire" if item.hired else money(item.cost)


def _effort(problem: PacingProblem) -> dict[str, float | None]:
    limit = problem.effort
    if limit is None:
        return {"effortExponent": None, "effortPerSecond": 0.0, "effortBudget": 0.0}
    return {"effortExponent": limit.exponent, "effortPerSecond": limit.per_second,
            "effortBudget": limit.budget}


def try_it_data(result: Result) -> dict[str, Any] | None:
    """Arrays of the problem, of the catalogue and of trials that were planned beforehand."""
    problem, job, best = result.plan.problem, result.job, result.choice.best
    if problem.slowing_recovery:
        return None
    nodes = result.plan.distance
    east, north = (lay_road(job.course, steady(result, *unit), nodes)
                   for unit in ((1.0, 0.0), (0.0, 1.0)))
    mean = steady(result)
    marks = [(mark.name, mark.distance) for mark in job.course.marks
             if 0 < mark.distance < job.course.length]
    return {
        "problem": {
            "step": problem.step, "grade": problem.grade, "headwind": problem.headwind,
            "crosswind": problem.crosswind, "density": problem.air_density,
            "rollingFactor": problem.rolling_resistance / best.setup.rolling_resistance,
            "speedLimit": _limits(problem.speed_limit / best.setup.cornering_factor),
            "powerLimit": problem.power_limit, "criticalPower": problem.critical_power,
            "recovery": problem.recovery, "position": problem.position,
            "riderMass": problem.mass - best.setup.mass, "wPrime": problem.w_prime,
            "reserveFloor": problem.reserve_floor, "startSpeed": problem.start_speed,
            "lowestSpeed": problem.lowest_speed, **_effort(problem),
            "areas": [position.drag_area for position in result.day.rider.positions]},
        "wind": {"mean": [mean.wind_east[0, 0], mean.wind_north[0, 0]],
                 "slices": _slices(result), "arrival": result.plan.time,
                 "headByEast": east.headwind, "headByNorth": north.headwind,
                 "crossByEast": east.crosswind, "crossByNorth": north.crosswind},
        "kit": _kit(result),
        "best": [job.catalogue[name].name for name in best.items],
        "owned": list(result.choice.owned.items),
        "currency": result.choice.currency,
        "marks": [*marks, ("Finish", job.course.length)],
        "plan": [result.plan.time_at(at) for _, at in [*marks, ("", job.course.length)]],
        "spread": result.spread,
        "trials": [{"east": trial.wind_east, "north": trial.wind_north, "items": trial.items,
                    "time": trial.finish_time} for trial in result.trials],
    }


def _slices(result: Result) -> list[dict[str, Any]] | None:
    """Wind and air on the steps at each hour of a changing forecast; None where nothing changes.

    Between two hours all is linear in time. Hours that no rider meets are left out.
    """
    air, plan = result.job.conditions, result.plan
    if len(air.wind_time) == 1:
        return None
    late = _SLOWEST * plan.finish_time
    inside = air.wind_time[(air.wind_time > 0.0) & (air.wind_time < late)]
    found = []
    for when in (0.0, *inside, late):
        road = lay_road(result.job.course, air, plan.distance,
                        np.full(len(plan.distance), when))
        found.append({"time": when, "headwind": road.headwind, "crosswind": road.crosswind,
                      "density": road.air_density})
    return found


def _limits(limit: NDArray[np.float64]) -> NDArray[np.float64]:
    """Speed limits with a large number where the road is free, as JSON has no infinity."""
    return np.minimum(limit, 1e3)


def _kit(result: Result) -> dict[str, Any]:
    """Give what the items change, item by item, and the baseline that they change."""
    job, base = result.job, result.job.baseline
    terms = tabulate(base, job.catalogue, job.effects)
    values, slopes, _ = DragArea(terms.yaw, np.eye(len(terms.yaw))).with_slopes(
        _DEGREES[None, :], np.arange(len(terms.yaw))[:, None])
    return {
        "base": {"mass": base.mass, "rolling": base.rolling_resistance,
                 "efficiency": base.drivetrain_efficiency, "inertia": base.wheel_inertia,
                 "radius": base.wheel_radius, "cornering": base.cornering_factor,
                 "bearing": base.bearing,
                 "drag": np.interp(terms.yaw, base.yaw, base.drag_area_change)},
        # Drag between the angles of the table, as weights of its entries at each degree.
        "area": values, "slope": slopes,
        "items": [{
            "name": item.name, "cost": item.cost, "requires": item.requires,
            "excludes": item.excludes, "fitter": item.needs_fitter,
            "crosswind": item.crosswind_limit, "drag": terms.drag[k], "mass": terms.mass[k],
            "rolling": terms.rolling[k], "efficiency": terms.efficiency[k],
            "inertia": terms.inertia[k], "cornering": terms.cornering[k]}
            for k, item in enumerate(job.catalogue.items)],
        "overlaps": [{"payer": overlap.payer, "partners": overlap.partners, "loss": overlap.loss}
                     for overlap in terms.combinations.overlaps],
    }
