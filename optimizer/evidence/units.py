"""The units that a change of kit is stated in, one object each.

A unit is one entry of `UNITS`: how people write it, what is needed to turn it into a change of
CdA, Crr, efficiency or mass, and the way there and back. Reading, conversion and the command line
ask it for all of that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from optimizer.defaults import GRAVITY
from optimizer.errors import InputError
from optimizer.evidence.properties import Channel, carried_by, force_of, seconds_saved

if TYPE_CHECKING:
    from collections.abc import Callable

    from optimizer.evidence.datum import Figure
    from optimizer.evidence.reference import Reference

__all__ = ["TARGETS", "UNITS", "Shown", "Unit", "Written"]

_GRAM = 1e-3 * GRAVITY  # N

Needs = Literal["speed", "air", "rider"]


@dataclass(frozen=True)
class Written:
    """A way to write a unit.

    `dimension` of what stands behind the number ("" for a bare number, "%"), `topics` of the words
    beside it (None for any), and the SI value of one of it where the dimension is another.
    """

    dimension: str
    topics: frozenset[str] | None = None
    factor: float = 1.0


@dataclass(frozen=True)
class Shown:
    """A unit to convert to: its name after `--to`, as shown, its SI value, and other spellings."""

    name: str
    unit: str
    scale: float = 1.0
    also: tuple[str, ...] = ()


@dataclass(frozen=True)
class Unit:
    """What a figure of evidence counts.

    Attributes
    ----------
    name : of the quantity, as `Figure.quantity` has it
    written : ways to write it
    said : SI value, unit and word in which a figure is said back
    shown : units to convert to
    largest : SI; more is more than rider and bike have in all
    change : from a figure and the test's reference to the change of what the figure acts on
    figure : from a property, its change [SI], the reference and a distance [m] back to the figure
    needs : of the test: its speed, its air whatever the change acts on, the whole drag of its rider
    more_is_better : for a gain
    over_distance, at_speed : whether it needs a distance; whether a power is no condition for it
    along_bike : whether a tunnel measures it along the bike and not along the wind
    said_else : as `said`, for what acts on something other than air drag
    """

    name: str
    written: tuple[Written, ...]
    said: tuple[float, str, str]
    shown: tuple[Shown, ...]
    largest: float
    change: Callable[[Figure, Reference], float]
    figure: Callable[[Channel, float, Reference, float], float]
    needs: frozenset[Needs] = frozenset()
    more_is_better: bool = False
    over_distance: bool = False
    at_speed: bool = False
    along_bike: bool = False
    said_else: tuple[float, str, str] | None = None

    @property
    def of_whole(self) -> bool:
        """Whether it is a share of all drag or power, so that a bike alone has none."""
        return "rider" in self.needs and not self.over_distance

    def by(self, dimension: str) -> Written | None:
        """Way to write it in a dimension, if there is one."""
        return next((way for way in self.written if way.dimension == dimension), None)


def _stated(figure: Figure, _there: Reference) -> float:
    return figure.value


def _as_property(name: Channel) -> Callable[[Channel, float, Reference, float], float]:
    """Take a change of any property to that of one with the same force."""
    def figure(channel: Channel, value: float, here: Reference, _distance: float) -> float:
        return value if channel == name else carried_by(name, force_of(channel, value, here), here)
    return figure


def _from_force(figure: Figure, there: Reference) -> float:
    return carried_by(figure.acts_on, figure.value, there)


def _to_force(channel: Channel, value: float, here: Reference, _distance: float) -> float:
    return force_of(channel, value, here)


def _from_power(figure: Figure, there: Reference) -> float:
    """Watts are force times speed at the wheel, larger at the cranks by the drivetrain's losses."""
    at_wheel = figure.value * (there.efficiency if figure.at_cranks else 1.0)
    return carried_by(figure.acts_on, at_wheel / there.speed, there)


def _to_power(channel: Channel, value: float, here: Reference, _distance: float) -> float:
    return force_of(channel, value, here) * here.speed


def _from_power_share(figure: Figure, there: Reference) -> float:
    whole = float(there.force(there.speed))
    return carried_by(figure.acts_on, figure.value * whole, there)


def _to_power_share(channel: Channel, value: float, here: Reference, _distance: float) -> float:
    return force_of(channel, value, here) / float(here.force(here.speed))


def _from_drag_share(figure: Figure, there: Reference) -> float:
    return figure.value * there.drag_area


def _to_drag_share(channel: Channel, value: float, here: Reference, _distance: float) -> float:
    return carried_by("drag_area", force_of(channel, value, here), here) / here.drag_area


def _from_time(figure: Figure, there: Reference) -> float:
    """Change that takes `there.speed` to D / (D / v + Δt) at the same power at the cranks."""
    distance = figure.distance or math.inf
    after = distance / there.speed + figure.value
    if not 0.5 < after * there.speed / distance < 2.0:
        raise InputError("your input", "",
                         f'"{figure.text}" would halve or double the time of the ride',
                         "check the seconds, the distance and the speed")
    faster = replace(there, speed=distance / after)
    wheel = there.power_at(there.speed) * there.efficiency
    resistance = float(faster.force(faster.speed))
    if figure.acts_on == "efficiency":
        return there.efficiency * (resistance * faster.speed / wheel - 1.0)
    return carried_by(figure.acts_on, wheel / faster.speed - resistance, faster)


def _to_time(channel: Channel, value: float, here: Reference, distance: float) -> float:
    return -seconds_saved({channel: value}, distance, here.power_at(here.speed), here)


def _topics(*words: str) -> frozenset[str]:
    return frozenset(words)


UNITS: dict[str, Unit] = {unit.name: unit for unit in (
    Unit("power", (Written("power"),), (1.0, "W", ""), (Shown("W", "W", also=("watts",)),), 500.0,
         _from_power, _to_power, needs=frozenset({"speed"})),
    Unit("force", (Written("force"), Written("mass", _topics("drag"), GRAVITY)),
         (_GRAM, "g", "drag"),
         (Shown("g", "g of drag", _GRAM, ("gf", "gdrag")), Shown("N", "N")), 60.0,
         _from_force, _to_force, needs=frozenset({"speed"}), at_speed=True, along_bike=True,
         said_else=(1.0, "N", "")),
    Unit("time", (Written("time"),), (1.0, "s", ""), (Shown("s/40km", "s"),), 36_000.0,
         _from_time, _to_time, needs=frozenset({"speed", "rider"}), over_distance=True),
    Unit("drag_area", (Written("area", _topics("", "drag", "area")), Written("", _topics("area"))),
         (1.0, "m2", "CdA"),
         (Shown("CdA", "m² CdA", also=("m2",)), Shown("cm2", "cm² CdA", 1e-4)), 0.6,
         _stated, _as_property("drag_area")),
    Unit("rolling_resistance", (Written("", _topics("crr", "rolling")),), (1.0, "", "Crr"),
         (Shown("Crr", "Crr"),), 0.1, _stated, _as_property("rolling_resistance")),
    Unit("drag_share", (Written("%", _topics("drag", "area"), 0.01),), (0.01, "%", "drag"),
         (Shown("%drag", "% of drag", 0.01, ("%cda",)),), 2.0, _from_drag_share, _to_drag_share,
         needs=frozenset({"rider"})),
    Unit("power_share", (Written("%", _topics("power"), 0.01),), (0.01, "%", "power"),
         (Shown("%power", "% of power", 0.01),), 2.0, _from_power_share, _to_power_share,
         needs=frozenset({"speed", "air", "rider"})),
    Unit("efficiency", (Written("%", _topics("efficiency", "drivetrain"), 0.01),
                        Written("", _topics("efficiency"))), (0.01, "%", "efficiency"),
         (Shown("efficiency", "% efficiency", 0.01, ("%efficiency",)),), 1.0,
         _stated, _as_property("efficiency"), more_is_better=True),
    Unit("mass", (Written("mass", _topics("mass")),), (1e-3, "g", "mass"),
         (Shown("mass", "g mass", 1e-3, ("gmass",)), Shown("kg", "kg mass")), 100.0,
         _stated, _as_property("mass")),
)}

TARGETS = tuple(shown.name for unit in UNITS.values() for shown in unit.shown)
