"""Any currency of a test to a change of drag area, Crr, efficiency or mass.

All on a flat, still road at steady speed with the road load of Martin et al. 1998. Watts are
force times speed at the wheel, the trade's habit for tunnel figures; at the cranks they are
larger by the losses of the drivetrain.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from optimizer.defaults import NINE_IN_TEN
from optimizer.errors import InputError
from optimizer.evidence.priors import default_priors
from optimizer.physics import GRAVITY

if TYPE_CHECKING:
    from collections.abc import Callable

    from optimizer.evidence.datum import Channel, Figure
    from optimizer.evidence.priors import Priors
    from optimizer.evidence.reference import Reference

__all__ = ["Change", "carried_by", "change_of", "force_of", "through"]

_Uncertain = Literal["speed", "air_density", "drag_area"]


@dataclass(frozen=True)
class Change:
    """A change of one property: drag area [m²], Crr, drivetrain efficiency or mass [kg].

    `own_sd` comes from the uncertainty that the source states, `assumed_sd` from what the
    source does not say and `assumptions` put in words; `slope` is d value / d stated value.
    """

    channel: Channel
    value: float
    slope: float
    own_sd: float | None
    assumed_sd: float
    assumptions: tuple[str, ...]


@dataclass(frozen=True)
class _Test:
    """Where the figure was found: a reference of its own, and what in it is assumed."""

    there: Reference
    uncertainties: tuple[tuple[_Uncertain, float], ...]
    words: tuple[str, ...]


def change_of(figure: Figure, reference: Reference, *, air_density: float | None = None,
              yaw: float = 0.0, priors: Priors | None = None) -> Change:
    """Convert a stated figure; what it leaves out is assumed, counted as uncertainty and listed.

    Parameters
    ----------
    figure : as its source states it, in SI
    reference : rider, bike and air that stand for what is not stated
    air_density : kg/m³ of the test, where it is stated
    yaw : rad, at which it was done
    priors : factors of the kinds of test; those of the package by default

    Returns
    -------
    change of CdA [m²], Crr, efficiency or mass [kg], its standard error, and what was assumed

    Raises
    ------
    InputError
        for a figure that no rider could show, such as more time saved than ridden
    """
    return through(figure, reference, lambda value, _: value, air_density=air_density, yaw=yaw,
                   priors=priors)


def through(figure: Figure, reference: Reference, then: Callable[[float, Reference], float], *,
            air_density: float | None = None, yaw: float = 0.0,
            priors: Priors | None = None) -> Change:
    """Convert and go on: `then` takes the change and `reference` to what is asked for.

    Doubts go through the whole chain. What neither the test nor the reference states is one
    and the same unknown: a force taken to watts at its own speed does not hang on the air, nor
    a percentage taken to a percentage on the rider.
    """
    test = _test_of(figure, reference, air_density, priors or default_priors())
    common = [name for name in ("air_density", "drag_area") if name in reference.assumed
              and not (name == "air_density" and air_density is not None)]

    def value_at(stated: float, there: Reference) -> float:
        if figure.power is not None:
            there = replace(there, speed=float(there.speed_at(figure.power)))
        change = _change(replace(figure, value=stated), there)
        # Along the bike ΔF = ½ρ ΔCdA V² cos β, V the whole air speed of the tunnel.
        change = change / math.cos(yaw) if figure.quantity == "force" else change
        here = {name: getattr(there, name) for name in common}
        return then(change, replace(reference, **here))

    value = value_at(figure.value, test.there)
    small = 1e-4 * abs(figure.value) or 1e-7
    slope = (value_at(figure.value + small, test.there)
             - value_at(figure.value - small, test.there)) / (2 * small)
    parts = [0.5 * (value_at(figure.value, _moved(test.there, name, sd))
                    - value_at(figure.value, _moved(test.there, name, -sd)))
             for name, sd in test.uncertainties]
    own = None if figure.uncertainty is None else abs(slope) * figure.uncertainty
    return Change(figure.acts_on, value, slope, own, math.hypot(*parts), test.words)


def _moved(there: Reference, name: _Uncertain, by: float) -> Reference:
    return replace(there, **{name: getattr(there, name) + by})


def _test_of(figure: Figure, reference: Reference, air_density: float | None,
             priors: Priors) -> _Test:
    """Speed, air and rider of the test, assumed where they are needed and not stated."""
    there, words = reference, []
    uncertainties: list[tuple[_Uncertain, float]] = []
    relative = figure.quantity in {"time", "drag_share", "power_share"}
    moving = figure.quantity in {"force", "power", "time", "power_share"}
    if air_density is not None:
        there = replace(there, air_density=air_density)
    elif moving and (figure.acts_on == "drag_area" or figure.quantity == "power_share"):
        there = replace(there, air_density=priors.air_density)
        uncertainties.append(("air_density", priors.air_density_sd))
        words.append(f"air density not stated: {priors.air_density:.2f} ± "
                     f"{NINE_IN_TEN * priors.air_density_sd:.2f} kg/m³ assumed")
    if figure.speed is not None:
        there = replace(there, speed=figure.speed)
    elif figure.power is None and moving:
        there = replace(there, speed=priors.speed)
        uncertainties.append(("speed", priors.speed_sd))
        words.append(f"test speed not stated: {priors.speed * 3.6:.0f} ± "
                     f"{NINE_IN_TEN * priors.speed_sd * 3.6:.0f} km/h assumed")
    if relative or (figure.power is not None and moving):
        sd = math.hypot(reference.drag_area_sd, priors.tested_rider_share * reference.drag_area)
        uncertainties.append(("drag_area", sd))
        words.append(f"whole drag of the tested rider not stated: CdA {reference.drag_area:.3f} "
                     f"± {NINE_IN_TEN * sd:.3f} m² assumed")
    return _Test(there, tuple(uncertainties), tuple(words))


def _change(figure: Figure, there: Reference) -> float:
    match figure.quantity:
        case "force":
            return carried_by(figure.acts_on, figure.value, there)
        case "power":
            at_wheel = figure.value * (there.efficiency if figure.at_cranks else 1.0)
            return carried_by(figure.acts_on, at_wheel / there.speed, there)
        case "power_share":
            whole = float(there.force(there.speed))
            return carried_by(figure.acts_on, figure.value * whole, there)
        case "time":
            return _from_time(figure, there)
        case "drag_share":
            return figure.value * there.drag_area
        case _:
            return figure.value


def _from_time(figure: Figure, there: Reference) -> float:
    """Change that takes `there.speed` to D / (D / v + Δt) at the same power at the cranks."""
    distance = figure.distance or math.inf
    after = distance / there.speed + figure.value
    if not 0.5 < after * there.speed / distance < 2.0:
        raise InputError("given", "", f'"{figure.text}": halves or doubles the time of the ride',
                         "check the seconds, the distance and the speed")
    faster = replace(there, speed=distance / after)
    wheel = there.power_at(there.speed) * there.efficiency
    resistance = float(faster.force(faster.speed))
    if figure.acts_on == "efficiency":
        return there.efficiency * (resistance * faster.speed / wheel - 1.0)
    return carried_by(figure.acts_on, wheel / faster.speed - resistance, faster)


def carried_by(channel: Channel, force: float, there: Reference) -> float:
    """Change of one property that changes the wheel's force by `force` [N] at `there.speed`."""
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
    """Change of the wheel's force [N] at `here.speed` by a change of one property.

    A change of efficiency is counted as the force that would ask as much of the cranks.
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
