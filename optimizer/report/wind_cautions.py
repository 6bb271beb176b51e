"""Cautions of wind: kit whose limit the day may pass, and wind that is strong in itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.job.values import BIKE
from optimizer.kit.crosswind import bike_passed
from optimizer.report.weather import wind_met
from optimizer.report.words import days, listing

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimizer.job import Job, Result
    from optimizer.kit import Item

__all__ = ["NEAR_GALE", "bike_cautions", "bike_words", "card_cautions", "strongest_wind",
           "wind_cautions"]

NEAR_GALE = 13.9
"""Wind at ten metres that is a caution in itself: Beaufort 7 (WMO scale; from memory) [m/s]."""

_LEAST = 0.01  # chance, a day in 100


def strongest_wind(result: Result) -> float:
    """Strongest wind or gust of the day [m/s]."""
    return max(float(np.hypot(*wind_met(result)).max()),
               float(result.job.conditions.gust.max()))


def bike_words(job: Job, crosswind: float) -> str:
    """Say that the forecast passes the limit of the bike; empty where it does not.

    `crosswind` [m/s] as `optimizer.kit.crosswind.bike_passed` gives it.
    """
    return "" if crosswind <= 0 else (
        f"Up to {3.6 * crosswind:.0f} km/h of cross wind at the rider are forecast, above the "
        f"limit of {BIKE}, {3.6 * job.baseline.crosswind_limit:.0f} km/h. Do not ride its wheels "
        "on such a day: find others, or stay off the road.")


def bike_cautions(job: Job, sets: Sequence[tuple[str, Sequence[str]]]) -> list[str]:
    """Say which sets of items ride the bike's own wheels above their limit; () if none does.

    A set is its name, empty where there is only one, and its items.
    """
    found = [(name, bike_passed(job.course, job.conditions, job.baseline.crosswind_limit,
                                [job.catalogue[item] for item in items])) for name, items in sets]
    over = [name for name, crosswind in found if crosswind > 0]
    if not over:
        return []
    words = bike_words(job, max(crosswind for _, crosswind in found))
    named = f" This concerns {listing(over)}." if any(over) else ""
    return [f"Caution: {words[:1].lower()}{words[1:]}{named}"]


def wind_cautions(result: Result) -> list[str]:
    """Say what the wind of the day may be too strong for, what is most urgent first."""
    words = bike_words(result.job, result.bike_passed)
    said = [words] if words else []
    strongest = strongest_wind(result)
    if strongest >= NEAR_GALE:
        said.append(f"Strong wind, up to {3.6 * strongest:.0f} km/h: it can push you off your "
                    "line. Ask the organiser and yourself whether to ride; keep hands near the "
                    "brakes.")
    mine = {item.name: item for item in result.limited}
    said += [f"On {days(chance)} the cross wind passes the limit of {name}, "
             f"{3.6 * limit:.0f} km/h: have {_instead(mine[name])} ready."
             for name, limit, chance in result.limits_passed if chance >= _LEAST]
    return said


def _instead(item: Item) -> str:
    """Say what to ride in place of an item; what is owned replaces nothing that lies ready."""
    if item.name == BIKE:
        return "other wheels"
    words = f"{item.name} {item.place}".lower()
    what = "wheel" if "wheel" in words or "disc" in words else "part"
    return f"another {what}" if item.owned else f"the {what} that it replaces"


def card_cautions(result: Result) -> list[str]:
    """Say the same in the few words of a card, whatever the chance: the wind may change."""
    strongest = strongest_wind(result)
    words = (f"Do not ride these wheels: cross wind up to {3.6 * result.bike_passed:.0f} km/h is "
             f"forecast, their limit is {3.6 * result.job.baseline.crosswind_limit:.0f} km/h.")
    said = [words] if result.bike_passed else []
    said += [f"Wind up to {3.6 * strongest:.0f} km/h: hands near the brakes."] if (
        strongest >= NEAR_GALE) else []
    names: dict[str, list[str]] = {}
    for item in sorted(result.limited, key=lambda item: item.crosswind_limit):
        limit = f"{3.6 * item.crosswind_limit:.0f}"
        names.setdefault(limit, []).append("wheels" if item.name == BIKE else item.name)
    return [*said, *(f"Cross wind over {limit} km/h at the rider: change {listing(which)}."
                     for limit, which in names.items())]
