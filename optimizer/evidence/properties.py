"""What a change of kit acts on, and the force on the wheel that it takes.

All on a flat, still road at steady speed with the road load of Martin et al. 1998.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from optimizer.defaults import GRAVITY

if TYPE_CHECKING:
    from optimizer.evidence.reference import Reference

__all__ = ["Channel", "carried_by", "force_of", "seconds_saved"]

Channel = Literal["drag_area", "rolling_resistance", "efficiency", "mass"]


def carried_by(channel: Channel, force: float, there: Reference) -> float:
    """Change of one property that changes the wheel's force by as much.

    Parameters
    ----------
    channel : property that changes
    force : N, at the wheel
    there : rider, bike and air, at a steady speed

    Returns
    -------
    m² of CdA, Crr, efficiency as a share of one, or kg
    """
    match channel:
        case "drag_area":
            return force / (0.5 * there.air_density * there.speed**2)
        case "rolling_resistance":
            return force / (there.mass * GRAVITY)
        case "mass":
            return force / (there.rolling_resistance * GRAVITY)
        case "efficiency":
            whole = float(there.force(there.speed))
            return there.efficiency * (whole / (whole + force) - 1.0)


def force_of(channel: Channel, value: float, here: Reference) -> float:
    """Change of the wheel's force by a change of one property.

    A change of efficiency is counted as the force that would ask as much of the cranks.

    Parameters
    ----------
    channel : property that changes
    value : its change in SI
    here : rider, bike and air, at a steady speed

    Returns
    -------
    N, at the wheel
    """
    match channel:
        case "drag_area":
            return 0.5 * here.air_density * value * here.speed**2
        case "rolling_resistance":
            return here.mass * GRAVITY * value
        case "mass":
            return here.rolling_resistance * GRAVITY * value
        case "efficiency":
            whole = float(here.force(here.speed))
            return whole * (here.efficiency / (here.efficiency + value) - 1.0)


def seconds_saved(changes: dict[Channel, float], distance: float, power: float,
                  here: Reference) -> float:
    """Seconds that some changes together save over a distance.

    Parameters
    ----------
    changes : of each property in SI
    distance : m
    power : W at the cranks
    here : rider, bike and air

    Returns
    -------
    s, negative where the changes cost time
    """
    before = float(here.speed_at(power))
    after = float(here.speed_at(
        power, drag_area_change=changes.get("drag_area", 0.0),
        rolling_resistance_change=changes.get("rolling_resistance", 0.0),
        efficiency_change=changes.get("efficiency", 0.0), mass_change=changes.get("mass", 0.0)))
    return distance / before - distance / after
