"""Cautions of the day: strong wind, height and heat that are not counted, fast descents."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.conditions.grid import sample
from optimizer.defaults import ZERO_CELSIUS
from optimizer.report.fast_places import capped, fast_stretches, hard_braking
from optimizer.report.wind_cautions import card_cautions as card_wind_cautions
from optimizer.report.wind_cautions import wind_cautions
from optimizer.rider.environment import uncounted_losses

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimizer.job import Result
    from optimizer.rider import Rider

__all__ = ["card_cautions", "day_cautions", "hot_from", "uncounted"]

_NOTED = 0.04  # of critical power, which a rider feels; about 800 m, or 26 °C
_HOT = 28.0  # °C in the shade, from which a card says what heat asks for (common practice)


def day_cautions(result: Result) -> list[str]:
    """Say what may be too much on the day, what is most urgent first."""
    said, (height, heat) = wind_cautions(result), _uncounted(result)
    rider = result.job.rider
    if height >= _NOTED:
        said.append(
            f"No loss of power to height is counted: at {_height(result):,.0f} m, riders who were "
            f"tested at {rider.tested_elevation:,.0f} m and are not used to it have about "
            f"{100 * height:.0f} % less critical power. Give `altitude` in the rider's file, or "
            "`tested_at_m`, or ride that much below the card.")
    if heat >= _NOTED:
        said.append(
            f"No loss of power to heat is counted: at {_warmth(result):.0f} °C, riders who are not "
            f"used to it have about {100 * heat:.0f} % less critical power than at "
            f"{rider.tested_temperature - ZERO_CELSIUS:.0f} °C. Give `heat` in the rider's file, "
            "or ride that much below the card; drink, cool, and stop when dizzy or shivering.")
    if min(height, heat) >= _NOTED:
        both = 1.0 - (1.0 - height) * (1.0 - heat)
        said[-1] += f" Height and heat together take about {100 * both:.0f} %."
    return [*said, *_fast(result)]


def _fast(result: Result) -> list[str]:
    """Say where the plan rolls fast, for a rider who states no speed that is too much."""
    stretches = [] if capped(result) else fast_stretches(result)
    if not stretches:
        return []
    places = [f"km {one.start / 1000:.1f} to {one.end / 1000:.1f}: up to "
              f"{3.6 * one.top:.0f} km/h" + (
        "" if one.braking is None else
        f", braking to {3.6 * one.braking.after:.0f} km/h at km {one.braking.end / 1000:.1f}")
        for one in stretches]
    return [(f"Fast: {'; '.join(places)}. You state no speed cap, so the plan rides as fast as "
             "the road allows. Where you would not, set `descent_cap_kmh` in [handling] (or "
             "`speed_cap_kmh` of a [[stretch]]) and plan again.")]


def uncounted(result: Result) -> str:
    """Name what would take power on the day and is not counted; empty where nothing would."""
    height, heat = _uncounted(result)
    return " and ".join(words for words, share in (("height", height), ("heat", heat))
                        if share >= _NOTED)


def card_cautions(result: Result) -> list[str]:
    """Say the same in the few words of a card."""
    said, (height, heat) = card_wind_cautions(result), _uncounted(result)
    lost = [f"{words}: {100 * share:.0f} %" for words, share in (
        ("height", height), ("heat", heat)) if share >= _NOTED]
    if lost:
        said.append(f"Power not lowered for {' and '.join(lost)}. Ride by feel below it.")
    if _warmth(result) >= _HOT:
        said.append("Hot: drink, cool, stop when dizzy or shivering.")
    fast = [f"km\u00a0{one.start / 1000:.1f}\u2060–\u2060{one.end / 1000:.1f} "
            f"{3.6 * one.top:.0f}\u00a0km/h"
            for one in fast_stretches(result)]
    brakes = [f"km\u00a0{one.start / 1000:.1f} from {3.6 * one.before:.0f} to "
              f"{3.6 * one.after:.0f}\u00a0km/h" for one in hard_braking(result)]
    return [*said, *([f"Fast: {', '.join(fast)}."] if fast else []),
            *([f"Brake hard: {', '.join(brakes)}."] if brakes else [])]


def hot_from(rider: Rider, temperatures: Sequence[float]) -> float | None:
    """Give the first of `temperatures` [°C] whose loss a rider feels and the plan leaves out."""
    return next((warm for warm in temperatures if uncounted_losses(
        rider, 0.0, warm + ZERO_CELSIUS)[1] >= _NOTED), None)


def _uncounted(result: Result) -> tuple[float, float]:
    return uncounted_losses(result.job.rider, _height(result), _warmth(result) + ZERO_CELSIUS)


def _height(result: Result) -> float:
    """Mean height of the road [m]."""
    return float(np.mean(result.job.course.elevation))


def _warmth(result: Result) -> float:
    """Mean temperature on the way [°C]."""
    air, plan = result.job.conditions, result.plan
    change = sample(air, air.temperature_change, plan.distance, plan.time)
    return air.temperature - ZERO_CELSIUS + float(np.mean(change))
