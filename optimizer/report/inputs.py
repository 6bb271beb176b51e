"""The inputs of a plan that are one number each: kept in its JSON, told where they changed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from optimizer.defaults import ZERO_CELSIUS

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from optimizer.job import Job

__all__ = ["changed_inputs", "inputs_of"]


@dataclass(frozen=True)
class _Input:
    """What it is called, its unit and decimals as shown, and its value in that unit."""

    name: str
    unit: str
    digits: int
    value: Callable[[Job], float]


_INPUTS: Final = {
    "rider_mass_kg": _Input("rider's mass", "kg", 1, lambda job: job.rider.mass),
    "critical_power_w": _Input("critical power", "W", 0, lambda job: job.rider.critical_power),
    "w_prime_kj": _Input("reserve (W′)", "kJ", 1, lambda job: job.rider.w_prime / 1000.0),
    "cda_m2": _Input("CdA in the first position", "m²", 3,
                     lambda job: job.rider.positions[0].drag_area),
    "bike_mass_kg": _Input("bike as it stands", "kg", 1, lambda job: job.baseline.mass),
    "crr": _Input("Crr of its tyres", "", 4, lambda job: job.baseline.rolling_resistance),
    "temperature_c": _Input("temperature", "°C", 0,
                            lambda job: job.conditions.temperature - ZERO_CELSIUS),
    "pressure_hpa": _Input("air pressure", "hPa", 0, lambda job: job.conditions.pressure / 100.0),
    "course_km": _Input("course", "km", 1, lambda job: job.course.length / 1000.0),
    "ascent_m": _Input("ascent", "m", 0, lambda job: job.course.ascent),
    "surface_factor": _Input("Crr of the road against smooth asphalt", "times", 2,
                             lambda job: float(np.average(job.course.rolling_factor,
                                                          weights=np.diff(job.course.distance)))),
    "corner_kmh": _Input("mean of the corner speeds", "km/h", 0, lambda job: 3.6 * float(np.mean(
        [corner.speed for corner in job.course.corners] or [0.0]))),
}


def inputs_of(job: Job) -> dict[str, float]:
    """Give the inputs by key, in the units of their names."""
    return {key: one.value(job) for key, one in _INPUTS.items()}


def changed_inputs(job: Job, before: Mapping[str, float]) -> list[str]:
    """Say which inputs differ from earlier ones, as far as their digits show it."""
    return [f"{one.name} {now}{' ' if one.unit else ''}{one.unit} instead of {then}"
            for key, one in _INPUTS.items() if key in before
            if (now := f"{one.value(job):.{one.digits}f}")
            != (then := f"{before[key]:.{one.digits}f}")]
