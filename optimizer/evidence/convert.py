"""Any currency of a test to a change of drag area, Crr, efficiency or mass, and back.

All on a flat, still road at steady speed with the road load of Martin et al. 1998. Watts are
at the wheel (force times speed), the trade's habit for tunnel figures; the cranks see them
divided by the drivetrain's efficiency.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from optimizer.errors import InputError
from optimizer.evidence.priors import default_priors
from optimizer.physics import GRAVITY

if TYPE_CHECKING:
    from collections.abc import Callable

    from optimizer.evidence.datum import Channel, Figure
    from optimizer.evidence.priors import Priors
    from optimizer.evidence.reference import Reference

__all__ = ["Change", "change_of", "equivalent", "seconds", "watts"]


@dataclass(frozen=True)
class Change:
    """A change of one property: `drag_area` [m²], `rolling_resistance`, `efficiency`, `mass` [kg].

    `slope` is its derivative by the stated value, in SI; `sd` the doubt that the assumptions
    add; `assumptions` says them in words.
    """

    channel: Channel
    value: float
    slope: float
    sd: float = 0.0
    assumptions: tuple[str, ...] = ()


def change_of(figure: Figure, reference: Reference, *, air_density: float | None = None,
              yaw: float = 0.0, priors: Priors | None = None) -> Change:
    """Convert a stated figure; what it does not state is assumed, widens `sd` and is listed.

    `air_density` [kg/m³] of the test and `yaw` [rad] where they are stated. Raises InputError
    for a figure that no rider could show, such as more time saved than ridden.
    """
    priors = priors or default_priors()
    needs_speed = figure.currency in {"force", "power", "time", "power_share"}
    # A power at a speed, or a share of drag, needs no more than the rider; a force needs air.
    needs_air = (figure.currency in {"force", "power", "time", "power_share"}
                 and figure.acts_on == "drag_area")
    speed, spread, words = figure.speed, [], []
    if speed is None and figure.power is not None:
        speed = float(reference.speed_at(figure.power))
        words.append(f"{speed * 3.6:.1f} km/h, from {figure.power:.0f} W and the rider's drag")
    elif speed is None and needs_speed:
        speed = priors.speed
        spread.append(("speed", priors.speed_sd))
        words.append(f"test speed not stated: {speed * 3.6:.0f} km/h "
                     f"± {priors.speed_sd * 3.6:.0f} km/h assumed")
    density = air_density
    if density is None and needs_air:
        density = priors.air_density
        spread.append(("density", priors.air_density_sd))
        words.append(f"air density not stated: {density:.2f} ± {priors.air_density_sd:.2f} kg/m³ "
                     "assumed")
    if figure.currency in {"time", "drag_share", "power_share"} and reference.drag_area_sd:
        spread.append(("drag_area", reference.drag_area_sd))
        words.append(f"stands on a whole CdA of {reference.drag_area:.3f} "
                     f"± {reference.drag_area_sd:.3f} m²")
    setting = {"value": figure.value, "speed": speed or 0.0, "density": density or 1.0,
               "drag_area": reference.drag_area}

    def converted(**moved: float) -> float:
        s = {**setting, **moved}
        there = replace(reference, drag_area=s["drag_area"], air_density=s["density"])
        return _LAWS[figure.currency](replace(figure, value=s["value"]), s["speed"], there, yaw)

    value = converted()
    small = 1e-4 * abs(figure.value) or 1e-9
    slope = (converted(value=figure.value + small) - converted(value=figure.value - small)) / (
        2 * small)
    sd = math.hypot(*(0.5 * (converted(**{name: setting[name] + step})
                             - converted(**{name: setting[name] - step}))
                      for name, step in spread)) if spread else 0.0
    return Change(figure.acts_on, value, slope, sd, tuple(words))


def _from_force(figure: Figure, speed: float, reference: Reference, yaw: float) -> float:
    """ΔF = ½ρ ΔCdA V² cos β: along the bike, V the whole air speed, v_a = V cos β of it."""
    return _carried_by(figure.acts_on, figure.value, speed, reference) / math.cos(yaw)


def _from_power(figure: Figure, speed: float, reference: Reference, yaw: float) -> float:
    return _carried_by(figure.acts_on, figure.value / speed, speed, reference)


def _from_power_share(figure: Figure, speed: float, reference: Reference, yaw: float) -> float:
    force = figure.value * float(reference.force(speed))
    return _carried_by(figure.acts_on, force, speed, reference)


def _from_time(figure: Figure, speed: float, reference: Reference, yaw: float) -> float:
    """Same power before and after; the change brings the speed from `speed` to D/(D/v + Δt)."""
    assert figure.distance is not None
    after = figure.distance / speed + figure.value
    if after <= 0.2 * figure.distance / speed:
        raise InputError("figure", figure.text, "saves more time than any rider could",
                         "check the seconds, the distance and the speed")
    v = figure.distance / after
    power = reference.power_at(speed)
    if figure.acts_on == "efficiency":
        return float(reference.force(v)) * v / power - reference.efficiency
    spare = power * reference.efficiency / v - float(reference.force(v))
    return _carried_by(figure.acts_on, spare, v, reference)


def _from_drag_share(figure: Figure, speed: float, reference: Reference, yaw: float) -> float:
    return figure.value * reference.drag_area


def _as_is(figure: Figure, speed: float, reference: Reference, yaw: float) -> float:
    return figure.value


_LAWS: dict[str, Callable[[Figure, float, Reference, float], float]] = {
    "force": _from_force, "power": _from_power, "time": _from_time,
    "drag_share": _from_drag_share, "power_share": _from_power_share, "drag_area": _as_is,
    "rolling_resistance": _as_is, "efficiency": _as_is, "mass": _as_is}


def _carried_by(channel: Channel, force: float, speed: float, reference: Reference) -> float:
    """Change of the property that changes the wheel's force by `force` [N] at `speed`."""
    match channel:
        case "drag_area":
            return force / (0.5 * reference.air_density * speed**2)
        case "rolling_resistance":
            return force / (reference.mass * GRAVITY)
        case "mass":
            return force / (reference.rolling_resistance * GRAVITY)
        case "efficiency":
            whole = float(reference.force(speed))
            return reference.efficiency * (whole / (whole + force) - 1.0)


def watts(channel: Channel, value: float, speed: float, reference: Reference) -> float:
    """Change of the power at the wheel [W] at steady `speed` [m/s]; less is a gain."""
    match channel:
        case "drag_area":
            return 0.5 * reference.air_density * value * speed**3
        case "rolling_resistance":
            return reference.mass * GRAVITY * value * speed
        case "mass":
            return reference.rolling_resistance * GRAVITY * value * speed
        case "efficiency":
            whole = float(reference.force(speed)) * speed
            return whole * (reference.efficiency / (reference.efficiency + value) - 1.0)


def seconds(channel: Channel, value: float, distance: float, power: float,
            reference: Reference) -> float:
    """Change of the time over `distance` [m] at `power` [W] at the cranks; less is a gain."""
    before = float(reference.speed_at(power))
    match channel:
        case "drag_area":
            after = reference.speed_at(power, drag_area_change=value)
        case "rolling_resistance":
            after = reference.speed_at(power, rolling_resistance_change=value)
        case "mass":
            after = reference.speed_at(power, mass_change=value)
        case "efficiency":
            after = reference.speed_at(power, efficiency_change=value)
    return float(distance / after - distance / before)


def equivalent(channel: Channel, value: float, to: Channel, speed: float,
               reference: Reference) -> float:
    """Change of another property that is worth the same watts at `speed` [m/s]."""
    return _carried_by(to, watts(channel, value, speed, reference) / speed, speed, reference)
