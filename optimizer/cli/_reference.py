"""Options that describe the rider and the road on which figures are compared."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from optimizer.cli._numbers import Number
from optimizer.defaults import BIKE_MASS, ROLLING_RESISTANCE
from optimizer.errors import InputError

if TYPE_CHECKING:
    from optimizer.evidence import Reference

__all__ = ["read_speed", "reference_of", "reference_options"]

_MATTERS = ("CdA", "error of CdA", "height", "critical power")  # of what a rider file assumes


def reference_options(command: Any) -> Any:
    """Add `--rider`, `--speed` and the figures that stand in for a rider file."""
    for option in (
            click.option("--density-kgm3", type=Number(0.5, 1.6, "kg/m3"), metavar="X",
                         help="Air density on the rider's day; 1.2 by default."),
            click.option("--crr", type=Number(0.001, 0.03), metavar="X",
                         help="Rolling resistance of the tyres; "
                              f"{ROLLING_RESISTANCE.value:g} by default."),
            click.option("--mass-kg", type=Number(35, 250, "kg"), metavar="X",
                         help="Rider, bike and kit; 80 by default."),
            click.option("--cda-m2", type=Number(0.08, 1.0, "m2"), metavar="X",
                         help="Drag area of rider and bike; 0.27 by default."),
            click.option("--speed", metavar="SPEED",
                         help='Speed to compare at, such as "45 km/h", 45 or "28 mph".'),
            click.option("--rider", metavar="RIDER.toml", type=click.Path(),
                         help="A rider file: their drag, mass and power.")):
        command = option(command)
    return command


def read_speed(text: str | None) -> float | None:
    """Speed in m/s, a bare number in km/h; only those that riders ride."""
    if text is None:
        return None
    from optimizer.evidence.quantities import read_quantity

    plain = text.strip()
    unit = "" if any(char.isalpha() for char in plain) else " km/h"
    speed = read_quantity(f"{plain}{unit}", "speed", "--speed")
    if not 10 <= speed * 3.6 <= 100:
        raise InputError("--speed", "", f"{plain} is not a speed that a rider reaches",
                         "write 45 km/h or 28 mph")
    return speed


def reference_of(*, rider: str | None = None, speed: float | None = None,
                 power: float | None = None, cda_m2: float | None = None,
                 mass_kg: float | None = None, crr: float | None = None,
                 density_kgm3: float | None = None) -> tuple[Reference, str, tuple[str, ...]]:
    """Build the reference from options; with the rider's name and what their file assumed of it.

    A speed sets the speed, else a power [W], else the rider's critical power.
    """
    from optimizer.evidence import Reference

    known: dict[str, Any] = {"drag_area": cda_m2, "mass": mass_kg, "rolling_resistance": crr,
                             "air_density": density_kgm3, "speed": speed}
    power = None if speed is not None else power
    if rider is None:
        return Reference.of(power=power, **known), "an assumed rider", ()
    from optimizer.scenario.rider_file import read_rider

    found = read_rider(rider)
    assumed = tuple(words for words in found.assumed if words.startswith(_MATTERS))
    if cda_m2 is None:
        known |= {"drag_area": found.positions[0].drag_area, "drag_area_sd": found.drag_area_sd}
    if mass_kg is None:
        known["mass"] = found.mass + BIKE_MASS.si
        assumed = (*assumed, f"bike and kit of {BIKE_MASS.value} kg")
    if speed is None and power is None:
        power = found.critical_power
    return Reference.of(power=power, **known), found.name, assumed
