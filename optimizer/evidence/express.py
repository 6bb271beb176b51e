"""A change in the unit that somebody asks for: "W", "s/40km @ 250 W", "CdA"."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from optimizer.evidence.convert import Change, through
from optimizer.evidence.quantities import NUMBER, Stated, read_quantity, tidy
from optimizer.evidence.units import TARGETS, UNITS, Shown, Unit

if TYPE_CHECKING:
    from optimizer.evidence.datum import Figure
    from optimizer.evidence.reference import Reference

__all__ = ["Target", "express", "read_target"]

# Spelling without blanks and distance, in lower case -> unit and how it is shown.
_SPELLINGS: dict[str, tuple[Unit, Shown]] = {
    (spelling.partition("/")[0] if unit.over_distance else spelling).lower(): (unit, shown)
    for unit in UNITS.values() for shown in unit.shown for spelling in (shown.name, *shown.also)}


@dataclass(frozen=True)
class Target:
    """A unit to convert to.

    `unit`, with SI value `scale`, as shown of what it `counts`; `distance` [m] of a time; `speed`
    [m/s] or `power` [W] at which to compare, where the target names its own.
    """

    counts: Unit
    unit: str
    scale: float = 1.0
    distance: float = 0.0
    speed: float | None = None
    power: float | None = None


def read_target(text: str) -> Target:
    """Read a unit to convert to.

    Parameters
    ----------
    text : one of `optimizer.evidence.units.TARGETS`, such as "W" or "s/40km" (any distance); each
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
    over = re.fullmatch(rf"(\w+)(?:/|over|per)({NUMBER})?(km|mi|m)", key)
    unit, shown = _SPELLINGS.get(over[1] if over else key, (None, None))
    if unit is None or shown is None or (over is not None) != unit.over_distance:
        raise stated.refuse("is not a unit to convert to", f"known are {', '.join(TARGETS)}")
    if over is None:
        return Target(unit, shown.unit, shown.scale, speed=speed, power=power)
    number = over[2] or "1"
    distance, _ = stated.in_si(stated.number(number), over[3])
    if distance < 1.0:
        raise stated.refuse("has a distance of zero, or nearly", 'write "s/40km"')
    return Target(unit, f"{shown.unit} over {number} {over[3]}", shown.scale, distance, speed,
                  power)


def express(figure: Figure, target: Target, reference: Reference, *,
            air_density: float | None = None, yaw: float = 0.0) -> Change:
    """Convert a figure to `target`, in the target's unit, with the uncertainty of the whole chain.

    Parameters
    ----------
    figure : as its source states it, in SI
    target : unit, and the speed or power to compare at, else `reference.speed`
    reference : rider, bike and air that stand for what is not stated
    air_density : kg/m³ of the test, where it is stated
    yaw : rad, at which it was done

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
        return target.counts.figure(channel, value, here, target.distance) / target.scale

    return through(figure, reference, then, air_density=air_density, yaw=yaw)
