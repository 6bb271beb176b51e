"""Cautions of wind: kit whose limit the day may pass, and wind that is strong in itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.kit import Catalogue, Item
from optimizer.kit.crosswind import limit_chances
from optimizer.report.weather import wind_met
from optimizer.report.words import days, listing

if TYPE_CHECKING:
    from optimizer.job import Result

__all__ = ["card_cautions", "limits_passed", "wind_cautions"]

_NEAR_GALE = 13.9  # m/s at ten metres, Beaufort 7 (WMO Beaufort scale; from memory)
_LEAST = 0.01  # chance, a day in 100
_BIKE = "the bike as it stands"


def limits_passed(result: Result) -> tuple[tuple[str, float, float], ...]:
    """Give each item of the plan's kit with a limit: its name, the limit [m/s], and the chance.

    The chance, 0 to 1, is that the cross wind at the rider passes the limit somewhere. A limit of
    the bike itself is among them.
    """
    mine = {item.name: item.crosswind_limit for item in _limited(result)}
    return tuple((name, mine[name], chance) for name, chance in limit_chances(
        result.day.course, result.day.conditions, Catalogue(_limited(result))))


def _limited(result: Result) -> tuple[Item, ...]:
    """Items of the plan's kit that have a limit, and the bike where it has one."""
    job = result.job
    bike = Item(_BIKE, "bike", 0.0, owned=True, crosswind_limit=job.baseline.crosswind_limit)
    items = [bike, *(job.catalogue[name] for name in result.choice.best.items)]
    return tuple(item for item in items if np.isfinite(item.crosswind_limit))


def _strongest(result: Result) -> float:
    """Strongest wind or gust of the day [m/s]."""
    return max(float(np.hypot(*wind_met(result)).max()),
               float(result.job.conditions.gust.max()))


def wind_cautions(result: Result) -> list[str]:
    """Say what the wind of the day may be too strong for."""
    said = []
    strongest = _strongest(result)
    if strongest >= _NEAR_GALE:
        said.append(f"Strong wind, up to {3.6 * strongest:.0f} km/h: it can push you off your "
                    "line. Ask the organiser and yourself whether to ride; keep hands near the "
                    "brakes.")
    mine = {item.name: item for item in _limited(result)}
    said += [f"On {days(chance)} the cross wind passes the limit of {name}, "
             f"{3.6 * limit:.0f} km/h: have {_instead(mine[name])} ready."
             for name, limit, chance in limits_passed(result) if chance >= _LEAST]
    return said


def _instead(item: Item) -> str:
    """Say what to ride in place of an item; what is owned replaces nothing that lies ready."""
    if item.name == _BIKE:
        return "other wheels"
    words = f"{item.name} {item.place}".lower()
    what = "wheel" if "wheel" in words or "disc" in words else "part"
    return f"another {what}" if item.owned else f"the {what} that it replaces"


def card_cautions(result: Result) -> list[str]:
    """Say the same in the few words of a card, whatever the chance: the wind may change."""
    strongest = _strongest(result)
    said = [f"Wind up to {3.6 * strongest:.0f} km/h: hands near the brakes."] if (
        strongest >= _NEAR_GALE) else []
    names: dict[str, list[str]] = {}
    for item in sorted(_limited(result), key=lambda item: item.crosswind_limit):
        limit = f"{3.6 * item.crosswind_limit:.0f}"
        names.setdefault(limit, []).append("wheels" if item.name == _BIKE else item.name)
    return [*said, *(f"Cross wind over {limit} km/h at the rider: change {listing(which)}."
                     for limit, which in names.items())]
