"""A change in the currency that somebody asks for: "W", "s/40km @ 250 W", "CdA"."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from optimizer.evidence.convert import Change, carried_by, force_of, through
from optimizer.evidence.quantities import NUMBER, Stated, read_quantity, tidy
from optimizer.physics import GRAVITY

if TYPE_CHECKING:
    from optimizer.evidence.datum import Channel, Figure, Quantity
    from optimizer.evidence.priors import Priors
    from optimizer.evidence.reference import Reference

__all__ = ["Target", "express", "read_target", "seconds_saved"]

# Spelling without blanks, in lower case -> currency, unit as shown, SI value of the unit.
_UNITS: dict[str, tuple[Quantity, str, float]] = {
    "w": ("power", "W", 1.0), "watts": ("power", "W", 1.0),
    "n": ("force", "N", 1.0),
    "g": ("force", "g of drag", 1e-3 * GRAVITY), "gf": ("force", "g of drag", 1e-3 * GRAVITY),
    "gdrag": ("force", "g of drag", 1e-3 * GRAVITY),
    "cda": ("drag_area", "m² CdA", 1.0), "m2": ("drag_area", "m² CdA", 1.0),
    "cm2": ("drag_area", "cm² CdA", 1e-4),
    "crr": ("rolling_resistance", "Crr", 1.0),
    "efficiency": ("efficiency", "% efficiency", 0.01),
    "%efficiency": ("efficiency", "% efficiency", 0.01),
    "mass": ("mass", "g mass", 1e-3), "gmass": ("mass", "g mass", 1e-3),
    "kg": ("mass", "kg mass", 1.0),
    "%drag": ("drag_share", "% of drag", 0.01), "%cda": ("drag_share", "% of drag", 0.01),
    "%power": ("power_share", "% of power", 0.01),
}


@dataclass(frozen=True)
class Target:
    """A currency to convert to.

    `unit` as shown, with SI value `scale`; `distance` [m] of a time; `speed` [m/s] or `power`
    [W] at which to compare, where the target names its own.
    """

    quantity: Quantity
    unit: str
    scale: float = 1.0
    distance: float = 0.0
    speed: float | None = None
    power: float | None = None


def read_target(text: str) -> Target:
    """Read a unit to convert to.

    Parameters
    ----------
    text : "W", "g", "N", "s/40km", "CdA", "Crr", "%drag", "%power", "efficiency" or "mass"; each
        may be followed by "@ 45 km/h" or "@ 250 W"

    Returns
    -------
    the unit with its speed [m/s] or power [W]

    Raises
    ------
    InputError
        for anything else
    """
    stated = Stated(text, "--to")
    what, _, condition = tidy(text).partition("@")
    speed = power = None
    if condition.strip():
        is_power = re.search(r"[wW]\s*$", condition) is not None
        value = read_quantity(condition, "power" if is_power else "speed", "--to")
        speed, power = (None, value) if is_power else (value, None)
    key = what.lower().replace(" ", "").replace("²", "2").replace("m^2", "m2")
    if time := re.fullmatch(rf"s(?:/|over|per)({NUMBER})?(km|mi|m)", key):
        number = time[1] or "1"
        distance, _ = stated.in_si(stated.number(number), time[2])
        if distance < 1.0:
            raise stated.refuse("a distance of zero, or nearly", 'write "s/40km"')
        return Target("time", f"s over {number} {time[2]}", 1.0, distance, speed, power)
    if key not in _UNITS:
        raise stated.refuse("is not a currency", "known are W, g, N, s/40km, CdA, cm2, Crr, "
                                                 "%drag, %power, efficiency, mass")
    return Target(*_UNITS[key], speed=speed, power=power)


def express(figure: Figure, target: Target, reference: Reference, *,
            air_density: float | None = None, yaw: float = 0.0,
            priors: Priors | None = None) -> Change:
    """Convert a figure to `target`, in the target's unit, with the uncertainty of the whole chain.

    Parameters
    ----------
    figure : as its source states it, in SI
    target : unit, and the speed or power to compare at, else `reference.speed`
    reference : rider, bike and air that stand for what is not stated
    air_density : kg/m³ of the test, where it is stated
    yaw : rad, at which it was done
    priors : factors of the kinds of test; those of the package by default

    Returns
    -------
    the change in the target's unit, its standard error, and what was assumed
    """
    channel = figure.acts_on

    def then(value: float, here: Reference) -> float:
        if target.power is not None:
            here = replace(here, speed=float(here.speed_at(target.power)))
        elif target.speed is not None:
            here = replace(here, speed=target.speed)
        return _in_quantity(channel, value, target, here) / target.scale

    return through(figure, reference, then, air_density=air_density, yaw=yaw, priors=priors)


def _in_quantity(channel: Channel, value: float, target: Target, here: Reference) -> float:
    if target.quantity == "time":
        return -seconds_saved({channel: value}, target.distance, here.power_at(here.speed), here)
    if target.quantity == channel:
        return value
    force = force_of(channel, value, here)
    match target.quantity:
        case "force" | "power" | "power_share":
            whole = {"force": 1.0, "power": 1.0 / here.speed,
                     "power_share": float(here.force(here.speed))}
            return force / whole[target.quantity]
        case "drag_share":
            return carried_by("drag_area", force, here) / here.drag_area
        case same:
            return carried_by(same, force, here)


def seconds_saved(changes: dict[Channel, float], distance: float, power: float,
                  here: Reference) -> float:
    """Seconds that `changes` together save over `distance` [m] at `power` [W] at the cranks."""
    before = float(here.speed_at(power))
    after = float(here.speed_at(
        power, drag_area_change=changes.get("drag_area", 0.0),
        rolling_resistance_change=changes.get("rolling_resistance", 0.0),
        efficiency_change=changes.get("efficiency", 0.0), mass_change=changes.get("mass", 0.0)))
    return distance / before - distance / after
