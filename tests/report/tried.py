"""What the page tries, planned by the full program; and the page's own answers, from Node."""

from __future__ import annotations

import json
import subprocess
from dataclasses import dataclass, replace
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.kit import setup_of
from optimizer.pacing import meeting, plan_ride, with_pedalling
from optimizer.report.page import script_json
from optimizer.report.try_data import TEMPERATURES, try_data
from optimizer.report.weather import steady
from tests.programs import required

if TYPE_CHECKING:
    from optimizer.job import Result
    from optimizer.pacing import Plan

__all__ = ["Try", "answers_of_the_page", "plan_tried"]


@dataclass(frozen=True)
class Try:
    """Items by name, None for those of the plan; wind as km/h and degrees; the rider as tested."""

    items: tuple[str, ...] | None = None
    wind: tuple[float, float] | None = None
    celsius: int | None = None
    critical_power: float | None = None
    w_prime: float | None = None
    mass: float | None = None


def _items(result: Result, tried: Try) -> tuple[str, ...]:
    return result.choice.best.items if tried.items is None else tried.items


def _more_wind(result: Result, tried: Try) -> tuple[float, float]:
    """What the tried wind has more than the mean of the ride's, towards east and north [m/s]."""
    if tried.wind is None:
        return 0.0, 0.0
    speed, angle = tried.wind[0] / 3.6, np.radians(tried.wind[1])
    mean = steady(result)
    return (-speed * float(np.sin(angle)) - float(mean.wind_east[0, 0]),
            -speed * float(np.cos(angle)) - float(mean.wind_north[0, 0]))


def plan_tried(result: Result, tried: Try) -> Plan:
    """Plan by the full program, with the positions and the margin of the plan."""
    job, day = result.job, result.day
    east, north = _more_wind(result, tried)
    air, tested, rider = job.conditions, job.rider, day.rider
    air = replace(air, wind_east=air.wind_east + east, wind_north=air.wind_north + north)
    power = (tried.critical_power or tested.critical_power) / tested.critical_power
    if tried.celsius is not None:
        air = replace(air, temperature=tried.celsius + 273.15)
    rider = replace(rider, mass=tried.mass or rider.mass,
                    critical_power=power * rider.critical_power,
                    w_prime=(tried.w_prime or tested.w_prime) / tested.w_prime * rider.w_prime)
    if tried != Try(items=tried.items):
        day = with_pedalling(meeting(replace(day, conditions=air, rider=rider), result.plan),
                             job.baseline)
    setup = setup_of(job.baseline, job.catalogue, job.effects, _items(result, tried))
    return plan_ride(day, setup, bounded=False)


def answers_of_the_page(result: Result, tries: list[Try]) -> tuple[float, list[dict[str, Any]]]:
    """Seconds by which the page misses the plan itself, and its answers."""
    node = required("node", "nodejs")
    rows = {item.name: k for k, item in enumerate(result.job.catalogue.items)}
    asked = []
    for tried in tries:
        east, north = _more_wind(result, tried)
        asked.append({"rows": sorted(rows[name] for name in _items(result, tried)),
                      "east": east, "north": north,
                      "temperature": None if tried.celsius is None
                      else TEMPERATURES.index(tried.celsius),
                      "criticalPower": tried.critical_power, "wPrime": tried.w_prime,
                      "mass": tried.mass})
    # As it stands in the page, with as many digits.
    text = f'{{"data": {script_json(try_data(result))}, "tries": {json.dumps(asked)}}}'
    scripts = str(files("optimizer.report").joinpath(""))
    done = subprocess.run([node, str(Path(__file__).with_name("plan_tries.js")), scripts],
                          input=text, capture_output=True, text=True, check=True, timeout=900)
    told = json.loads(done.stdout)
    return told["error"], told["answers"]
