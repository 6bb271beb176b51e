"""Cautions of wind: kit whose limit the day may pass, and wind that is strong in itself."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.kit.crosswind import limit_chances
from optimizer.report.weather import wind_met
from optimizer.report.words import days

if TYPE_CHECKING:
    from optimizer.job import Result

__all__ = ["limits_passed", "wind_cautions"]

_NEAR_GALE = 13.9  # m/s at ten metres, Beaufort 7 (WMO Beaufort scale; from memory)
_LEAST = 0.01  # chance, a day in 100


def limits_passed(result: Result) -> tuple[tuple[str, float, float], ...]:
    """Give each item of the plan's kit with a limit: its name, the limit [m/s], and the chance.

    The chance, 0 to 1, is that the cross wind at the rider passes the limit somewhere.
    """
    catalogue, chosen = result.job.catalogue, result.choice.best.items
    mine = replace(catalogue, items=tuple(catalogue[name] for name in chosen))
    return tuple((name, catalogue[name].crosswind_limit, chance) for name, chance in limit_chances(
        result.day.course, result.day.conditions, mine))


def wind_cautions(result: Result) -> list[str]:
    """Say what the wind of the day may be too strong for."""
    said = []
    strongest = max(float(np.hypot(*wind_met(result)).max()),
                    float(result.job.conditions.gust.max()))
    if strongest >= _NEAR_GALE:
        said.append(f"Strong wind, up to {3.6 * strongest:.0f} km/h: it can push you off your "
                    "line. Ask the organiser and yourself whether to ride; keep hands near the "
                    "brakes.")
    said += [f"On {days(chance)} the cross wind passes the limit of {name}, "
             f"{3.6 * limit:.0f} km/h: have the part that it replaces ready."
             for name, limit, chance in limits_passed(result) if chance >= _LEAST]
    return said
