"""The inputs of a plan that are numbers: kept in its JSON, told where they changed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from optimizer.defaults import ZERO_CELSIUS
from optimizer.report.uncertain import amount
from optimizer.rider.environment import critical_power_factor

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from optimizer.evidence import Effect
    from optimizer.job import Job

__all__ = ["changed_evidence", "changed_inputs", "evidence_of", "inputs_of"]


@dataclass(frozen=True)
class _Input:
    """What it is called, its unit and decimals as shown, and its value in that unit, if any."""

    name: str
    unit: str
    digits: int
    value: Callable[[Job], float | None]


_INPUTS: Final = {
    "rider_mass_kg": _Input("rider's mass", "kg", 1, lambda job: job.rider.mass),
    "critical_power_w": _Input("critical power", "W", 0, lambda job: job.rider.critical_power),
    "w_prime_kj": _Input("reserve (W′)", "kJ", 1, lambda job: job.rider.w_prime / 1000.0),
    "power_left_percent": _Input(
        "critical power that height and heat leave", "%", 0, lambda job: 100.0 * float(np.mean(
            critical_power_factor(job.rider, job.course.elevation, job.conditions.temperature)))),
    "max_power_w": _Input("highest power", "W", 0, lambda job: job.rider.max_power),
    "reserve_floor_kj": _Input("reserve to keep", "kJ", 1,
                               lambda job: job.rider.reserve_floor / 1000.0),
    "effort_exponent": _Input("exponent of the effort", "", 1,
                              lambda job: job.rider.effort_exponent),
    "pedalling_speed_kmh": _Input("speed up to which the rider pedals", "km/h", 0,
                                  lambda job: 3.6 * job.rider.pedalling_speed),
    "position_power_percent": _Input("critical power held in the first position", "%", 0,
                                     lambda job: 100.0 * job.rider.positions[0].power_share),
    "start_kmh": _Input("speed at the start", "km/h", 0, lambda job: 3.6 * job.options.start_speed),
    "cda_m2": _Input("CdA in the first position", "m²", 3,
                     lambda job: job.rider.positions[0].drag_area),
    "bike_mass_kg": _Input("bike as it stands", "kg", 1, lambda job: job.baseline.mass),
    "crr": _Input("Crr of the bike's own tyres", "", 4,
                  lambda job: job.baseline.rolling_resistance),
    "temperature_c": _Input("temperature", "°C", 0,
                            lambda job: job.conditions.temperature - ZERO_CELSIUS),
    "humidity_percent": _Input("humidity", "%", 0, lambda job: 100.0 * job.conditions.humidity),
    "pressure_hpa": _Input("air pressure", "hPa", 0, lambda job: job.conditions.pressure / 100.0),
    "course_km": _Input("course", "km", 1, lambda job: job.course.length / 1000.0),
    "ascent_m": _Input("ascent", "m", 0, lambda job: job.course.ascent),
    "surface_factor": _Input("Crr of the road against smooth asphalt", "times", 2,
                             lambda job: float(np.average(job.course.rolling_factor,
                                                          weights=np.diff(job.course.distance)))),
    "corner_kmh": _Input("mean of the corner speeds", "km/h", 0, lambda job: 3.6 * float(np.mean(
        [corner.speed for corner in job.course.corners])) if job.course.corners else None),
}


def inputs_of(job: Job) -> dict[str, float]:
    """Give the inputs by key, in the units of their names."""
    return {key: value for key, one in _INPUTS.items() if (value := one.value(job)) is not None}


def changed_inputs(job: Job, before: Mapping[str, float]) -> list[str]:
    """Say which inputs differ from earlier ones, as far as their digits show it."""
    return [f"{one.name} {now}{' ' if one.unit else ''}{one.unit} instead of {then}"
            for key, one in _INPUTS.items() if key in before
            if (value := one.value(job)) is not None
            and (now := f"{value:.{one.digits}f}")
            != (then := f"{before[key]:.{one.digits}f}")]


# What evidence says of an item: its name and unit, and its value with the standard error.
_EVIDENCE: Final[dict[str, tuple[str, str, Callable[[Effect], tuple[float, float]]]]] = {
    "cda_m2": ("change of CdA, mean over yaw,", "m²",
               lambda e: (float(np.mean(e.drag_area)), e.drag_area_sd)),
    "crr": ("change of Crr", "", lambda e: (e.rolling_resistance, e.rolling_resistance_sd)),
    "efficiency": ("change of efficiency", "", lambda e: (e.efficiency, e.efficiency_sd)),
    "mass_kg": ("change of mass", "kg", lambda e: (e.mass, e.mass_sd)),
}
_FEW: Final = 3  # items whose evidence is told in figures


def evidence_of(job: Job) -> dict[str, dict[str, tuple[float, float]]]:
    """Give what the evidence says of each item that has some: value and standard error by key."""
    return {effect.item: {key: value(effect) for key, (_, _, value) in _EVIDENCE.items()
                          if any(value(effect))}
            for effect in job.effects if effect.data}


def changed_evidence(job: Job, before: Mapping[str, Mapping[str, tuple[float, float]]] | None,
                     ) -> list[str]:
    """Say of which items the evidence differs from an earlier plan's, as far as digits show it."""
    if before is None:  # a plan that keeps none
        return []
    now = evidence_of(job)
    said = []
    for item in dict.fromkeys([*now, *before]):
        if item not in before or item not in now:
            said.append(f"evidence of {item}, which {'had' if item in now else 'has'} none "
                        f"{'before' if item in now else 'any more'}")
            continue
        told = [f"{name} {new} instead of {old}" for key, (name, unit, _) in _EVIDENCE.items()
                if (new := _known(now[item], key, unit))
                != (old := _known(before[item], key, unit))]
        if told:
            said.append(f"evidence of {item}: {', '.join(told)}")
    more = len(said) - _FEW
    return said if more <= 1 else [*said[:_FEW], f"evidence of {more} other items"]


def _known(evidence: Mapping[str, tuple[float, float]], key: str, unit: str) -> str:
    middle, sd = evidence.get(key, (0.0, 0.0))
    return amount(middle, sd, unit)
